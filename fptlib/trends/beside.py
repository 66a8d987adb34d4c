"""Files that lie in the trends folder and that no point is read from: what they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fptlib.errors import IntakeError
from fptlib.trends.cells import split_unit
from fptlib.trends.continuing import copies, same_series
from fptlib.trends.grid import Remark
from fptlib.trends.mapping import FileForm, PointMap, each_of
from fptlib.trends.samples import open_table, parts_of

_MOST = 200


def remarks(folder: Path, point_map: PointMap) -> list[Remark]:
    """A remark of every file that is not read: unreadable, a continuation, or not mapped."""
    found, beside = [], point_map.unmapped(folder)[:_MOST]
    twice = copies([*beside, *(folder / name for name in point_map.files)])
    for path in beside:
        if path.name in twice:
            found.append(Remark("note", f"is not used: it is a copy of '{twice[path.name]}'",
                                path.name))
            continue
        try:
            table = open_table(path, FileForm(path.name, point_map.zone))
        except IntakeError as error:
            found.append(Remark("doubt", f"is not used, and cannot be read: {error}", path.name))
            continue
        if first := _continues(path.name, table.names, _mapped(point_map)):
            found.append(Remark("doubt", (
                f"is not used, but has the columns of '{first}'; if it continues that file, state "
                f'file = ["{first}", "{path.name}"] for its points in the point map'), path.name))
        elif first := _continues(path.name, [split_unit(each)[0] for each in table.names],
                                 _mapped(point_map, bare=True)):
            found.append(Remark("doubt", (
                f"is not used, but has the columns of '{first}' in other units; if it continues "
                f'that file, state file = ["{first}", "{path.name}"] for its points in the point '
                "map, each column without its unit, and no unit"), path.name))
        else:
            found.append(Remark("note", "is not used: no point is read from it", path.name))
    for name in point_map.files:
        found += _other_parts(folder / name, point_map)
    return found


def _other_parts(path: Path, point_map: PointMap) -> list[Remark]:
    """Sheets of a mapped workbook, or members of a zip, that look as if they continued those that
    are read."""
    form = FileForm(path.name, point_map.zone)
    mapped = {part: columns for (file, part), columns in _mapped(point_map, parts=True).items()
              if file == path.name and part}
    found = []
    for one in parts_of(path, form)[:_MOST] if mapped else ():
        name = one.sheet or one.member
        try:
            names = () if name in mapped else open_table(path, one).names
        except IntakeError:
            continue
        if first := _continues(name, names, mapped):
            key = "sheet" if one.sheet else "member"
            found.append(Remark("doubt", (
                f"its {key} '{name}' is not used, but has the columns of '{first}'; if it "
                f'continues that one, state {key} = ["{first}", "{name}"] under '
                f'[files."{path.name}"]'),
                path.name))
    return found


def _mapped(point_map: PointMap, parts: bool = False, bare: bool = False) -> dict[Any, set[str]]:
    """The mapped columns of each file, or of each of its sheets and members; ``bare`` of units."""
    columns: dict[Any, set[str]] = {}
    for source in point_map.sources.values():
        for one in each_of(source):
            place = (one.file, one.sheet or one.member) if parts else one.file
            columns.setdefault(place, set()).update(
                split_unit(each)[0] if bare else each for each in (one.column, *one.plus))
    return columns


def _continues(name: str, names: Sequence[str], mapped: Mapping[str, set[str]]) -> str:
    """The mapped file or part all of whose mapped columns one has too, and which its own name does
    not tell from it; empty where there is none."""
    return next((other for other, columns in mapped.items() if columns <= set(names) and (
        len(columns) > 1 or same_series(other) == same_series(name))), "")
