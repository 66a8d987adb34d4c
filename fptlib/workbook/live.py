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
from fptlib.errors import FormError, FptError
from fptlib.job import answers
from fptlib.job.folder import Job, site_time
from fptlib.job.schema import ABORTED, CHILLER_ON, ENDED, STARTED, Plant
from fptlib.limits import Limits
from fptlib.workbook import parts, readings, static
from fptlib.workbook.checklist import overrides
from fptlib.workbook.forms import Message, Presses, Saved, guarded
from fptlib.workbook.live_readings import (
    CODES,
    Now,
    Watched,
    codes,
    meaning,
    read_next,
    watched,
)
from fptlib.workbook.state import closed

Marks = Sequence[Mapping[str, Any]]

START, PAUSE, RESUME, END, ABORT = STARTED, "test paused", "test resumed", ENDED, ABORTED
CONDITION, REQUEST, HANDOVER = "enable condition holds", "request", "last chiller stopped"
AT_RESET, ALARM = "setpoint back at reset", "alarm heard"
# What is saved, which earlier jobs hold too, and what people read.
MARKS: Mapping[str, str] = {
    CONDITION: "Enable condition holds", REQUEST: "Economizer enable",
    "temporary setpoint seen": "Temporary setpoint seen", ALARM: "Alarm heard",
    HANDOVER: "Last chiller stopped", "setpoint seen returning": "Setpoint seen returning",
    AT_RESET: "Setpoint back at reset", CHILLER_ON: "First chiller started",
}
# What must have come before a mark: the other order is impossible.
_AFTER: Mapping[str, str] = {
    "temporary setpoint seen": REQUEST, HANDOVER: REQUEST, "setpoint seen returning": HANDOVER,
    AT_RESET: HANDOVER, CHILLER_ON: HANDOVER,
}

NOT_STARTED, RUNNING, PAUSED, OVER, STOPPED = (
    "not started", "running", "paused", "ended", "aborted")
_STATES = {START: RUNNING, RESUME: RUNNING, PAUSE: PAUSED, END: OVER, ABORT: STOPPED}
# What is typed in the line of readings instead of one, so that no hand leaves the keyboard.
KEYS: Mapping[str, str] = {
    **{str(n): what for n, what in enumerate(MARKS, 1)},
    "start": START, "pause": PAUSE, "resume": RESUME, "end": END, "abort": ABORT}
UNDO = "undo"
_TICK_SECONDS = 1.0

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
    of_attempt = [mark["what"] for mark in attempt(marks)]
    # After an abort, the way to the safe state is marked too.
    if what == CHILLER_ON and now == STOPPED and what not in of_attempt:
        return
    if what == START and now in (RUNNING, PAUSED):
        raise FormError("the test runs already; end it before a new one is started")
    if what == RESUME and now != PAUSED:
        raise FormError(f"the test is {now}; only a paused test can be resumed")
    if what in (PAUSE, END, ABORT) and now not in (RUNNING, PAUSED):
        raise FormError(f"the test is {now}; start it first")
    if what in MARKS and now != RUNNING:
        raise FormError(f"the test is {now}; start or resume it, then set the mark "
                        f"'{MARKS[what]}'")
    if (before := _AFTER.get(what)) and before not in of_attempt:
        raise FormError(f"'{MARKS[what]}' cannot come before '{MARKS[before]}'; set that mark "
                        "first, or undo one that is wrong")
    if what in _AFTER and what in of_attempt:
        raise FormError(f"'{MARKS[what]}' was set already; undo it first if it was too early")


def present(marks: Marks) -> Marks:
    """The marks of the test that was started last."""
    starts = [n for n, mark in enumerate(marks) if mark["what"] == START]
    return marks[starts[-1]:] if starts else []


def attempt(marks: Marks) -> Marks:
    """The marks of the present attempt: from the last enable on, or of the whole test."""
    here = present(marks)
    enables = [n for n, mark in enumerate(here) if mark["what"] == REQUEST]
    return here[enables[-1]:] if enables else here


