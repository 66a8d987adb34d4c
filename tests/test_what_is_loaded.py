"""A command loads what it needs and nothing more: a short one must not wait for the rest."""

from __future__ import annotations

import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import small_plant

from fptlib.record import schema

HEAVY = {"pandas", "matplotlib", "jupyterlab", "jupyter_server", "nbclient", "IPython",
         "ipywidgets", "typst", "openpyxl", "distributed", "pypdf"}


def loaded(*words: str) -> set[str]:
    """What a process of its own has loaded after a command."""
    said = ("import sys; from fptlib.__main__ import process; sys.argv[0] = 'fptlib'\n"
            "try: process()\nexcept SystemExit: pass\nprint('\\n' + ' '.join(sys.modules))")
    done = subprocess.run([sys.executable, "-c", said, *words], capture_output=True, text=True,
                          encoding="utf-8", check=True)
    return set(done.stdout.splitlines()[-1].split())


def test_help_loads_nothing() -> None:
    assert not loaded("--help") & (HEAVY | {"numpy", "pyarrow", "cryptography"})


@pytest.fixture(scope="module")
def job(tmp_path_factory) -> Path:
    return small_plant.write_job(tmp_path_factory.mktemp("loaded") / "job")


def as_plain(lines: list[str]) -> list[str]:
    return lines


def with_gaps_and_words(lines: list[str]) -> list[str]:
    """Days first, statuses in words, and empty cells."""
    header, *rows = (line.split(",") for line in lines)
    status = [at for at, name in enumerate(header) if name.endswith(("running", "command"))]
    for row in rows:
        day, clock = row[0].split()
        row[0] = "{2}/{1}/{0} {3}".format(*day.split("-"), clock)
        for at in status:
            row[at] = {"1.0": "On", "0.0": "Off"}[row[at]]
    rows[3][1] = ""
    return [",".join(row) for row in (header, *rows)]


@pytest.mark.parametrize("written", [as_plain, with_gaps_and_words])
def test_a_check_of_files_loads_no_pandas_and_nothing_that_draws(tmp_path, written) -> None:
    job = small_plant.write_job(tmp_path / "job")
    file = job / "trends" / "plant.csv"
    lines = written(file.read_text(encoding="utf-8").splitlines())
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = loaded("check", str(job))
    assert "pyarrow" in found and not found & HEAVY


def test_a_check_out_of_the_cache_loads_no_pandas_and_nothing_that_draws(job: Path) -> None:
    loaded("check", str(job))
    found = loaded("check", str(job))
    assert "numpy" in found and not found & (HEAVY | {"tqdm", "pyarrow.compute", "pyarrow.csv"})


def test_verify_loads_no_numbers(job: Path) -> None:
    assert not loaded("verify", str(job)) & HEAVY


def test_a_page_opens_without_what_draws_and_what_reads_notebooks() -> None:
    said = "import sys, fptlib.workbook.page, fptlib.workbook.told\nprint(' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True,
                          encoding="utf-8", check=True)
    found = set(done.stdout.split())
    assert "ipywidgets" in found
    assert not found & {"pandas", "matplotlib", "nbformat", "nbclient", "jsonschema", "lark"}


def test_what_draws_is_imported_while_a_page_is_filled() -> None:
    said = ("import asyncio, sys\nfrom fptlib.workbook import page\n"
            "async def opened():\n    page.draw_soon(0.1)\n    await asyncio.sleep(0.0)\n"
            "    print('matplotlib' in sys.modules)\n    await asyncio.sleep(0.3)\n"
            "asyncio.run(opened())\nprint('matplotlib' in sys.modules)")
    done = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True,
                          encoding="utf-8", check=True)
    assert done.stdout.split() == ["False", "True"]


def test_the_server_starts_without_the_grammar_of_addresses() -> None:
    said = ("import sys\nfrom fptlib.record import schema\nschema.validating()\n"
            "import jupyterlab.labapp, nbformat\n"
            "print('jsonschema' in sys.modules, 'lark' in sys.modules)")
    done = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True,
                          encoding="utf-8", check=True)
    assert done.stdout.split() == ["True", "False"]


def test_a_payload_is_read_without_the_grammar_of_addresses_that_takes_a_second() -> None:
    said = ("import sys\nfrom fptlib.errors import RecordError\nfrom fptlib.record import schema\n"
            "try: schema.current({'schema': {'name': schema.NAME, 'version': schema.VERSION}})\n"
            "except RecordError: print('jsonschema' in sys.modules, 'lark' in sys.modules)")
    done = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True,
                          encoding="utf-8", check=True)
    assert done.stdout.split() == ["True", "False"]


def test_two_workbooks_that_begin_together_import_the_validator_one_after_the_other(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """Two of a job's workbooks are read at once; one was told as damaged: 'rfc3987_syntax'."""
    def slow(name: str) -> str:
        time.sleep(0.1)
        return name

    monkeypatch.delitem(sys.modules, "rfc3987_syntax", raising=False)
    monkeypatch.setattr(schema, "import_module", slow)
    with ThreadPoolExecutor(2) as both:
        asked = [both.submit(schema.validating.__wrapped__) for _ in range(2)]
        assert [each.result() for each in asked] == ["jsonschema"] * 2
