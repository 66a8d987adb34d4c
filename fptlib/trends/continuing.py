"""Files that continue one another: the same columns, one stretch of time after the other."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable, Mapping
from filecmp import cmp
from pathlib import Path
from typing import NamedTuple

from fptlib.trends.names import read

_MONTHS = ("january|february|march|april|may|june|july|august|september|october|november|december|"
           "jan|feb|mar|apr|jun|jul|aug|sept?|oct|nov|dec")
_DATE = re.compile(
    rf"(?<![^\W_])(?:{_MONTHS})(?![^\W_])|(?<!\d)(?:19|20)\d\d(?:[-_. ]?\d\d){{0,2}}(?!\d)"
    r"|(?<![^\W_])\d{1,2}[-_.](?:\d{1,2}[-_.](?:19|20)?|(?:19|20))\d\d(?!\d)|\(\d+\)",
    re.IGNORECASE)
# A file may begin so much of its length before the one in front of it ends.
_OVERLAP = 0.1


class Stretch(NamedTuple):
    """What decides whether files continue one another: their columns with their units, first and
    last time [ns]."""

    columns: frozenset[tuple[str, str]]
    first: int
    last: int


def undated(file: str) -> str:
    """A file's name without ending and dates: ``CH-1 KW 2026-01.csv`` is ``CH-1 KW``."""
    return dateless(Path(file).stem)


def dateless(name: str) -> str:
    """A name without its dates."""
    return re.sub(r"[\s_.\-]{2,}", " ", _DATE.sub(" ", name)).strip(" _.-")


def same_series(file: str) -> Hashable:
    """What the names of files, or of parts as ``file: sheet``, that continue one another have in
    common: words, and the number of the equipment."""
    name = dateless(file)
    return re.sub(r"[\W\d_]+", " ", name).strip().lower(), read(name).key


def chains(stretches: Mapping[str, Stretch]) -> list[list[str]]:
    """The files, those that continue one another together in the order of time.

    The files of two chillers have the same columns too; which equipment it is stands in their
    names then, or their times lie beside each other.
    """
    alike: dict[Hashable, list[str]] = {}
    for file in sorted(stretches, key=lambda name: (stretches[name].first, name)):
        alike.setdefault((stretches[file].columns, same_series(file)), []).append(file)
    found: list[list[str]] = []
    for files in alike.values():
        mine: list[list[str]] = []
        for file in files:
            one = stretches[file]
            begins = one.first + _OVERLAP * (one.last - one.first)
            before = next((chain for chain in mine if stretches[chain[-1]].last <= begins), None)
            if before is None:
                mine.append(before := [])
            before.append(file)
        found += mine
    return found


def copies(paths: Iterable[Path]) -> dict[str, str]:
    """Files of one series that are another one's copy, byte for byte, each with that one's name."""
    alike: dict[Hashable, list[Path]] = {}
    found: dict[str, str] = {}
    for path in sorted(paths):
        others = alike.setdefault((path.stat().st_size, same_series(path.name)), [])
        first = next((other for other in others if cmp(path, other, shallow=False)), None)
        if first is None:
            others.append(path)
        else:
            found[path.name] = first.name
    return found