def undo(job: Job) -> str:
    """Take the last mark of the present test back; returns which it was.

    Raises:
        FormError: there is none.
    """
    taken: list[str] = []

    def change(document: Any) -> None:
        held = document.get("marks", [])
        if not present(held):
            raise FormError("no mark is set in this test; there is nothing to undo")
        taken.append(str(held.pop(len(held) - 1)["what"]))

    job.change(change)
    return taken[0]


def countdowns(marks: Marks, limits: Limits, plant: Plant | None = None) -> list[Countdown]:
    """The enable delay before the enable, the ramp and the chillers' anti-recycle times after the
    transition to the exchanger, while they matter."""
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
    if HANDOVER in times and plant is not None:
        found += [Countdown(f"{each.tag or f'Chiller {each.number}'} may start again after",
                            times[HANDOVER], each.anti_recycle)
                  for each in plant.chillers if each.anti_recycle is not None]
    return found


def clock_markup(marks: Marks, limits: Limits, now: datetime, plant: Plant | None = None) -> str:
    """The state of the test and its countdowns."""
    current, running = present(marks), state(marks)
    lines = [f"The test is <b>{running}</b>"]
    if current and running in (RUNNING, PAUSED):
        lines[0] += f" since {clock(now - datetime.fromisoformat(current[0]['time']))}"
    lines += [html.escape(c.text(now)) for c in countdowns(marks, limits, plant)]
    return "<br>".join(f"<span>{line}</span>" for line in lines)


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


