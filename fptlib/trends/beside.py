"""Files that lie in the trends folder and that no point is read from: what they are."""

from __future__ import annotations

from pathlib import Path

from fptlib.errors import IntakeError
from fptlib.trends.continuing import copies, same_series
from fptlib.trends.grid import Remark
from fptlib.trends.mapping import FileForm, PointMap, each_of
from fptlib.trends.samples import open_table

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
        if first := _continues(path.name, frozenset(table.names), point_map):
            found.append(Remark("doubt", (
                f"is not used, but has the columns of '{first}'; if it continues that file, state "
                f'file = ["{first}", "{path.name}"] for its points in the point map'), path.name))
        else:
            found.append(Remark("note", "is not used: no point is read from it", path.name))
    return found


def _continues(name: str, names: frozenset[str], point_map: PointMap) -> str:
    """The mapped file all of whose mapped columns a file has too, and which its own name does not
    tell from it; empty where there is none."""
    columns: dict[str, set[str]] = {}
    for source in point_map.sources.values():
        for one in each_of(source):
            columns.setdefault(one.file, set()).update((one.column, *one.plus))
    return next((file for file, mapped in columns.items() if mapped <= names and (
        len(mapped) > 1 or same_series(file) == same_series(name))), "")
