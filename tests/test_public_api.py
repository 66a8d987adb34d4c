"""The public names, the whole job from a script, and what each command costs to import."""

from __future__ import annotations

import doctest
import subprocess
import sys
import tomllib
from pathlib import Path

import portfolio_plants as plants
import pytest

import fptlib

ROOT = Path(__file__).resolve().parents[1]
RECORDS = ROOT / "tests/data/records"
# The dependencies whose package has another name than their distribution.
_PACKAGES = {"fonttools": "fontTools", "pillow": "PIL"}


def test_every_public_name_is_there_and_explains_itself() -> None:
    assert fptlib.__all__ == sorted(fptlib.__all__)
    for name in fptlib.__all__:
        assert getattr(fptlib, name).__doc__
    with pytest.raises(AttributeError, match="its public names are: FptError, Job"):
        fptlib.nothing  # noqa: B018
    assert (ROOT / "fptlib" / "py.typed").is_file()


@pytest.mark.full
def test_the_whole_job_from_a_script(tmp_path: Path) -> None:
    (test,) = (found for found in doctest.DocTestFinder(recurse=False).find(fptlib))
    test.globs["folder"] = tmp_path
    assert len(test.examples) <= 10
    assert doctest.DocTestRunner().run(test).failed == 0


def imported(code: str, *arguments: object) -> set[str]:
    """The third-party packages that a process of its own has imported after ``code``.

    Counted are those that pyproject.toml depends on, and what only a notebook needs.
    """
    stated = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = {each.split(">")[0] for each in stated["dependencies"]}
    packages = {_PACKAGES.get(name, name) for name in names} | {"IPython", "nbformat", "zmq"}
    said = subprocess.run(
        [sys.executable, "-c", f"import sys\n{code}\nprint('IMPORTED', *sys.modules)",
         *map(str, arguments)],
        capture_output=True, text=True, check=True, cwd=ROOT).stdout
    return packages & {name.split(".")[0] for name in said.rsplit("IMPORTED", 1)[1].split()}


COMMAND = """
from fptlib.cli.commands import main
try:
    main(sys.argv[1:])
except SystemExit:
    pass
"""
# Known and open: pyarrow imports it to turn a column into an array of numpy.
OPEN = {"pandas"}


def test_help_and_the_package_itself_import_no_dependency() -> None:
    assert imported("import fptlib") == set()
    assert imported(COMMAND, "--help") == set()


def test_a_check_imports_what_reads_and_calculates(tmp_path: Path) -> None:
    job = plants.write_job(tmp_path / "plant", days=2)
    assert imported(COMMAND, "check", job) - OPEN == {"numpy", "pyarrow", "rfc8785"}


def test_verifying_imports_what_checks_signatures() -> None:
    assert imported(COMMAND, "verify", RECORDS / "sound.json", "--trusted",
                    RECORDS / "trusted.jwks") == {
        "cryptography", "joserfc", "jsonschema", "numpy", "rfc8785"}


def test_screening_imports_what_a_check_does_and_signs_nothing(tmp_path: Path) -> None:
    job = plants.write_job(tmp_path / "plant", days=2)
    code = "from fptlib.portfolio.screening import screen_with_record as s\ns(sys.argv[1])"
    assert imported(code, job) - OPEN == {"filelock", "numpy", "pyarrow", "rfc8785"}


def test_signing_imports_what_makes_record_pages_and_figures_and_no_notebook() -> None:
    found = imported("import fptlib.workbook.sign_off")
    assert not found & {"IPython", "ipywidgets", "jupyterlab", "nbclient", "nbformat", "zmq"}


def test_help_costs_little_more_than_what_it_takes_from_the_standard_library() -> None:
    # CPU, the least of several runs: other work on the machine only adds to it. Parsing the
    # arguments needs these modules; as a share of them the bound holds on any machine, and
    # on a usual one it stays below a tenth of a second above a bare interpreter.
    bare = least("import argparse, contextlib, json, pathlib, textwrap, typing")
    assert least("from fptlib.cli.commands import main\nmain(['--version'])") < 2.0 * bare


def least(code: str) -> float:
    """CPU seconds of a process, the least of seven."""
    resource = pytest.importorskip("resource", reason="CPU of a child is told by Unix alone")

    def spent() -> float:
        of = resource.getrusage(resource.RUSAGE_CHILDREN)
        return of.ru_utime + of.ru_stime

    def once() -> float:
        before = spent()
        subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, cwd=ROOT)
        return spent() - before

    return min(once() for _ in range(7))