def spot(typed: str, known: Mapping[str, str] = CODES) -> tuple[str, str, str]:
    """Point, number and unit of a spot reading such as ``cs 44.2`` or ``cs 6.8 C``; the unit is
    empty where none is typed.

    Raises:
        FormError: the code or the unit is unknown, or the number is missing.
    """
    code, _, rest = typed.strip().partition(" ")
    if code.lower() not in known:
        raise FormError(f"'{code}' is no code; the codes are: " + ", ".join(known))
    number, _, unit = rest.strip().partition(" ")
    if not number:
        raise FormError(f"'{typed.strip()}' has no number; type for example 'cs 44.2'")
    name = known[code.lower()]
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
        held = job.answers()
        self._limits, self._aborts = answers.limits(held), answers.aborts(held)
        self._plant = answers.plant(held) if held.get("plant", {}).get("chillers") else None
        self._codes = codes(len(self._plant.chillers) if self._plant else 2)
        self.message, self._presses = Message(), Presses()
        self.clock, self.marks = parts.html("", "fpt-clock"), parts.html()
        last = readings.Readings(job).usual()
        self.by = parts.text("Marked by", value=str(
            last.get("taken_by") or job.get("people.technician.name", "")))
        self.spot = parts.text("Spot reading or mark", "fpt-spot", placeholder="cs 44.2, or start")
        tags = list(job.get("instruments", {})) or [""]
        self.instrument = parts.choice("with instrument", options=tags, value=last.get(
            "instrument") if last.get("instrument") in tags else tags[0])
        self.spot.observe(lambda _: guarded(self.message, self._entered), names="value")
        self.watch = parts.html("", "fpt-watch")
        self.head = parts.column([self.clock, self.watch])
        marks = {what: f"{n} {text}" for n, (what, text) in enumerate(MARKS.items(), 1)}
        controls = {START: "Start test", PAUSE: "Pause", RESUME: "Resume", END: "End test",
                    ABORT: "ABORT"}
        self.widget = parts.column([
            parts.title("Live test"), self.head, self.spot, self.instrument,
            self.message.widget, self._markers(marks),
            parts.line([self._markers(controls), self._undo()]), self.by,
            _code_help(self._codes), self.marks, overrides(job, saved).widget,
        ], "fpt-form")
        self.refresh()

    def _markers(self, words: Mapping[str, str]) -> widgets.Widget:
        return parts.line([self._marker(text, what) for what, text in words.items()], "fpt-marks")

    def _undo(self) -> widgets.Button:
        made = parts.button("Undo last mark", "fpt-undo", "")
        made.on_click(lambda _: self._presses.take(
            made, lambda: guarded(self.message, self._take_back)))
        return made

    def _take_back(self) -> None:
        self.message.saved(f"taken back: {_shown(undo(self.job))}")
        self.refresh()
        self._saved()

    def _marker(self, text: str, what: str) -> widgets.Button:
        made = parts.button(text, "fpt-mark-" + what.replace(" ", "-"))
        made.on_click(lambda _: self._presses.take(
            made, lambda: guarded(self.message, lambda: self._mark(what))))
        return made

    def _mark(self, what: str) -> None:
        when = site_time(self.job)
        add_mark(self.job, what, self.by.value, when)
        self.message.saved(f"{when:%H:%M:%S} {_shown(what)}")
        self.refresh()
        self._saved()

    def _entered(self) -> None:
        """A reading, the number or word of a mark, or "undo" was typed and Enter pressed."""
        typed = self.spot.value.strip()
        if not typed:
            return
        # Emptied before any work: the next line is typed meanwhile.
        self.spot.value = ""
        if (word := typed.lower()) in KEYS:
            self._mark(KEYS[word])
        elif word == UNDO:
            self._take_back()
        else:
            self._spot(typed)

    def _spot(self, typed: str) -> None:
        name, number, unit = spot(typed, self._codes)
        if not self.instrument.value:
            raise FormError("with instrument: choose the one that shows the reading; instruments "
                            "are listed in the Plan. The reading is not saved")
        row = readings.finish(self.job, {
            "time": site_time(self.job).isoformat(), "point": name, "value": number,
            "unit": unit, "instrument": self.instrument.value or "", "taken_by": self.by.value,
        })
        readings.Readings(self.job).put(row, None)
        agrees, doubt = readings.against_trend(self.job, row)
        said = [readings.plausible(self.job, points.point(name), number, row["unit"]), agrees,
                *self._meant()]
        self.message.saved(f"{row['time'][11:19]} saved: " + "; ".join(filter(None, said)), doubt)
        self._tick()
        self._saved()

    def _now(self) -> Now | None:
        """The readings of the running test; none before it and without a plant."""
        current = present(self.job.get("marks", []))
        if not current or self._plant is None:
            return None
        begun = datetime.fromisoformat(current[0]["time"])
        taken = answers.readings(self.job.readings_file, self._plant)
        return Now(sorted((r for r in taken if r.time >= begun), key=lambda r: r.time),
                   site_time(self.job))

    def _meant(self) -> list[str]:
        now = self._now()
        return meaning(now, self._plant, self._limits) if now and self._plant else []

    def refresh(self) -> None:
        """Show the marks and the clock as the file holds them now; a running test's clock ticks."""
        marks = self.job.get("marks", [])
        shown = [[str(m["time"])[:19].replace("T", " "), _shown(m["what"]), m.get("by", "")]
                 for m in present(marks)]
        self.marks.value = static.table("Marks of this test", ("Time", "What", "By"), shown,
                                        "none yet").markup
        if self._tick():
            _Ticker.of(self._tick, self._stopped)

    def _stopped(self) -> None:
        """Say that the clock stands: abort conditions that are not evaluated any more must not look
        as if they were."""
        self.watch.value = ("<p role='alert'>✗ The clock has stopped, and the abort conditions are "
                            "not watched: run this workbook again. Nothing is lost.</p>")

    def _tick(self) -> bool:
        marks = self.job.get("marks", [])
        # The page shows above its cells what a head bears that runs (labextensions/).
        (self.head.remove_class if state(marks) in (NOT_STARTED, OVER) else self.head.add_class)(
            "fpt-running")
        self.clock.value = clock_markup(marks, self._limits, site_time(self.job),
                                        self._plant)
        try:
            self.watch.value = self._watch_markup(marks)
        except FptError as error:
            # A row of readings.csv that cannot be used must not take clock and marks away.
            self.watch.value = f"<p role='alert'>✗ {html.escape(str(error))}</p>"
        return state(marks) == RUNNING

    def _watch_markup(self, marks: Marks) -> str:
        """Abort conditions as the readings stand, the safe state once one is met or the test is
        aborted, and what to read next."""
        now = self._now()
        if state(marks) == STOPPED:
            return _safe_state(self.job)
        if now is None or self._plant is None:
            return "".join(f"<p>Stop when: {html.escape(each.text)}</p>" for each in self._aborts)
        alarm = next((datetime.fromisoformat(mark["time"]) for mark in present(marks)
                      if mark["what"] == ALARM), None)
        found = watched(now, self._aborts, self._plant, alarm)
        shown = "".join(map(_condition, found)) or "<li>The plan states no abort condition.</li>"
        begun = datetime.fromisoformat(present(marks)[0]["time"])
        ask = read_next(now, asked(marks, len(self._plant.chillers)), begun)
        return (f"<p><b>{html.escape(ask)}</b></p><ul aria-label='Abort conditions' "
                f"class='fpt-conditions'>{shown}</ul>"
                + (_safe_state(self.job) if any(each.met for each in found) else ""))


