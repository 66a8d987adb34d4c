"""Recalculation: does everything that a record states come out the same today?

Each check is compared number by number; of the rest of the payload only what differs is
named. What made the record (program, moment, files) is provenance and differs by its nature:
``verify`` says what changed there.
"""

from __future__ import annotations

import re
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
from fptlib.record.payload import program
from fptlib.record.signing import read_whole
from fptlib.record.text import number, one_line

SAME, DIFFERS, NEW, GONE = "same", "differs", "new", "gone"
# Two computers may round a last bit to either side of a step, so one step is no difference; it
# is said all the same.
_STEP = 1.5 * 10.0**-DECIMALS
_PROVENANCE = {"schema", "program", "clock", "inputs"}
_SINCE_4 = {"script", "approvals", "changeovers", "statement", "sequence", "settings",
            "deficiencies"}
_MOST_NAMED = 5
# The sentences of the program, by the member of the payload they stand in. Everything else was
# measured, calculated or typed.
_SENTENCES = {
    "checks": {"question", "basis", "reason", "meaning", "adjust", "name", "subject", "text"},
    "steps": {"title"},
    "deficiencies": {"title", "found", "required", "causes", "recommended"},
    "statement": {"conclusion", "preliminary"},
    "limits": {"meaning", "basis"},
    "settings_sheet": {"reason", "helps", "not_replayed", "name", "specified", "found",
                       "recommended", "why", "valid", "effect", "plant", "sequence"},
    "trends": {"text"},
    "worth": {"question", "answer"},
}
Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Wording:
    """A sentence that another version of the program words otherwise.

    Attributes:
        where: what it is said of.
        then: the sentence of the record.
        now: the sentence of this program.
    """

    where: str
    then: str
    now: str

    def lines(self) -> list[str]:
        """Both sentences, one below the other."""
        return [one_line(f"{self.where}, in the record: {self.then or '(nothing)'}"),
                one_line(f"{self.where}, calculated now: {self.now or '(nothing)'}")]


@dataclass(frozen=True, slots=True)
class Difference:
    """How one check, or another member of the payload, comes out today.

    Attributes:
        check: its id, or the member's name.
        kind: ``same``, ``differs``, ``new`` (not in the record) or ``gone`` (only there).
        details: what differs and by how much, one phrase each.
        versions: versions that are not the recorded ones, where the check differs.
        wordings: what another version words otherwise; with the same versions it differs.
    """

    check: str
    kind: str
    details: tuple[str, ...] = ()
    versions: tuple[str, ...] = ()
    wordings: tuple[Wording, ...] = ()

    @property
    def same(self) -> bool:
        """Every number, moment and verdict comes out as it was recorded."""
        return self.kind == SAME

    def line(self) -> str:
        """The finding as a line of text."""
        details = [*self.details, *(["in other words"] if self.wordings else [])]
        said = f": {'; '.join(details)}" if details else ""
        since = f" (since: {', '.join(self.versions)})" if self.versions else ""
        return one_line(f"{self.check}: {self.kind}{said}{since}")

    def lines(self) -> list[str]:
        """The finding, and below it both texts of whatever is worded otherwise."""
        return [self.line(), *(f"  {said}" for found in self.wordings for said in found.lines())]


def differences(payload: Row, fresh: Row) -> list[Difference]:
    """Compare a record with one that would be made today: every check, and what else differs.

    With the versions of the record everything must be the same. Another version may word its
    own sentences otherwise: both are then given, and whoever accepts the record accepts each.

    Args:
        payload: the record's payload.
        fresh: the payload made today from the same job.

    Raises:
        RecordError: the payload is of an unknown kind.
    """
    content = schema.current(dict(payload))
    versions = _versions_changed(content)
    # What an earlier form of the record did not have cannot differ from what it said.
    stated = {row["id"]: row for row in payload["checks"]}
    recorded = {row["id"]: row for row in content["checks"]}
    now = {row["id"]: row for row in fresh["checks"]}
    fresh = {**fresh, "procedure": {**fresh["procedure"],
                                    "workbooks": content["procedure"]["workbooks"]}}
    # What an earlier version did not state, or numbered otherwise, cannot come out the same.
    skipped = {*_PROVENANCE, "checks", *(() if content["statement"]["kind"] else _SINCE_4),
               *(name for name in ("worth", "settings_sheet") if name not in content)}
    members = [name for name in {**content, **fresh} if name not in skipped]
    found = {name: _unlike(content.get(name), fresh.get(name), "") for name in members}
    return [
        *(_check(id, recorded.get(id), now.get(id), stated.get(id, {}), versions)
          for id in {**recorded, **now}),
        *(_difference(name, name, said, versions) for name, said in found.items() if said),
    ]


