"""A lower room never imports a higher one and nothing imports in a circle.

Imports inside functions count. The order is the one the contributor guide draws.
"""

from __future__ import annotations

import ast
import subprocess
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "fptlib"
GROUND = ("errors", "owner", "units", "points", "answer", "limits")
ROOMS = (*GROUND, "physics", "trends", "job", "procedure", "record", "portfolio", "workbook", "cli")


def modules() -> dict[str, Path]:
    """Every module of the package by its dotted name below ``fptlib``."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


MODULES = modules()


def imported(name: str) -> set[str]:
    """The modules of fptlib that a module imports, wherever in it."""
    found = set()
    for node in ast.walk(ast.parse(MODULES[name].read_text(encoding="utf-8"))):
        dotted: list[str] = []
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("fptlib"):
            dotted = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            dotted = [alias.name for alias in node.names if alias.name.startswith("fptlib")]
        for each in dotted:
            below = each.removeprefix("fptlib").removeprefix(".")
            while below and below not in MODULES:
                below = below.rpartition(".")[0]
            if below:
                found.add(below)
    return found - {name}


def room(name: str) -> str:
    return name.split(".")[0]


@pytest.mark.parametrize("name", [n for n in MODULES if room(n) in ROOMS])
def test_a_room_imports_only_lower_rooms(name: str) -> None:
    allowed = set(ROOMS[: ROOMS.index(room(name)) + 1])
    higher = {each for each in imported(name) if room(each) not in allowed}
    assert not higher, f"{name} imports {sorted(higher)}"


def test_nothing_imports_in_a_circle() -> None:
    graph = {name: imported(name) for name in MODULES if name and not name.endswith("__main__")}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))


def test_the_top_level_is_what_a_user_of_the_workbooks_was_promised() -> None:
    kept = subprocess.run(["git", "ls-tree", "--name-only", "HEAD"], capture_output=True,
                          text=True, cwd=PACKAGE.parent, check=False).stdout.split()
    assert {name for name in kept if not name.startswith(".")} <= {
        "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "workbooks", "fptlib",
        "sample_trends", "tests"}