def asked(marks: Marks, chillers: int) -> list[str]:
    """What is read at this stage: lift in the pull-down, the return after the transition, and else
    the enable condition."""
    done = [mark["what"] for mark in attempt(marks)]
    if HANDOVER in done:
        return ["chw_supply_temp", "chw_supply_setpoint", "chw_reset_setpoint"]
    if REQUEST in done:
        return ["cw_supply_temp", "chw_supply_setpoint", *(
            f"chiller_{n}_{what}_leaving_temp" for n in range(1, chillers + 1)
            for what in ("cw", "chw"))]
    return ["outdoor_wet_bulb", "cw_supply_temp", "chw_reset_setpoint"]


def _shown(what: str) -> str:
    """A mark as people read it."""
    return MARKS.get(what, what)


def _condition(each: Watched) -> str:
    """An abort condition on one line: met, not met, or not known from the readings."""
    sign = {True: "✗ MET:", False: "✓", None: "?"}[each.met]
    markup = f"{sign} {html.escape(each.text)} · {html.escape(each.said)}"
    return f"<li>{f'<b>{markup}</b>' if each.met else markup}</li>"


def _safe_state(job: Job) -> str:
    """What to do when the test is stopped, the overrides to be released among it."""
    state_of = str(job.get("test.safe_state", "")) or "chillers on, economizer off"
    left = [str(row.get("point", "?")) for row in job.get("overrides", [])
            if not closed(row)]
    steps = [f"Bring the plant to its safe state: {state_of}.",
             *([f"Release and verify in AUTO: {', '.join(left)}."] if left else []),
             "Notify operator and owner; write down what happened afterwards."]
    listed = "".join(f"<li>{html.escape(step)}</li>" for step in steps)
    return f"<div role='alert'><b>Stop the test.</b><ol>{listed}</ol></div>"


class _Ticker:
    """One thread that calls the panel opened last, until it says stop; a fault of it is told."""

    _present: threading.Event | None = None

    @classmethod
    def of(cls, tick: Callable[[], bool], failed: Callable[[], None]) -> None:
        if cls._present is not None:
            cls._present.set()
        cls._present = stop = threading.Event()
        threading.Thread(target=_tick_until, args=(tick, failed, stop), daemon=True).start()


def _tick_until(tick: Callable[[], bool], failed: Callable[[], None], stop: threading.Event
                ) -> None:
    while not stop.wait(_TICK_SECONDS):
        try:
            if not tick():
                return
        except Exception:  # noqa: BLE001
            # A clock that stops is better than one that floods a kernel with faults.
            failed()
            return


def _code_help(known: Mapping[str, str]) -> widgets.HTML:
    codes = ", ".join(f"<b>{code}</b> {points.point(name).meaning}"
                      for code, name in known.items())
    other = (f"A mark is its number, or <b>{'</b>, <b>'.join([*list(KEYS)[-5:], UNDO])}</b>. "
             "Without a unit a reading counts in that of the point's trend; with one: "
             "<b>cs 6.8 C</b>.")
    return parts.html(
        "<details class='fpt-help'><summary>Two letters, a space, the number, Enter: "
        f"<b>cs 44.2</b>. Marks, units and codes</summary>{other}<br>{codes}</details>")