def wordings(found: Sequence[Difference]) -> list[Wording]:
    """Every sentence that is worded otherwise, a pair of texts once."""
    pairs = {(word.then, word.now): word for each in found for word in each.wordings}
    return list(pairs.values())


def _versions_changed(content: Row) -> tuple[str, ...]:
    """Versions of program, Python and packages that are not those of the record."""
    then, now = ({made["name"]: made["version"], "Python": made["python"], **made["packages"]}
                 for made in (content["program"], program()))
    return tuple(f"{name} {then.get(name, 'absent')} -> {now.get(name, 'absent')}"
                 for name in {**then, **now} if then.get(name) != now.get(name))


@dataclass(frozen=True, slots=True)
class _Place:
    """A place at which two values differ."""

    where: str
    then: Any
    now: Any

    @property
    def close(self) -> bool:
        """Two numbers no further apart than rounding carries them."""
        numbers = all(isinstance(value, int | float) and not isinstance(value, bool)
                      for value in (self.then, self.now))
        return numbers and abs(self.then - self.now) <= _STEP

    def sentence(self, member: str) -> bool:
        """Sentences of the program on either side; a list of them may have grown or shrunk."""
        # An entry of a list of sentences ends in its number.
        name = re.split(r"[.:] ?", re.sub(r"(\.\d+)+$", "", self.where))[-1]
        own = name in _SENTENCES.get(member, ())
        return own and all(isinstance(value, str | None) for value in (self.then, self.now))

    def said(self) -> str:
        """What stood there and what stands there now."""
        if not all(isinstance(value, int | float) for value in (self.then, self.now)):
            return f"{self.where} was {shown(self.then)}, is {shown(self.now)}".strip()
        by = f"{self.now - self.then:+.4g}"
        return f"{self.where} was {number(self.then)}, is {number(self.now)} (by {by})"


def _unlike(then: Any, now: Any, where: str) -> list[_Place]:
    """Each place at which two values differ in kind or value, with what stands there."""
    pairs: list[tuple[str, Any, Any]] = []
    if isinstance(then, dict) and isinstance(now, dict):
        pairs = [(name, then.get(name), now.get(name)) for name in {**then, **now}]
    elif isinstance(then, list) and isinstance(now, list):
        both = zip_longest(then, now)
        pairs = [(str(n), old, new) for n, (old, new) in enumerate(both, start=1)]
    elif then != now or isinstance(then, bool) is not isinstance(now, bool):
        return [_Place(where, then, now)]
    return [place for name, old, new in pairs
            for place in _unlike(old, new, f"{where}.{name}".strip("."))]


def _difference(name: str, member: str, places: Sequence[_Place], versions: tuple[str, ...]
                ) -> Difference:
    """What the places of one check, or of one other member, come to."""
    worded = [place for place in places if versions and place.sentence(member)]
    hard = [place for place in places if not place.close and place not in worded]
    close = [f"{place.where} differs in its last digit" for place in places if place.close]
    wordings = tuple(Wording(f"{name}, {place.where}", place.then, place.now) for place in worded)
    if not hard:
        return Difference(name, SAME, tuple(close[:_MOST_NAMED]), (), wordings)
    more = [f"{len(hard) - _MOST_NAMED} more"] if len(hard) > _MOST_NAMED else []
    said = [*(place.said() for place in hard[:_MOST_NAMED]), *more]
    return Difference(name, DIFFERS, tuple(said), versions, wordings)


def _check(id: str, then: Row | None, now: Row | None, stated: Row, versions: tuple[str, ...]
           ) -> Difference:
    if then is None:
        return Difference(id, NEW, ("the record does not have it",), versions)
    if now is None:
        return Difference(id, GONE, ("this program does not make it",), versions)
    if [event["start"] for event in then["events"]] != [event["start"] for event in now["events"]]:
        counted = (f"{len(then['events'])} events were judged, now {len(now['events'])}, not all "
                   "at the same moments")
        return Difference(id, DIFFERS, (counted,), versions)
    own = [place for place in _unlike(then, now, "") if not place.where.startswith("events.")]
    return _difference(id, "checks", [*own, *_events(then, now, stated)], versions)


def _events(then: Row, now: Row, stated: Row) -> list[_Place]:
    """Where a check's events differ, as far as the record as it was signed states them."""
    found = []
    for old, new, signed in zip(then["events"], now["events"], stated["events"], strict=True):
        # Records of version 1 leave out an event's unit where it is the check's own.
        kept = {**old, "unit": old["unit"] or new["unit"]}
        found += [_Place(f"{old['name']}: {place.where}", place.then, place.now)
                  for name in signed for place in _unlike(kept[name], new[name], name)]
    return found


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
