"""A lower room never imports a higher one, as the contributor guide draws it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "fptlib"
GROUND = {"points", "units", "trends", "errors"}
JOB = GROUND | {"pressures", "job", "physics", "procedure"}
ALLOWED = {
    "physics": {"physics"},
    "pressures": GROUND | {"physics"},
    "intake": GROUND | {"intake", "pressures", "physics"},
    "procedure": GROUND | {"procedure", "physics"},
    "record": JOB | {"record"},
    "portfolio": JOB | {"portfolio", "record", "assemble", "answers", "intake", "start"},
    "points": GROUND, "units": GROUND, "trends": GROUND, "errors": GROUND,
    "job": GROUND,
    "readings_file": {"errors"},
    "answers": JOB | {"readings_file"},
}


def imported(path: Path) -> set[str]:
    """The rooms of fptlib that a module imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        parts = [name.split(".") for name in names]
        found |= {p[1] for p in parts if p[0] == "fptlib" and len(p) > 1}
    return found - {"__version__"}


@pytest.mark.parametrize("room", sorted(ALLOWED))
def test_room_imports_only_lower_rooms(room: str) -> None:
    place = PACKAGE / room
    files = sorted(place.rglob("*.py")) if place.is_dir() else [PACKAGE / f"{room}.py"]
    for path in files:
        wrong = imported(path) - ALLOWED[room]
        assert not wrong, f"{path.relative_to(PACKAGE.parent)} imports {sorted(wrong)}"
