"""The exact sets of packages in ``.requirements/``: for a firm, and for who only verifies."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
RECORDS = ROOT / "tests" / "data" / "records"
# Lets in Python's own modules, ours, and those of the packages named; any other is not there.
ONLY = """
import importlib.metadata, re, sys
plain = lambda name: re.sub("[-_.]+", "-", name).lower()
allowed = set(sys.argv[1].split(","))
strange = {module for module, names in importlib.metadata.packages_distributions().items()
           if not allowed & set(map(plain, names))} - {"fptlib"}
class Absent:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in strange:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
sys.meta_path.insert(0, Absent())
from fptlib.cli.commands import main
sys.exit(main(sys.argv[2:]))
"""


def exact(name: str) -> dict[str, str]:
    """The versions of a set, every one of which has a digest."""
    text = (ROOT / ".requirements" / name).read_text(encoding="utf-8")
    entries = re.findall(r"^(\S+)==(\S+)[^\n]*\n(?:    --hash=sha256:[0-9a-f]{64}.*\n)+", text,
                         re.M)
    assert len(entries) == text.count("==") - len(re.findall(r";.*?==", text))
    return dict(entries)


def test_the_exact_set_has_every_dependency_in_a_version_that_is_allowed() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found = exact("exact.txt")
    for needed in map(Requirement, project["dependencies"]):
        assert needed.specifier.contains(found[needed.name]), needed


def test_both_sets_agree() -> None:
    assert exact("verify.txt").items() <= exact("exact.txt").items()


@pytest.mark.parametrize("arguments", [
    ["sound.json"], ["small.pdf"], ["sound.json", "--trusted", str(RECORDS / "trusted.jwks")]])
def test_who_only_verifies_needs_no_more(arguments: list[str]) -> None:
    record, *more = arguments
    done = subprocess.run(
        [sys.executable, "-c", ONLY, ",".join(exact("verify.txt")), "verify",
         str(RECORDS / record), *more], capture_output=True, text=True, cwd=ROOT, timeout=120)
    assert "whole and unchanged" in done.stdout and done.returncode == 3, done.stderr
