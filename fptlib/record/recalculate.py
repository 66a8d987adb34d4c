"""Recalculation: does everything that a record states come out the same today?

Each check is compared number by number; of the rest of the payload only what differs is
named. What made the record (program, moment, files) is provenance and differs by its nature:
``verify`` says what changed there.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import Any

from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE, READINGS_FILE, Job, sha256
from fptlib.record import canonical, schema
from fptlib.record.canonical import DECIMALS
from fptlib.record.changes import shown
from fptlib.record.deficiencies import deficiencies
from fptlib.record.payload import program
from fptlib.record.signing import read_whole
from fptlib.record.statement import conclusion
from fptlib.record.text import number, one_line

SAME, DIFFERS, NEW, GONE = "same", "differs", "new", "gone"
# Two computers may round a last bit to either side of a step, so one step is no difference.
_STEP = 1.5 * 10.0**-DECIMALS
_NUMBERS = ("measured", "limit", "margin", "uncertainty", "probability")
_PROVENANCE = {"schema", "program", "clock", "inputs"}
_SINCE_4 = {"script", "approvals", "changeovers", "statement", "sequence", "settings",
            "deficiencies"}
_MOST_NAMED = 5
_WORDS = ("question", "basis", "reason", "meaning", "adjust")
Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Difference:
    """How one check, or another member of the payload, comes out today.

    Attributes:
        check: its id, or the member's name.
        kind: ``same``, ``differs``, ``new`` (not in the record) or ``gone`` (only there).
        details: what differs and by how much, one phrase each.
        versions: versions that are not the recorded ones, where the check differs.
    """

    check: str
    kind: str
    details: tuple[str, ...] = ()
    versions: tuple[str, ...] = ()

    @property
    def same(self) -> bool:
        """The check comes out as it was recorded."""
        return self.kind == SAME

    def line(self) -> str:
        """The finding as a line of text."""
        said = f": {'; '.join(self.details)}" if self.details else ""
        since = f" (since: {', '.join(self.versions)})" if self.versions else ""
        return one_line(f"{self.check}: {self.kind}{said}{since}")


def differences(payload: Row, fresh: Row) -> list[Difference]:
    """Compare a record with one that would be made today: every check, and what else differs.

    Args:
        payload: the record's payload.
        fresh: the payload made today from the same job.

    Raises:
        RecordError: the payload is of an unknown kind.
    """
    content = schema.current(dict(payload))
    recorded = {row["id"]: row for row in content["checks"]}
    now = {row["id"]: row for row in fresh["checks"]}
    versions = _versions_changed(content)
    worded = _in_the_same_words(content, fresh)
    # What an earlier version did not state, or numbered otherwise, cannot come out the same.
    skipped = {*_PROVENANCE, "checks", *(() if content["statement"]["kind"] else _SINCE_4)}
    members = [name for name in {**content, **worded} if name not in skipped]
    unlike = {name: _unlike(content.get(name), worded.get(name), "") for name in members}
    return [
        *(_check(id, recorded.get(id), now.get(id), versions) for id in {**recorded, **now}),
        *(Difference(name, DIFFERS, tuple(said[:_MOST_NAMED]), versions)
          for name, said in unlike.items() if said),
    ]


def _versions_changed(content: Row) -> tuple[str, ...]:
    """Versions of program, Python and packages that are not those of the record."""
    then, now = ({made["name"]: made["version"], "Python": made["python"], **made["packages"]}
                 for made in (content["program"], program()))
    return tuple(f"{name} {then.get(name, 'absent')} -> {now.get(name, 'absent')}"
                 for name in {**then, **now} if then.get(name) != now.get(name))


def _in_the_same_words(content: Row, fresh: Row) -> dict[str, Any]:
    """The payload of today with the record's workbooks, and the words of its checks and steps.

    Another program may say the same in other words, and workbooks are ``verify``'s matter.
    """
    worded = ("title", "found", "required", "causes", "recommended")
    said = {item["check"]: {name: item[name] for name in worded}
            for item in deficiencies(content["checks"], {}, {})}
    titles = {row["step"]: row["title"] for row in content["steps"]}
    return {
        **fresh,
        "steps": [{**row, "title": titles.get(row["step"], row["title"])}
                  for row in fresh["steps"]],
        "procedure": {**fresh["procedure"], "workbooks": content["procedure"]["workbooks"]},
        "deficiencies": [{**item, **said.get(item["check"], {})}
                         for item in fresh["deficiencies"]],
        "statement": {**fresh["statement"], "conclusion": conclusion(content)},
    }


def _unlike(then: Any, now: Any, where: str) -> list[str]:
    """Each place at which two values differ, with what stood and what stands there."""
    pairs: list[tuple[str, Any, Any]] = []
    if isinstance(then, dict) and isinstance(now, dict):
        pairs = [(name, then.get(name), now.get(name)) for name in {**then, **now}]
    elif isinstance(then, list) and isinstance(now, list):
        both = zip_longest(then, now)
        pairs = [(str(n), old, new) for n, (old, new) in enumerate(both, start=1)]
    elif then != now and not _alike(then, now):
        return [f"{where} was {shown(then)}, is {shown(now)}".strip()]
    return [said for name, old, new in pairs
            for said in _unlike(old, new, f"{where}.{name}".strip("."))]


def _alike(then: Any, now: Any) -> bool:
    if isinstance(then, int | float) and isinstance(now, int | float):
        return abs(then - now) <= _STEP
    return bool(then == now)


def _check(id: str, then: Row | None, now: Row | None, versions: tuple[str, ...]) -> Difference:
    if then is None:
        return Difference(id, NEW, ("the record does not have it",), versions)
    if now is None:
        return Difference(id, GONE, ("this program does not make it",), versions)
    outcome = [*_outcome(then, now), *_events(then["events"], now["events"])]
    if outcome:
        return Difference(id, DIFFERS, tuple(outcome), versions)
    worded = any(then[name] != now[name] for name in _WORDS)
    return Difference(id, SAME, ("in other words",) if worded else ())


def _outcome(then: Row, now: Row) -> list[str]:
    said = [f"{name} was {then[name] or 'empty'}, is {now[name] or 'empty'}"
            for name in ("verdict", "unit") if then.get(name) != now.get(name)]
    if then.get("missing", []) != now.get("missing", []):
        said.append("other points are missing")
    for name in _NUMBERS:
        old, new = then[name], now[name]
        if not _alike(old, new):
            by = "" if old is None or new is None else f" (by {new - old:+.4g})"
            said.append(f"{name} was {number(old)}, is {number(new)}{by}")
    return said


def _events(then: Sequence[Row], now: Sequence[Row]) -> list[str]:
    if [event["start"] for event in then] != [event["start"] for event in now]:
        return [f"{len(then)} events were judged, now {len(now)}, not all at the same moments"]
    # Records of version 1 leave out an event's unit where it is the check's own.
    return [f"{old['name']}: {said}" for old, new in zip(then, now, strict=True)
            for said in _outcome({**old, "unit": old["unit"] or new["unit"]}, new)]


@contextmanager
def restored(record: bytes, trends: Path) -> Iterator[Job]:
    """A job as it was when the record was made, in a temporary folder that is gone afterwards.

    Args:
        record: the record's bytes; its signatures must match.
        trends: the folder that holds the trend files.

    Raises:
        RecordError: the record is damaged, or a file is absent or not the one that was used.
    """
    inputs = schema.current(read_whole(record).payload)["inputs"]
    files = [_checked(trends, name, stated) for name, stated in inputs["trends"].items()]
    texts = {name: text_of(name, inputs) for name in (JOB_FILE, READINGS_FILE) if inputs[name]}
    # Where reading failed its error holds the file open, which Windows then does not remove;
    # the error's own sentence counts more.
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as temporary:
        folder = Path(temporary) / "job"
        try:
            (folder / "trends").mkdir(parents=True)
            for path in files:
                shutil.copyfile(path, folder / "trends" / path.name)
            for name, text in texts.items():
                (folder / name).write_bytes(text.encode("utf-8"))
        except OSError as error:
            raise RecordError(
                f"the job cannot be made anew: {error.strerror or error}; make room in the "
                "computer's folder for temporary files") from error
        yield Job(folder)


def _checked(trends: Path, name: str, stated: Row) -> Path:
    # The name comes from the record: it must be a file's name and not a way to elsewhere.
    if name != Path(name).name or "\\" in name or ":" in name or name in ("", ".", ".."):
        raise RecordError(f"the record names a trend file '{name[:80]}', which is no file name")
    path = trends / name
    if not path.is_file():
        raise RecordError(f"trend file {name} is not in '{trends.name}'; name the folder that "
                          "holds the files as received")
    if sha256(path) != stated["sha256"]:
        raise RecordError(f"trend file {name} is not the one the record rests on: its SHA-256 "
                          "is another; put the file as received in its place")
    return path


def text_of(name: str, inputs: Row) -> str:
    """The text of a small input file as a record holds it in its ``inputs``.

    Raises:
        RecordError: it is not the text that the record was made from.
    """
    text = str(inputs[name]["text"])
    if canonical.digest(text.encode("utf-8")) != inputs[name]["sha256"]:
        raise RecordError(f"the record's text of {name} does not have the digest it states; take "
                          "another record of that job")
    return text
