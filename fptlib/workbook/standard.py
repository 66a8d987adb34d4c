"""The procedure a job follows: blank workbooks, a firm's own limits and texts, differences.

A firm keeps its procedure in one folder::

    FIRM/
      procedure.toml    [procedure] name, edition; approvers; [letterhead] lines;
                        [limits."NAME"] value, reason, author, date;
                        [texts] STEP = "what the firm adds to the step"
      workbooks/        the firm's own copies of workbooks; those it lacks are the standard's

Starting a job copies all of it into the job and notes what it was, so that a later change of
a workbook or a limit is found without the firm's folder at hand.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from fptlib import units
from fptlib.errors import JobError
from fptlib.job.folder import Job, lookup, write_atomically
from fptlib.job.start import EDITION, clear, data_folder
from fptlib.limits import Limits, own, standard
from fptlib.record import schema
from fptlib.record.files import words_digest, workbook_digest

PROCEDURE_FILE = "procedure.toml"
# Where a job keeps the firm's own pages as it got them, and where a page goes that was changed.
OWN_PAGES = "procedure"
SET_ASIDE = "set_aside"
_KINDS: Mapping[str, type] = {"procedure": dict, "letterhead": dict, "letterhead.lines": list,
                              "procedure.approvers": list, "limits": dict, "texts": dict}
_KIND_WORDS: Mapping[type, str] = {dict: "table", list: "list"}


_BLANK = '''# Your firm's procedure. What begins with # is an example: take the # away to use it.
# Jobs follow it from their start:  fptlib start JOB --procedure THIS_FOLDER

[procedure]
name = "Our firm"     # with the edition, it stands in every job and record
edition = "1"         # raise it with every change
# approvers = ["owner", "tenant"]     # whose signed approval every plan needs

[letterhead]
lines = ["Our firm", "Street, city, phone"]     # above every page of the workbooks

# A limit of your own, with its reason; the page of 'fptlib document' lists them.
# [limits."enable.dwell"]
# value = 45.0
# reason = "our plants have large sumps"
# author = "who decided it"
# date = "2026-01-31"

# A text of your own at the head of a step: plan, instruments, reset, enable, lift and so on.
# [texts]
# enable = "Call the control room before the economizer is enabled."

# Workbooks of your own: put your copy of one into the folder 'workbooks', under the same name.
# Those that are not there are the standard's.
'''


@dataclass(frozen=True)
class Procedure:
    """A firm's procedure as read from its folder; the standard's states nothing of its own."""

    stated: Mapping[str, Any] = field(default_factory=dict)
    workbooks: Mapping[str, bytes] = field(default_factory=dict)


def read(folder: Path) -> Procedure:
    """A firm's procedure, checked before any job follows it.

    Raises:
        JobError: ``procedure.toml`` or a workbook cannot be read, or a limit lacks what it
            must have.
    """
    stated = _stated(folder)
    try:
        Limits({name: own(name, row) for name, row in stated.get("limits", {}).items()})
    except JobError as error:
        raise _unusable(folder, f"{PROCEDURE_FILE}: {error}") from error
    found = sorted((folder / "workbooks").glob("*.ipynb"))
    return Procedure(stated, {path.name: _cleared(folder, path) for path in found})


def followed(job: Job, earlier: Job | None = None) -> Procedure:
    """The firm's procedure that a retest has from its record: letterhead, texts, limits, and its
    own workbooks where the ``earlier`` job is at hand; the standard's where it followed that."""
    noted = job.get("procedure", {})
    edition = str(noted.get("edition", EDITION))
    if edition.rpartition(" ")[0] == EDITION.rpartition(" ")[0]:
        return Procedure()
    pages = sorted((earlier.folder / OWN_PAGES).glob("*.ipynb")) if earlier else []
    limits = {name: {"value": value, "reason": "the firm's procedure", "author": edition}
              for name, value in noted.get("limits", {}).items()}
    stated = {"procedure": {"edition": edition, "approvers": noted.get("approvers", [])},
              "texts": noted.get("texts", {}),
              "letterhead": {"lines": noted.get("letterhead", [])}, "limits": limits}
    return Procedure(stated, {path.name: _cleared(path.parent, path) for path in pages})


def begin(folder: Path) -> None:
    """Write a firm's folder to fill in: its ``procedure.toml`` with an example of everything.

    Raises:
        JobError: the folder is there already and not empty.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise JobError(f"'{folder.name}' is there already and not empty; name a new folder")
    (folder / "workbooks").mkdir(parents=True)
    write_atomically(folder / PROCEDURE_FILE, _BLANK.encode("utf-8"))


def adopt(job: Job, procedure: Procedure = Procedure()) -> None:
    """Let a started job follow a procedure, and note which edition it follows.

    The firm's own workbooks take the place of the standard's; its limits become this job's,
    with the firm as their author.
    """
    place(procedure, job.folder)
    job.change(lambda document: _note(document, job, procedure.stated))


def place(procedure: Procedure, folder: Path) -> None:
    """Put the procedure's own workbooks into a job folder, and a copy to mend them from."""
    for name, workbook in procedure.workbooks.items():
        (folder / OWN_PAGES).mkdir(exist_ok=True)
        for room in (folder / "workbooks", folder / OWN_PAGES):
            write_atomically(room / name, workbook)


