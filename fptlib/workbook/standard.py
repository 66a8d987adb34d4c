"""The procedure a job follows: blank workbooks, a firm's own limits and texts, differences.

A firm keeps its procedure in one folder::

    FIRM/
      procedure.toml    [procedure] name, edition; [letterhead] lines; [limits."NAME"] value,
                        reason, author, date; [texts] STEP = "what the firm adds to the step"
      workbooks/        the firm's own copies of workbooks; those it lacks are the standard's

Starting a job copies all of it into the job and notes what it was, so that a later change of
a workbook or a limit is found without the firm's folder at hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import nbformat
import tomlkit
from tomlkit.exceptions import TOMLKitError

from fptlib.errors import JobError
from fptlib.job import Job, lookup, write_atomically
from fptlib.procedure.limits import standard
from fptlib.record.provenance import workbook_digest
from fptlib.start import EDITION, clear

PROCEDURE_FILE = "procedure.toml"


def adopt(job: Job, firm: Path | None = None) -> None:
    """Let a started job follow a firm's procedure, and note which edition it follows.

    Without a firm the standard procedure is noted. The firm's own workbooks take the place
    of the standard's; its limits become this job's, with the firm as their author.

    Raises:
        JobError: the firm's folder has no readable ``procedure.toml``.
    """
    procedure = _firm(firm) if firm else {}
    for path in sorted((firm / "workbooks").glob("*.ipynb")) if firm else ():
        write_atomically(job.workbooks_folder / path.name, clear(path.read_bytes()))
    job.change(lambda document: _note(document, job, procedure))


def as_bytes(notebook: Any) -> bytes:
    """A notebook as it is written to disk, the same on every system."""
    return (nbformat.writes(notebook) + "\n").encode("utf-8")


def _firm(folder: Path) -> Mapping[str, Any]:
    path = folder / PROCEDURE_FILE
    try:
        found = tomlkit.parse(path.read_text(encoding="utf-8")).unwrap()
    except (OSError, UnicodeDecodeError, TOMLKitError) as error:
        raise JobError(f"the firm's folder '{folder.name}' has no readable {PROCEDURE_FILE}: "
                       f"{error}") from error
    for name in found.get("limits", {}):
        standard(name)
    if not lookup(found, "procedure.name") or not lookup(found, "procedure.edition"):
        raise JobError(f"{PROCEDURE_FILE} of '{folder.name}' must state [procedure] name and "
                       "edition")
    return found


def _note(document: Any, job: Job, procedure: Mapping[str, Any]) -> None:
    name = lookup(procedure, "procedure.name", "")
    edition = f"{name} {lookup(procedure, 'procedure.edition')}" if name else EDITION
    document.setdefault("job", tomlkit.table())["procedure"] = edition
    for limit, row in procedure.get("limits", {}).items():
        document.setdefault("limits", tomlkit.table(is_super_table=True)).setdefault(limit, row)
    held = {
        "edition": edition,
        "letterhead": list(lookup(procedure, "letterhead.lines", [])),
        "texts": dict(procedure.get("texts", {})),
        "limits": {n: row["value"] for n, row in procedure.get("limits", {}).items()},
        "workbooks": {path.name: workbook_digest(path)
                      for path in sorted(job.workbooks_folder.glob("*.ipynb"))},
    }
    document["procedure"] = {key: value for key, value in held.items() if value}


def differences(job: Job) -> list[str]:
    """What of the job differs from the procedure it was started with, one sentence each."""
    noted = job.get("procedure", {})
    if not noted:
        return ["This job does not say which procedure it was started with."]
    return [*_workbooks(job, noted.get("workbooks", {})), *_limits(job, noted.get("limits", {}))]


def _workbooks(job: Job, noted: Mapping[str, str]) -> list[str]:
    found = []
    for name, digest in noted.items():
        path = job.workbooks_folder / name
        if not path.is_file():
            found.append(f"Workbook {name}: is missing.")
        elif workbook_digest(path) != digest:
            found.append(f"Workbook {name}: its text or code differs from the procedure's.")
    more = {path.name for path in job.workbooks_folder.glob("*.ipynb")} - set(noted)
    return [*found, *(f"Workbook {name}: is not part of the procedure." for name in sorted(more))]


def _limits(job: Job, firm: Mapping[str, Any]) -> list[str]:
    found = []
    for name, row in job.get("limits", {}).items():
        wanted = firm.get(name, standard(name).value)
        if row.get("value") != wanted:
            found.append(f"Limit {name}: {row.get('value')} instead of the procedure's {wanted}; "
                         f"{row.get('reason', 'no reason given')} ({row.get('author', '?')}).")
    lost = [name for name in firm if lookup(job.answers(), f'limits."{name}"') is None]
    return [*found, *(f"Limit {name}: the procedure's own value was taken away." for name in lost)]
