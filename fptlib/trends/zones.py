"""Zones as files and people write them: names, offsets, the short words of clocks."""

from __future__ import annotations

import re
from datetime import datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

# Hours east of UTC of the words that clocks in the United States show (49 CFR 71; in use).
_WORDS = {"EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7,
          "AKST": -9, "AKDT": -8, "HST": -10}
_OFFSET = r"[+-]\d{1,2}(?::?\d{2})?"
_UTC = re.compile(rf"(?:UTC|GMT|Zulu|Z)?\s*({_OFFSET})|UTC|GMT|Zulu|Z", re.IGNORECASE)
# In a header: an offset only behind UTC or GMT, a name with its region, or a word.
_MARK = re.compile(
    rf"(?<![A-Za-z])(?:(?:UTC|GMT)(?:\s*{_OFFSET})?|Zulu)(?![A-Za-z])|[A-Z][A-Za-z_]+/[A-Za-z_/]+"
    r"|(?<![A-Za-z])[A-Z]{3,4}(?![A-Za-z])")

# As Windows names a zone: its standard offset, and places whose clocks may change in summer.
_PLACED = re.compile(rf"\((?:UTC|GMT){_OFFSET}\)\s+(?P<place>[A-Z][^\d]*)")
# The zones of the United States by those names (Unicode CLDR, windowsZones, from memory).
_PLACES = {"Eastern Time": "America/New_York", "Central Time": "America/Chicago",
           "Mountain Time": "America/Denver", "Pacific Time": "America/Los_Angeles",
           "Arizona": "America/Phoenix", "Alaska": "America/Anchorage",
           "Hawaii": "Pacific/Honolulu"}


def zone_of(text: str) -> tzinfo | None:
    """The zone that ``America/Denver``, ``-07:00``, ``UTC-7``, ``GMT-07:00`` or ``UTC`` means."""
    if found := _UTC.fullmatch(text.strip()):
        offset = timedelta(seconds=seconds(found[1] or "+0"))
        return timezone(offset) if abs(offset) < timedelta(hours=24) else None
    try:
        return ZoneInfo(text.strip())
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def seconds(offset: str) -> int:
    """Seconds east of UTC of ``-07:00``, ``-0700``, ``-7``."""
    digits = offset[1:].replace(":", "")
    hours, minutes = (digits[:-2], digits[-2:]) if len(digits) > 2 else (digits, "0")
    east = int(hours) * 3600 + int(minutes) * 60
    return -east if offset[0] == "-" else east


def words(zone: tzinfo) -> dict[str, int]:
    """Seconds east of UTC by the words of a zone's own clocks, and in America by all of its."""
    if not isinstance(zone, ZoneInfo):
        return {}
    moments = [datetime(2024, month, 1, tzinfo=zone) for month in (1, 7)]
    own = {moment.tzname() or "": int((moment.utcoffset() or timedelta(0)).total_seconds())
           for moment in moments}
    american = zone.key.startswith(("America/", "US/", "Pacific/Honolulu"))
    return {**({word: hours * 3600 for word, hours in _WORDS.items()} if american else {}), **own}


def zone_in(text: str, site: tzinfo) -> tzinfo | None:
    """The zone that a header such as ``Time (UTC)`` or ``Date Time, GMT-07:00`` states.

    Raises:
        ValueError: it names places whose zone is not known here.
    """
    if placed := _PLACED.search(text):
        place = re.split(r"[(),;]", placed["place"])[0].strip()
        if place not in _PLACES:
            raise ValueError(place)
        return ZoneInfo(_PLACES[place])
    known = words(site)
    for mark in _MARK.findall(text):
        if mark in known:
            return timezone(timedelta(seconds=known[mark]), mark)
        if ("/" in mark or _UTC.fullmatch(mark)) and (found := zone_of(mark)):
            return found
    return None


def has_zone(text: str, site: tzinfo) -> bool:
    """Whether a header states a zone, known or not."""
    try:
        return zone_in(text, site) is not None
    except ValueError:
        return True
