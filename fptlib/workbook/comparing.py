"""A retest set beside the test it repeats: one page, and what became of each deficiency."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from pathlib import Path

from fptlib.errors import RecordError
from fptlib.procedure import before_after
from fptlib.record import render, retest, verify
from fptlib.record.files import write_new
from fptlib.record.locate import Located
from fptlib.record.retest import Closing
from fptlib.record.text import one_line
from fptlib.workbook import evidence, sign_off
from fptlib.workbook.sign_off import Computed


@dataclass(frozen=True, slots=True)
class Compared:
    """What a retest came to.

    Attributes:
        page: the page that was written.
        closings: what became of each deficiency.
        failing: checks that fail now and did not before.
        saved: what the correction saved, in words; empty where a job's trends are not at hand.
        remarks: why a record's figures are not shown.
    """

    page: Path
    closings: list[Closing]
    failing: list[str]
    saved: str
    remarks: list[str]

    @property
    def good(self) -> bool:
        """Every deficiency is closed and nothing fails anew."""
        return not self.failing and all(closing.closed for closing in self.closings)

    def lines(self) -> list[str]:
        """The findings as lines of text."""
        return [*(closing.line() for closing in self.closings),
                *(one_line(f"{check}: fails now and did not before") for check in self.failing),
                *([one_line(f"energy: {self.saved}")] if self.saved else []),
                *(one_line(remark) for remark in self.remarks),
                f"page: {self.page}"]


def compare(before: Located, after: Located) -> Compared:
    """Write the page that compares the two, beside the retest's record.

    Figures are drawn where the record's job folder is at hand and unchanged.

    Raises:
        RecordError: a record is damaged, the second does not refer to the first, or the page
            cannot be written.
    """
    # Asked first: it refuses two records that do not belong together before anything is drawn.
    closings = retest.closings(before.record, after.record)
    (first, why_not_first), (second, why_not_second) = _computed(before), _computed(after)
    saved = _saved(first, second)
    made = render.comparison(before.record, after.record, _figures(first), _figures(second), saved)
    failing = retest.newly_failing(retest.compare(before.record, after.record))
    remarks = [why for why in (why_not_first, why_not_second) if why]
    return Compared(_save(after.path, made), closings, failing, saved, remarks)


def _computed(of: Located) -> tuple[Computed | None, str]:
    """A record's job calculated now, or why it is not."""
    if of.job is None:
        return None, f"no figures of {of.path.name}: it lies in no job folder that has its trends"
    if not verify.verify(of.record, None, of.job).good:
        return None, (f"no figures of {of.path.name}: job '{of.job.folder.name}' is not as it was "
                      "signed; 'fptlib verify' says what changed")
    return sign_off.compute(of.job), ""


def _figures(found: Computed | None) -> dict[str, bytes]:
    return evidence.pictures(found.case, found.checks) if found else {}


def _saved(first: Computed | None, second: Computed | None) -> str:
    """What the correction saved, with what it rests on."""
    if first is None or second is None:
        return ""
    found = before_after.saved(first.case, second.case)
    share = "" if found.guideline is None else (
        f" (Guideline 14's formula: {100.0 * found.guideline:.0f} % of the savings)")
    return f"{found}{share}. {found.model}".rstrip(". ") + "."


def _save(record: Path, made: bytes) -> Path:
    """Under the first name beside the record that no file has."""
    ends = ("" if number == 1 else f"-{number}" for number in count(1))
    names = (record.with_name(f"{record.stem}-before-and-after{end}.html") for end in ends)
    try:
        path = next(path for path in names if not path.exists())
        write_new(path, made)
        return path
    except OSError as error:
        raise RecordError(f"the page cannot be saved in '{record.parent.name}': "
                          f"{error.strerror or error}; make room or allow writing, then compare "
                          "again") from error
