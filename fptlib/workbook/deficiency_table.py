"""The deficiencies of a job as a table file for whoever corrects them, and back: what was found
goes out, what was done and its status come in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fptlib.answer import answers_of
from fptlib.errors import FormError
from fptlib.job.folder import Job, lookup, place
from fptlib.job.tables import DECISION
from fptlib.procedure.assemble import assemble
from fptlib.procedure.steps import all_checks
from fptlib.record import render
from fptlib.record.deficiencies import deficiencies, is_item, performed
from fptlib.record.payload import check_row
from fptlib.record.text import clean
from fptlib.workbook import table_file

NAME = "deficiencies.csv"
# What comes back; the rest is what the test found.
_BACK = ("responsible", "due", "setting_from", "setting_to", "corrective_action", "cost_party",
         "remark", "status", "status_by", "status_on")


def of(job: Job) -> list[dict[str, Any]]:
    """Every deficiency of the job as its files give it now."""
    held = job.answers()
    rows = [check_row(check) for check in all_checks(assemble(job))]
    return deficiencies([*rows, *performed(lookup(held, "script", []), rows)],
                        lookup(held, "deficiencies", {}), lookup(held, "retest.numbers", {}))


def write(job: Job) -> Path:
    """Write the table beside ``job.toml``, with the columns of the record's own."""
    head = render.COLUMNS["deficiencies"]
    rows = ([row.get(name) or "" for name in head] for row in of(job))
    cells = ([clean("; ".join(map(str, cell)) if isinstance(cell, list) else cell)
              for cell in row] for row in rows)
    return table_file.write(job.folder / NAME, head, cells)


def read(job: Job, path: Path) -> int:
    """Take over what the table says was done; returns how many items changed.

    Raises:
        FormError: it is no such table, a row names no check, or an answer cannot be used; then
            nothing is taken over.
    """
    rows = table_file.read(path.name, table_file.bytes_of(path), ("check", "status"),
                           "'fptlib deficiencies JOB' writes")
    taken = {row["check"]: _taken(row, where) for where, row in rows}
    held = job.get("deficiencies", {})
    changed = {check: row for check, row in taken.items()
               if any(held.get(check, {}).get(name, "") != value for name, value in row.items())}

    def put(document: Any) -> None:
        for check, row in changed.items():
            for name, value in row.items():
                place(document, f'deficiencies."{check}".{name}', value)

    job.change(put)
    return len(changed)


def _taken(row: Mapping[str, str], where: str) -> dict[str, str]:
    if not is_item(row["check"]):
        raise FormError(f"{where}: there is no check '{row['check']}'; leave that column as it is")
    found, known = {}, answers_of(DECISION)
    for name in _BACK:
        try:
            value = known[name].read(row.get(name, "").removeprefix("'"))
        except FormError as error:
            raise FormError(f"{where}: {error}") from None
        if value is not None:
            found[name] = str(value)
    if found.get("status", "open") != "open" and not found.get("status_by"):
        raise FormError(f"{where}: status '{found['status']}' needs status_by, who says so")
    return found


def lines(items: Sequence[Mapping[str, Any]]) -> list[str]:
    """The deficiencies as lines of text."""
    return [clean(f"{item['number']} {item['severity']}, {item['status']}: {item['title']} "
                  f"({item['responsible']}, {item['due']})") for item in items]
