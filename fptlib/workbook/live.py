"""The live test: marks, pause, spot readings, countdowns, overrides, and the panel for them."""

from __future__ import annotations

import html
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import ipywidgets as widgets
import tomlkit

from fptlib import points, units
from fptlib.errors import FormError
from fptlib.job import answers
from fptlib.job.folder import Job
from fptlib.job.schema import ENDED, STARTED
from fptlib.limits import Limits
from fptlib.workbook import parts, readings, static
from fptlib.workbook.checklist import overrides
from fptlib.workbook.forms import Message, Presses, Saved, guarded

Marks = Sequence[Mapping[str, Any]]

START, PAUSE, RESUME, END = STARTED, "test paused", "test resumed", ENDED
CONDITION, REQUEST, HANDOVER = "enable condition holds", "request", "last chiller stopped"
AT_RESET = "setpoint back at reset"
# What is saved, which earlier jobs hold too, and what people read.
MARKS: Mapping[str, str] = {
    CONDITION: "Enable condition holds", REQUEST: "Economizer enable",
    "temporary setpoint seen": "Temporary setpoint seen", "alarm heard": "Alarm heard",
    HANDOVER: "Last chiller stopped", "setpoint seen returning": "Setpoint seen returning",
    AT_RESET: "Setpoint back at reset", "first chiller started": "First chiller started",
}

NOT_STARTED, RUNNING, PAUSED, OVER = "not started", "running", "paused", "ended"
_STATES = {START: RUNNING, RESUME: RUNNING, PAUSE: PAUSED, END: OVER}
_TICK_SECONDS = 1.0

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


def state(marks: Marks) -> str:
    """Whether the test runs, by the last mark that says so."""
    return next((_STATES[mark["what"]] for mark in reversed(marks) if mark["what"] in _STATES),
                NOT_STARTED)


def allowed(what: str, marks: Marks) -> None:
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
        raise FormError(f"the test is {now}; start or resume it, then set the mark "
                        f"'{MARKS[what]}'")


def present(marks: Marks) -> Marks:
    """The marks of the test that was started last."""
    starts = [n for n, mark in enumerate(marks) if mark["what"] == START]
    return marks[starts[-1]:] if starts else []


def countdowns(marks: Marks, limits: Limits) -> list[Countdown]:
    """The enable delay before the enable, and the ramp after the transition to the exchanger,
    while they matter."""
    times = {mark["what"]: datetime.fromisoformat(mark["time"]) for mark in present(marks)}
    if state(marks) not in (RUNNING, PAUSED):
        return []
    found: list[Countdown] = []
    if CONDITION in times and REQUEST not in times:
        found.append(Countdown("Enable delay", times[CONDITION], limits["enable.dwell"]))
    if HANDOVER in times and AT_RESET not in times:
        found.append(Countdown("Ramp not done before", times[HANDOVER],
                               limits["recovery.shortest"]))
        found.append(Countdown("Ramp done by", times[HANDOVER], limits["recovery.longest"]))
    return found


def clock_markup(marks: Marks, limits: Limits, now: datetime) -> str:
    """The state of the test and its countdowns."""
    current, running = present(marks), state(marks)
    lines = [f"The test is <b>{running}</b>"]
    if current and running in (RUNNING, PAUSED):
        lines[0] += f" since {clock(now - datetime.fromisoformat(current[0]['time']))}"
    lines += [html.escape(c.text(now)) for c in countdowns(marks, limits)]
    return "<br>".join(lines)


def add_mark(job: Job, what: str, by: str, when: datetime) -> None:
    """Write a mark into the job, in the order they came.

    Raises:
        FormError: the mark cannot be set now.
    """
    def change(document: Any) -> None:
        allowed(what, document.get("marks", []))
        if not document.get("marks"):
            document["marks"] = tomlkit.aot()
        document["marks"].append(
            {"time": when.isoformat(timespec="seconds"), "what": what, "by": by})

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
    wanted = points.point(name).unit
    found = units.alias(unit.strip(), wanted)
    if unit.strip() and not found:
        raise FormError(f"'{unit.strip()}' is no unit for this code; type one of: "
                        + ", ".join(map(units.symbol, units.offered(wanted))))
    return name, number, found


