"""What changed in a job folder since its record was made, each thing by name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE, READINGS_FILE, Job, lookup, sha256
from fptlib.record import canonical, provenance
from fptlib.record.plain import plain

_MOST_NAMED = 20
_BOOKKEEPING = "state"
# What makes a job this job.
_NAMES = ("number", "created")


def since(payload: Mapping[str, Any], job: Job) -> list[str]:
    """Sentences on everything that is not as the payload states it."""
    inputs = payload["inputs"]
    return [
        *_job_file(inputs[JOB_FILE], job),
        *_readings(inputs[READINGS_FILE], job),
        *_trends(inputs["trends"], job),
        *_workbooks(payload["procedure"]["workbooks"], job),
    ]


def another_job(payload: Mapping[str, Any], job: Job) -> list[str]:
    """One sentence where the record is that of another job."""
    now = _answers(_text(_bytes(job.file) or b"")) or {}
    mine = [str(lookup(now, f"job.{name}", "")) for name in _NAMES]
    theirs = [payload["job"][name] for name in _NAMES]
    if mine == theirs:
        return []
    return [f"this record belongs to another job: to {_named(theirs)}, not to {_named(mine)}"]


def _named(job: Sequence[str]) -> str:
    number, created = job
    return f"{number or 'a job without number'} of {created or 'no date'}"


def _job_file(stated: Mapping[str, Any], job: Job) -> list[str]:
    data = _bytes(job.file)
    if data is None:
        return [f"{JOB_FILE} is gone"]
    if canonical.digest(data) == stated["sha256"]:
        return []
    before, now = _answers(stated["text"]), _answers(_text(data))
    if before is None or now is None:
        return [f"{JOB_FILE} changed and cannot be read any more"]
    changed = _answers_changed(_given(before), _given(now))
    if not changed and before.get(_BOOKKEEPING) != now.get(_BOOKKEEPING):
        return []
    return changed or [
        f"{JOB_FILE} changed, in comments or layout only; no answer and no limit changed"
    ]


def _given(answers: Mapping[str, Any]) -> dict[str, Any]:
    """What somebody answered; where the workbooks stand is no answer, and may move on."""
    return {name: table for name, table in answers.items() if name != _BOOKKEEPING}


def _answers_changed(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    old, new = _flat(before), _flat(now)
    # dict keys keep the file's order, so the sentences do too.
    names = [name for name in {**old, **new} if old.get(name) != new.get(name)]
    said = [_answer_changed(name, old, new) for name in names[:_MOST_NAMED]]
    rest = len(names) - len(said)
    return said + ([f"{JOB_FILE}: {rest} more answers changed"] if rest > 0 else [])


def _answer_changed(
    name: tuple[str, ...], old: Mapping[tuple[str, ...], Any], new: Mapping[tuple[str, ...], Any]
) -> str:
    what = f"limit '{name[1]}' ({name[-1]})" if name[0] == "limits" else f"'{'.'.join(name)}'"
    return f"{JOB_FILE}: {what} was {shown(old.get(name))}, is now {shown(new.get(name))}"


def shown(value: Any) -> str:
    """A value for a sentence."""
    return "absent" if value is None else f"'{str(value)[:80]}'"


def _flat(answers: Any, name: tuple[str, ...] = ()) -> dict[tuple[str, ...], Any]:
    if isinstance(answers, Mapping):
        entries = [(str(key), value) for key, value in answers.items()]
    elif isinstance(answers, list):
        entries = [(str(n), value) for n, value in enumerate(answers, start=1)]
    else:
        return {name: answers}
    found: dict[tuple[str, ...], Any] = {}
    for key, value in entries:
        found |= _flat(value, (*name, key))
    return found


def _answers(text: str) -> dict[str, Any] | None:
    try:
        return plain(tomlkit.parse(text).unwrap(), JOB_FILE)
    except (TOMLKitError, RecordError):
        return None


def _readings(stated: Mapping[str, Any] | None, job: Job) -> list[str]:
    data = _bytes(job.readings_file)
    if stated is None:
        return [] if data is None else [f"{READINGS_FILE} was added after the record was made"]
    if data is None:
        return [f"{READINGS_FILE} is gone"]
    if canonical.digest(data) == stated["sha256"]:
        return []
    before, now = stated["text"].split("\n"), _text(data).split("\n")
    rows = [n for n in range(max(len(before), len(now))) if before[n:n + 1] != now[n:n + 1]]
    if not rows:
        return [f"{READINGS_FILE} changed"]
    named = ", ".join(str(n + 1) for n in rows[:_MOST_NAMED])
    more = f" and {len(rows) - _MOST_NAMED} more" if len(rows) > _MOST_NAMED else ""
    return [f"{READINGS_FILE} changed in row {named}{more}"]


def _trends(stated: Mapping[str, Any], job: Job) -> list[str]:
    now = {path.name: path for path in job.trend_files()}
    return [
        *(f"trend file {name} is gone" for name in stated if name not in now),
        *(f"trend file {name} was added after the record was made"
          for name in now if name not in stated),
        *(f"trend file {name} changed" for name, path in now.items()
          if name in stated and sha256(path) != stated[name]["sha256"]),
    ]


def _workbooks(stated: Mapping[str, Any], job: Job) -> list[str]:
    folder = job.workbooks_folder
    names = {path.name for path in folder.glob("*.ipynb")} if folder.is_dir() else set()
    return [
        *(f"workbook {name} is gone" for name in stated if name not in names),
        *(f"workbook {name} was added after the record was made"
          for name in sorted(names) if name not in stated),
        *(f"workbook {name} changed: its code or text is not the one that was used"
          for name in sorted(names) if name in stated
          and _digest(folder / name) != stated[name]["sha256"]),
    ]


def _digest(path: Path) -> str:
    try:
        return provenance.workbook_digest(path)
    except RecordError:
        return ""


def _bytes(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


def _text(data: bytes) -> str:
    return data.decode("utf-8", errors="replace")
