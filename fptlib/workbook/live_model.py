"""The live test without widgets: marks, running time, countdowns and spot readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import tomlkit

from fptlib import points, units
from fptlib.errors import FormError
from fptlib.job.folder import Job
from fptlib.limits import Limits

START, PAUSE, RESUME, END = "test started", "test paused", "test resumed", "test ended"
CONDITION, REQUEST, HANDOVER = "enable condition holds", "request", "last chiller stopped"
MARKS = (
    CONDITION, REQUEST, "temporary setpoint seen", "alarm heard", HANDOVER,
    "setpoint seen returning", "setpoint back at reset", "first chiller started",
)

NOT_STARTED, RUNNING, PAUSED, ENDED = "not started", "running", "paused", "ended"
_STATES = {START: RUNNING, RESUME: RUNNING, PAUSE: PAUSED, END: ENDED}

# Two letters and a space, then the number: what is read most often beside the plant.
CODES: Mapping[str, str] = {
    "db": "outdoor_dry_bulb", "rh": "outdoor_humidity", "wb": "outdoor_wet_bulb",
    "cs": "chw_supply_temp", "sp": "chw_supply_setpoint", "cr": "chw_return_temp",
    "cf": "chw_flow", "ws": "cw_supply_temp", "wr": "cw_return_temp", "wf": "cw_flow",
    "xe": "hx_chw_entering_temp", "xl": "hx_chw_leaving_temp",
    "ke": "hx_cw_entering_temp", "kl": "hx_cw_leaving_temp",
    "l1": "chiller_1_chw_leaving_temp", "k1": "chiller_1_cw_leaving_temp",
    "l2": "chiller_2_chw_leaving_temp", "k2": "chiller_2_cw_leaving_temp",
}


@dataclass(frozen=True, slots=True)
class Countdown:
    """Time from a mark to a limit."""

    what: str
    since: datetime
    minutes: float

    def text(self, now: datetime) -> str:
        """What is left, or by how much it is over, in minutes and seconds."""
        left = self.since + timedelta(minutes=self.minutes) - now
        if left >= timedelta(0):
            return f"{self.what}: {clock(left)} left of {self.minutes:g} min"
        return f"{self.what}: {self.minutes:g} min reached, {clock(-left)} over"


def clock(span: timedelta) -> str:
    """A span as hours, minutes and seconds, as a stop watch shows it."""
    seconds = int(span.total_seconds())
    return f"{seconds // 3600:d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def state(marks: Sequence[Mapping[str, Any]]) -> str:
    """Whether the test runs, by the last mark that says so."""
    for mark in reversed(marks):
        if mark["what"] in _STATES:
            return _STATES[mark["what"]]
    return NOT_STARTED


def allowed(what: str, marks: Sequence[Mapping[str, Any]]) -> None:
    """Refuse a mark that cannot be set now.

    Raises:
        FormError: says what must come first.
    """
    now = state(marks)
    if what == START and now in (RUNNING, PAUSED):
        raise FormError("the test runs already; end it before a new one is started")
    if what == RESUME and now != PAUSED:
        raise FormError(f"the test is {now}; only a paused test can be resumed")
    if what in (PAUSE, END) and now not in (RUNNING, PAUSED):
        raise FormError(f"the test is {now}; start it first")
    if what in MARKS and now != RUNNING:
        raise FormError(f"the test is {now}; start or resume it, then set the mark '{what}'")


def present(marks: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The marks of the test that was started last."""
    starts = [n for n, mark in enumerate(marks) if mark["what"] == START]
    return list(marks[starts[-1]:]) if starts else []


def countdowns(marks: Sequence[Mapping[str, Any]], limits: Limits) -> list[Countdown]:
    """Dwell before the request and return time after the handover, while they matter."""
    times = {mark["what"]: datetime.fromisoformat(mark["time"]) for mark in present(marks)}
    found: list[Countdown] = []
    if state(marks) not in (RUNNING, PAUSED):
        return found
    if CONDITION in times and REQUEST not in times:
        found.append(Countdown("Dwell before the request", times[CONDITION],
                               limits["enable.dwell"]))
    if HANDOVER in times and "setpoint back at reset" not in times:
        found.append(Countdown("Return not before", times[HANDOVER], limits["recovery.shortest"]))
        found.append(Countdown("Return done by", times[HANDOVER], limits["recovery.longest"]))
    return found


def add_mark(job: Job, what: str, by: str, when: datetime) -> None:
    """Write a mark into the job, in the order they came.

    Raises:
        FormError: the mark cannot be set now.
    """
    row = {"time": when.isoformat(timespec="seconds"), "what": what, "by": by}

    def change(document: Any) -> None:
        marks = document.get("marks", [])
        allowed(what, marks)
        if not marks:
            document["marks"] = tomlkit.aot()
            marks = document["marks"]
        marks.append(row)

    job.change(change)


def spot(typed: str) -> tuple[str, str, str]:
    """Point, number and unit of a spot reading such as ``cs 44.2`` or ``cs 6.8 C``; the unit is
    empty where none is typed.

    Raises:
        FormError: the code or the unit is unknown, or the number is missing.
    """
    code, _, rest = typed.strip().partition(" ")
    if code.lower() not in CODES:
        raise FormError(f"'{code}' is no code; the codes are: " + ", ".join(CODES))
    number, _, unit = rest.strip().partition(" ")
    if not number:
        raise FormError(f"'{typed.strip()}' has no number; type for example 'cs 44.2'")
    name = CODES[code.lower()]
    return name, number, _unit(unit.strip(), points.point(name).unit)


def _unit(typed: str, wanted: str) -> str:
    found = units.alias(typed, wanted)
    if typed and not found:
        raise FormError(f"'{typed}' is no unit for this code; type one of: "
                        + ", ".join(map(units.symbol, units.offered(wanted))))
    return found