class LivePanel:
    """What a technician presses while the plant changes over."""

    def __init__(self, job: Job, saved: Saved = lambda: None) -> None:
        self.job, self._saved = job, saved
        self._limits = answers.limits(job.answers())
        self.message, self._presses = Message(), Presses()
        self.clock, self.marks = parts.html("", "fpt-clock"), parts.html()
        self.by = parts.text("Marked by", value=str(job.get("people.technician.name", "")))
        self.spot = parts.text("Spot reading", "fpt-spot", placeholder="cs 44.2")
        self.instrument = parts.choice("with instrument",
                                       options=list(job.get("instruments", {})) or [""])
        self.spot.observe(lambda _: guarded(self.message, self._spot), names="value")
        controls = {START: "Start test", PAUSE: "Pause", RESUME: "Resume", END: "End test"}
        self.widget = parts.column([
            parts.title("Live test"), self.clock, self.by, self._markers(controls),
            self._markers(MARKS), self.spot, self.instrument, _code_help(), self.message.widget,
            self.marks, overrides(job, saved).widget,
        ], "fpt-form")
        self.refresh()

    def _markers(self, words: Mapping[str, str]) -> widgets.Widget:
        return parts.line([self._marker(text, what) for what, text in words.items()])

    def _marker(self, text: str, what: str) -> widgets.Button:
        made = parts.button(text, "fpt-mark-" + what.replace(" ", "-"))
        made.on_click(lambda _: self._presses.take(
            made, lambda: guarded(self.message, lambda: self._mark(what))))
        return made

    def _mark(self, what: str) -> None:
        when = readings.site_time(self.job)
        add_mark(self.job, what, self.by.value, when)
        self.message.saved(f"{when:%H:%M:%S} {what}")
        self.refresh()
        self._saved()

    def _spot(self) -> None:
        if not self.spot.value:
            return
        name, number, unit = spot(self.spot.value)
        if not self.instrument.value:
            raise FormError("with instrument: choose the one that shows the reading; instruments "
                            "are listed in the Plan. The reading is not saved")
        row = readings.finish(self.job, {
            "time": readings.site_time(self.job).isoformat(), "point": name, "value": number,
            "unit": unit, "instrument": self.instrument.value or "", "taken_by": self.by.value,
        })
        readings.Readings(self.job).put(row, None)
        self.spot.value = ""
        agrees, doubt = readings.against_trend(self.job, row)
        said = [readings.plausible(self.job, points.point(name), number, row["unit"]), agrees]
        self.message.saved(f"{row['time'][11:19]} saved: " + "; ".join(filter(None, said)), doubt)
        self._saved()

    def refresh(self) -> None:
        """Show the marks and the clock as the file holds them now; a running test's clock ticks."""
        marks = self.job.get("marks", [])
        shown = [[str(m["time"])[:19].replace("T", " "), m["what"], m.get("by", "")]
                 for m in present(marks)]
        self.marks.value = static.table("Marks of this test", ("Time", "What", "By"), shown,
                                        "none yet").markup
        if self._tick():
            _Ticker.of(self._tick)

    def _tick(self) -> bool:
        marks = self.job.get("marks", [])
        self.clock.value = clock_markup(marks, self._limits, readings.site_time(self.job))
        return state(marks) == RUNNING


class _Ticker:
    """One thread that calls the panel opened last, until it says stop."""

    _present: threading.Event | None = None

    @classmethod
    def of(cls, tick: Callable[[], bool]) -> None:
        if cls._present is not None:
            cls._present.set()
        cls._present = stop = threading.Event()
        threading.Thread(target=_tick_until, args=(tick, stop), daemon=True).start()


def _tick_until(tick: Callable[[], bool], stop: threading.Event) -> None:
    while not stop.wait(_TICK_SECONDS):
        try:
            if not tick():
                return
        except Exception:
            # A clock that stops is better than one that floods a kernel with faults.
            return


def _code_help() -> widgets.HTML:
    codes = ", ".join(f"<b>{code}</b> {points.point(name).meaning}"
                      for code, name in CODES.items())
    other = "Without a unit it counts in the unit of the point's trend; with one: <b>cs 6.8 C</b>."
    return parts.html(
        "<details class='fpt-help'><summary>Two letters, a space, the number, Enter: "
        f"<b>cs 44.2</b>. Units and codes</summary>{other}<br>{codes}</details>")
