"""From a column's name in the point map to the header in the file."""

from __future__ import annotations

from difflib import get_close_matches

from fptlib.errors import IntakeError
from fptlib.trends.batches import Reader
from fptlib.trends.sniff import split_unit, tidy


def resolve(reader: Reader, column: str, where: str) -> str:
    """The header that ``column`` names: exactly, or without the unit in brackets.

    Raises:
        IntakeError: no header is so named, or more than one.
    """
    wanted = tidy(column)
    found = [name for name in reader.names if name == wanted]
    if not found:
        found = [name for name in reader.names if split_unit(name)[0] == wanted]
    if not found:
        found = [name for name in reader.names if name.lower() == wanted.lower()]
    if len(found) > 1:
        raise IntakeError(
            f"{where}: file '{reader.name}' has {len(found)} columns named '{column}'; "
            "rename one of them in the control system and export again"
        )
    if not found:
        raise IntakeError(
            f"{where}: file '{reader.name}' has no column '{column}'; "
            f"{_nearest(wanted, reader.names)}; mend 'column' in the point map"
        )
    return found[0]


def _nearest(wanted: str, names: tuple[str, ...]) -> str:
    near = get_close_matches(wanted, names, 3, 0.5)
    if near:
        return "nearest are " + ", ".join(f"'{name}'" for name in near)
    return "found were " + ", ".join(f"'{name}'" for name in names[:12])
