"""The portfolio as one HTML page: self-contained, printable, readable in grey.

Text reaches the page only through Jinja2's escaping, and the page may load and run nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from fptlib.portfolio.result import FAIL, NOT_TESTED, Hours, Row, Screening
from fptlib.portfolio.table import check_ids, ranked

# One part of the sparkline is so wide, all of it so high [px].
_BAR, _HEIGHT = 3, 24


@dataclass(frozen=True, slots=True)
class Group:
    """A check with the plants that share a verdict on it, or a reason for it."""

    id: str
    question: str
    count: int
    plants: tuple[tuple[str, Row], ...]
    reasons: tuple[tuple[str, tuple[str, ...]], ...]


def html(screenings: Sequence[Screening], portfolio: str, made: datetime) -> bytes:
    """The page of a portfolio's results; ``portfolio`` names it."""
    plants = ranked(screenings)
    page = _template().render(
        portfolio=portfolio, made=made, plants=plants,
        totals=_totals(plants),
        failures=by_check(plants, FAIL), untested=by_check(plants, NOT_TESTED),
        unread=[plant for plant in plants if plant.error],
        shares={plant.plant: spark(plant.hours) for plant in plants if plant.hours},
        bar=_BAR, height=_HEIGHT,
    )
    return page.encode("utf-8")


def by_check(plants: Sequence[Screening], verdict: str) -> list[Group]:
    """Every check that came to a verdict somewhere, the one with most plants first."""
    groups = [_group(name, plants, verdict) for name in check_ids(plants)]
    return sorted((group for group in groups if group.count), key=lambda g: -g.count)


def _group(name: str, plants: Sequence[Screening], verdict: str) -> Group:
    found = [(plant.plant, row) for plant in plants for row in plant.with_verdict(verdict)
             if row.id == name]
    reasons: dict[str, list[str]] = {}
    for plant, row in found:
        reasons.setdefault(row.reason, []).append(plant)
    common = sorted(reasons.items(), key=lambda item: -len(item[1]))
    return Group(name, found[0][1].question if found else "", len(found), tuple(found),
                 tuple((reason, tuple(names)) for reason, names in common))


def _totals(plants: Sequence[Screening]) -> dict[str, float]:
    hours = [plant.hours for plant in plants if plant.hours]
    return {
        "plants": len(plants),
        "read": sum(not plant.error for plant in plants),
        "lost": sum(h.lost for h in hours if h.lost is not None),
        "possible": sum(h.possible for h in hours if h.possible is not None),
        "counted": sum(h.lost is not None for h in hours),
        "kwh": sum(h.kwh for h in hours if h.kwh is not None),
        "with_kwh": sum(h.kwh is not None for h in hours),
        "failing": sum(bool(plant.with_verdict(FAIL)) for plant in plants),
    }


def spark(hours: Hours) -> tuple[str, str]:
    """Two outlines of bars: hours possible and hours lost in each part of the trends.

    The full height is the length of one part, so that plants compare.
    """
    if not hours.spark:
        return "", ""
    part = hours.span / len(hours.spark) or 1.0
    outlines = [_outline([pair[which] / part for pair in hours.spark]) for which in (0, 1)]
    return outlines[0], outlines[1]


def _outline(shares: Sequence[float]) -> str:
    steps = "".join(f"V{_HEIGHT * (1.0 - min(share, 1.0)):.1f}h{_BAR}" for share in shares)
    return f"M0 {_HEIGHT}{steps}V{_HEIGHT}z"


@cache
def _template() -> Template:
    environment = Environment(
        loader=PackageLoader("fptlib.portfolio"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )
    return environment.get_template("portfolio.html.j2")