def mend(job: Job, name: str) -> None:
    """Give a page of a job its procedure's cells back; the outputs of those it had stay.

    A page whose text or code was changed or damaged is set aside, never lost. Where the job
    follows an edition that is no more at hand the page stays as it is.
    """
    page, path = _as_given(job, name), job.workbooks_folder / name
    if page is None:
        return
    try:
        given = path.read_bytes()
        held = {cell["id"]: cell for cell in json.loads(given)["cells"]}
        changed = words_digest(given) != words_digest(json.dumps(page).encode())
    except (OSError, ValueError, KeyError, TypeError):
        held, changed = {}, path.exists()
    for cell in page["cells"]:
        before = held.get(cell["id"], {})
        if cell["cell_type"] == "code" and before.get("outputs") and not changed:
            cell["outputs"] = before["outputs"]
            cell["execution_count"] = before.get("execution_count")
    if list(held.values()) != page["cells"]:
        if changed:
            (job.workbooks_folder / SET_ASIDE).mkdir(exist_ok=True)
            write_atomically(job.workbooks_folder / SET_ASIDE / name, path.read_bytes())
        write_atomically(path, (json.dumps(page, indent=1, ensure_ascii=False) + "\n").encode())


def _as_given(job: Job, name: str) -> dict[str, Any] | None:
    """The page as the job got it, without outputs: the firm's own or the standard's."""
    noted = job.get("procedure", {}).get("workbooks", {}).get(name)
    for path in (job.folder / OWN_PAGES / name, data_folder("workbooks") / name):
        if path.is_file() and noted in (None, workbook_digest(path)):
            page: dict[str, Any] = json.loads(clear(path.read_bytes()))
            return page
    return None


def notebooks() -> Any:
    """What reads and writes notebook files, imported where one is: a page's kernel, which a
    technician waits for, does neither. Its validator is the record's (``schema.validating``)."""
    schema.validating()
    return import_module("nbformat")


def as_bytes(notebook: Any) -> bytes:
    """A notebook as it is written to disk, the same on every system."""
    return (notebooks().writes(notebook) + "\n").encode("utf-8")


def _stated(folder: Path) -> Mapping[str, Any]:
    try:
        found = tomlkit.parse((folder / PROCEDURE_FILE).read_text(encoding="utf-8")).unwrap()
    except (OSError, UnicodeDecodeError, TOMLKitError) as error:
        raise _unusable(folder, f"no readable {PROCEDURE_FILE}: {error}") from error
    for place, kind in _KINDS.items():
        if not isinstance(lookup(found, place, kind()), kind):
            raise _unusable(folder, f"{PROCEDURE_FILE}: '{place}' must be a {_KIND_WORDS[kind]}")
    if not lookup(found, "procedure.name") or not lookup(found, "procedure.edition"):
        raise _unusable(folder, f"{PROCEDURE_FILE} must state [procedure] name and edition")
    return found


def _cleared(folder: Path, path: Path) -> bytes:
    try:
        return clear(path.read_bytes())
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise _unusable(folder, f"workbook {path.name} is not a notebook") from error


def _unusable(folder: Path, why: str) -> JobError:
    return JobError(f"the firm's folder '{folder.name}' cannot be used: {why}; correct it and "
                    "start the job again")


def _note(document: Any, job: Job, procedure: Mapping[str, Any]) -> None:
    named = [lookup(procedure, f"procedure.{each}", "") for each in ("name", "edition")]
    edition = " ".join(filter(None, named)) or EDITION
    document.setdefault("job", tomlkit.table())["procedure"] = edition
    for limit, row in procedure.get("limits", {}).items():
        document.setdefault("limits", tomlkit.table(is_super_table=True)).setdefault(limit, row)
    held = {
        "edition": edition,
        "letterhead": list(lookup(procedure, "letterhead.lines", [])),
        "approvers": list(map(str, lookup(procedure, "procedure.approvers", []))),
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
    """What the job holds otherwise than the firm; how it deviates from the standard's limits is
    said by ``review.limit_changes``."""
    found = []
    for name, wanted in firm.items():
        row, unit = lookup(job.answers(), f'limits."{name}"'), standard(name).unit
        if row is None:
            found.append(f"Limit {name}: the procedure's own value was taken away.")
        elif row.get("value") != wanted:
            found.append(f"Limit {name}: {units.stated(row.get('value'), unit)} instead of the "
                         f"procedure's {units.stated(wanted, unit)}; "
                         f"{row.get('reason', 'no reason given')} ({row.get('author', '?')}).")
    return found
