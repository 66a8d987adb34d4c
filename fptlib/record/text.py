"""Typed text made fit for paper: nothing in it can steer the page it stands on."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fptlib.units import symbol

# Every letter that is not plain ASCII deserves a look.
NOT_PLAIN = re.compile(r"[^\x20-\x7e\n\t]")
# Cc control, Cf format (direction marks, joiners), Cs half of a surrogate pair, Co and Cn
# without meaning, Zl and Zp line ends of their own.
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
# Spreadsheets read these as the beginning of a formula; the wide forms too.
_FORMULA = tuple("=+-@\t\r\n＝＋－＠")


def clean(value: Any) -> str:
    """Text with control and direction marks written out, as ``[U+202E]``.

    Such marks can make a reader see another text than the one that was signed.
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    return NOT_PLAIN.sub(_seen, str(value).replace("\r\n", "\n"))


def _seen(hit: re.Match[str]) -> str:
    return written_out(hit[0]) if unicodedata.category(hit[0]) in _UNSEEN else hit[0]


def written_out(letter: str) -> str:
    """A letter that cannot be shown, as its code."""
    return f"[U+{ord(letter):04X}]"


def one_line(value: Any) -> str:
    """Text for a terminal: it can neither steer it nor pass for a further line."""
    return " ".join(clean(value).split())


def like_formula(text: str) -> bool:
    """Whether a spreadsheet may run the text."""
    return text.startswith(_FORMULA) or text.lstrip().startswith(_FORMULA)


def harmless(cell: Any) -> Any:
    """A cell for CSV: a text that a spreadsheet may run gets an apostrophe in front."""
    return f"'{cell}" if isinstance(cell, str) and like_formula(cell) else cell


def csv_of(head: Iterable[str], rows: Iterable[Iterable[Any]]) -> bytes:
    """A table as CSV (RFC 4180), UTF-8 with the mark by which spreadsheets know it."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(head)
    writer.writerows([harmless(cell) for cell in row] for row in rows)
    return stream.getvalue().encode("utf-8-sig")


def shorten(text: str, longest: int) -> str:
    """The text, or its beginning with a word on what was left out."""
    if len(text) <= longest:
        return text
    said = f" ... [{len(text):,} characters; the whole text is in the signed record]"
    return text[:longest - len(said)] + said


def moment(value: Any) -> str:
    """An ISO 8601 moment as people read it; other text stays as it is."""
    if not value:
        return ""
    try:
        found = datetime.fromisoformat(str(value))
    except ValueError:
        return clean(value)
    if len(str(value)) <= len("2026-01-31"):
        return str(value)
    zone = found.strftime("%z")
    return found.strftime("%Y-%m-%d %H:%M") + (f" {zone[:3]}:{zone[3:5]}" if zone else "")


def site_moment(value: Any, zone: str) -> str:
    """A moment on the site's clock with UTC beside it; as it stands where either is not known."""
    try:
        there = datetime.fromisoformat(str(value))
        if there.tzinfo is None:
            return moment(value)
        there = there.astimezone(ZoneInfo(zone))
    except (ValueError, OSError, ZoneInfoNotFoundError):
        return moment(value)
    utc = there.astimezone(UTC)
    shown = f"{utc:%H:%M}" if utc.date() == there.date() else f"{utc:%Y-%m-%d %H:%M}"
    return f"{moment(there.isoformat())} ({shown} UTC)"


def offset_of(value: Any) -> str:
    """The offset from UTC that a moment states, as ``moment`` prints it; empty where none."""
    return moment(value)[len("2026-01-31 00:00 "):]


def span(start: Any, end: Any, usual: str = "") -> str:
    """Two moments in one line; the day and the offset once where they are the same, and no offset
    that is the ``usual`` one of the page."""
    first, last = (moment(each).removesuffix(f" {usual}") for each in (start, end))
    if not last or first == last:
        return first
    (day, time, *zone), (other_day, other_time, *other_zone) = first.split(), last.split()
    if zone != other_zone:
        return f"{first} to {last}"
    until = other_time if day == other_day else f"{other_day} {other_time}"
    return " ".join([day, time, "to", until, *zone])


def number(value: Any, unit: str = "") -> str:
    """A number with its unit; words stay words, a missing value is a dash."""
    if value is None:
        return "–"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return clean(value)
    shown = f"{value:,.2f}" if abs(value) < 1000 else f"{value:,.0f}"
    if "." in shown:
        shown = shown.rstrip("0").rstrip(".")
    # A small value must not read as zero.
    if value and float(shown.replace(",", "")) == 0.0:
        shown = f"{value:.4f}".rstrip("0")
    return f"{shown} {unit_shown(unit)}".rstrip()


def likelihood(probability: float | None) -> str:
    """A probability in per cent; extremes are not overstated."""
    if probability is None:
        return "–"
    share = 100.0 * probability
    return "> 99 %" if share > 99.0 else "< 1 %" if share < 1.0 else f"{share:.0f} %"


def unit_shown(unit: str) -> str:
    """A unit as it is printed."""
    return clean(symbol(unit))
