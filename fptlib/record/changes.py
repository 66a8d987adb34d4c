"""What changed in a job folder since its record was made, each thing by name."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE, READINGS_FILE, Job, lookup, sha256
from fptlib.job.received import note
from fptlib.record import canonical, files

_MOST_NAMED = 20
# Where the workbooks stand is no answer, and may move on.
_BOOKKEEPING = "state"


def since(payload: Mapping[str, Any], job: Job) -> list[str]:
    """Sentences on everything that is not as the payload states it."""
    books = payload["procedure"]["workbooks"]
    trends = {path.name: path for path in job.trend_files()}
    workbooks = {path.name: path for path in sorted(job.workbooks_folder.glob("*.ipynb"))}
    if note(job.folder):
        books, workbooks = {}, {}
    return [
        *of_answers(payload, job),
        *_files("trend file {}", "", payload["inputs"]["trends"], trends, sha256),
        *_files("workbook {}", ": its code or text is not the one that was used", books,
                workbooks, _workbook_digest),
    ]


def of_answers(payload: Mapping[str, Any], job: Job) -> list[str]:
    """Sentences on every answer and field reading that is not as the payload states it."""
    inputs = payload["inputs"]
    return [*_job_file(inputs[JOB_FILE], job), *_readings(inputs[READINGS_FILE], job)]


def another_job(payload: Mapping[str, Any], job: Job) -> list[str]:
    """One sentence where the record is that of another job, by its number and creation."""
    now = canonical.plain(_answers(_text(job.file) or "") or {}, JOB_FILE)
    mine, theirs = ([str(lookup(answers, f"job.{name}", "")) for name in ("number", "created")]
                    for answers in (now, payload))
    if mine == theirs:
        return []
    return [f"this record belongs to another job: to {_named(*theirs)}, not to {_named(*mine)}"]


def _named(number: str, created: str) -> str:
    return f"{number or 'a job without number'} of {created or 'no date'}"


def _job_file(stated: Mapping[str, Any], job: Job) -> list[str]:
    text = _text(job.file)
    if text is None:
        return [f"{JOB_FILE} is gone"]
    if sha256(job.file) == stated["sha256"]:
        return []
    before, now = _answers(stated["text"]), _answers(text)
    if before is None or now is None:
        return [f"{JOB_FILE} changed and cannot be read any more"]
    moved_on = before.pop(_BOOKKEEPING, None) != now.pop(_BOOKKEEPING, None)
    said = _answers_changed(flat(before), flat(now))
    if said or moved_on:
        return said
    return [f"{JOB_FILE} changed, in comments or layout only; no answer and no limit changed"]


def _answers_changed(
    old: Mapping[tuple[str, ...], Any], new: Mapping[tuple[str, ...], Any]
) -> list[str]:
    # dict keys keep the file's order, so the sentences do too.
    names = [name for name in {**old, **new} if not _same(old.get(name), new.get(name))]
    said = []
    for name in names[:_MOST_NAMED]:
        what = f"limit '{name[1]}' ({name[-1]})" if name[0] == "limits" else f"'{'.'.join(name)}'"
        said.append(f"{JOB_FILE}: {what} was {shown(old.get(name))}, "
                    f"is now {shown(new.get(name))}")
    rest = len(names) - len(said)
    return said + ([f"{JOB_FILE}: {rest} more answers changed"] if rest else [])


def _same(old: Any, new: Any) -> bool:
    """Exactly the same: not rounded, and no word for a number."""
    return type(old) is type(new) and bool(old == new)


def shown(value: Any) -> str:
    """A value for a sentence."""
    return "absent" if value is None else f"'{str(value)[:80]}'"


def flat(answers: Any, name: tuple[str, ...] = ()) -> dict[tuple[str, ...], Any]:
    """Nested answers as one table: the names on the way to a value, then the value."""
    entries: Iterable[tuple[Any, Any]]
    if not answers and name:
        return {name: answers}
    if isinstance(answers, Mapping):
        entries = answers.items()
    elif isinstance(answers, list):
        entries = enumerate(answers, start=1)
    else:
        return {name: answers}
    return {path: value for key, entry in entries
            for path, value in flat(entry, (*name, str(key))).items()}


def _answers(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return None


def _readings(stated: Mapping[str, Any] | None, job: Job) -> list[str]:
    text = _text(job.readings_file)
    if stated is None:
        return [] if text is None else [f"{READINGS_FILE} was added after the record was made"]
    if text is None:
        return [f"{READINGS_FILE} is gone"]
    if sha256(job.readings_file) == stated["sha256"]:
        return []
    before, now = stated["text"].split("\n"), text.split("\n")
    rows = [n for n in range(max(len(before), len(now))) if before[n:n + 1] != now[n:n + 1]]
    named = ", ".join(str(n + 1) for n in rows[:_MOST_NAMED])
    more = f" and {len(rows) - _MOST_NAMED} more" if len(rows) > _MOST_NAMED else ""
    return [f"{READINGS_FILE} changed" + (f" in row {named}{more}" if rows else "")]


def _files(
    what: str, how: str, stated: Mapping[str, Any], now: Mapping[str, Path],
    digest: Callable[[Path], str],
) -> list[str]:
    return [
        *(f"{what.format(name)} is gone" for name in stated if name not in now),
        *(f"{what.format(name)} was added after the record was made"
          for name in now if name not in stated),
        *(f"{what.format(name)} changed{how}" for name, path in now.items()
          if name in stated and digest(path) != stated[name]["sha256"]),
    ]


def _workbook_digest(path: Path) -> str:
    try:
        return files.workbook_digest(path)
    except RecordError:
        return ""


def _text(path: Path) -> str | None:
    return path.read_bytes().decode("utf-8", errors="replace") if path.is_file() else None
