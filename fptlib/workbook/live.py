"""The panel of the live test: marks, pause, spot readings, countdowns, overrides."""

from __future__ import annotations

import html
import threading
from collections.abc import Callable
from datetime import datetime
from typing import Any

import ipywidgets as widgets

from fptlib import points
from fptlib.errors import FormError
from fptlib.job.folder import Job
from fptlib.limits import Limits
from fptlib.workbook import against_trend, live_model, parts, readings, static
from fptlib.workbook.checklist import overrides
from fptlib.workbook.forms import Message, Presses, Saved, guarded
from fptlib.workbook.live_model import CODES, END, MARKS, PAUSE, RESUME, START

_TICK_SECONDS = 1.0


class LivePanel:
    """What a technician presses while the plant changes over."""

    def __init__(self, job: Job, limits: Limits, saved: Saved = lambda: None) -> None:
        self.job, self._limits, self._saved = job, limits, saved
        self.message, self._presses = Message(), Presses()
        self.clock, self.marks = parts.html("", "fpt-clock"), parts.html()
        self.by = parts.text("Marked by", value=str(job.get("people.technician.name", "")))
        self.spot = parts.text("Spot reading", "fpt-spot", placeholder="cs 44.2")
        self.instrument = parts.choice("with instrument",
                                       options=list(job.get("instruments", {})) or [""])
        self.spot.observe(lambda _: guarded(self.message, self._spot), names="value")
        self._build()
        self.refresh()
        self._start_clock_if_running()

    def _build(self) -> None:
        controls = [self._marker("Start test", START), self._marker("Pause", PAUSE),
                    self._marker("Resume", RESUME), self._marker("End test", END)]
        marks = [self._marker(what[0].upper() + what[1:], what) for what in MARKS]
        title = parts.html("<h4 class='fpt-form-title'>Live test</h4>")
        self.widget = parts.column([
            title, self.clock, self.by, parts.line(controls), parts.line(marks), self.spot,
            self.instrument, _code_help(), self.message.widget, self.marks,
            overrides(self.job, self._saved).widget,
        ], "fpt-form")

    def _marker(self, text: str, what: str) -> widgets.Button:
        made = parts.button(text, "fpt-mark-" + what.replace(" ", "-"))
        made.on_click(lambda _: self._presses.take(
            made, lambda: guarded(self.message, lambda: self._mark(what))))
        return made

    def _mark(self, what: str) -> None:
        when = readings.site_time(self.job)
        live_model.add_mark(self.job, what, self.by.value, when)
        self.message.saved(f"{when:%H:%M:%S} {what}")
        self.refresh()
        self._start_clock_if_running()
        self._saved()

    def _spot(self) -> None:
        if not self.spot.value:
            return
        name, number, unit = live_model.spot(self.spot.value)
        if not self.instrument.value:
            raise FormError("with instrument: choose the one that shows the reading; instruments "
                            "are listed in the Plan. The reading is not saved")
        row = readings.finish(self.job, {
            "time": readings.site_time(self.job).isoformat(), "point": name, "value": number,
            "unit": unit, "instrument": self.instrument.value or "", "taken_by": self.by.value,
        })
        readings.ReadingsStore(self.job).put(row, None)
        self.spot.value = ""
        agrees, doubt = against_trend.told(self.job, row)
        said = [readings.plausible(self.job, points.point(name), number, row["unit"]), agrees]
        self.message.saved(f"{row['time'][11:19]} saved: " + "; ".join(filter(None, said)), doubt)
        self._saved()

    def refresh(self) -> None:
        """Show the marks and the clock as the file holds them now."""
        marks = self.job.get("marks", [])
        shown = [[str(m["time"])[:19].replace("T", " "), m["what"], m.get("by", "")]
                 for m in live_model.present(marks)]
        self.marks.value = static.table("Marks of this test", ("Time", "What", "By"), shown,
                                        "none yet").markup
        self.clock.value = clock_markup(marks, self._limits, readings.site_time(self.job))

    def _start_clock_if_running(self) -> None:
        if live_model.state(self.job.get("marks", [])) == live_model.RUNNING:
            _Ticker.of(self._tick)

    def _tick(self) -> bool:
        marks = self.job.get("marks", [])
        self.clock.value = clock_markup(marks, self._limits, readings.site_time(self.job))
        return live_model.state(marks) == live_model.RUNNING

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        return static.live(self.widget, "[live test panel]", **kwargs)


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


def clock_markup(marks: list[Any], limits: Limits, now: datetime) -> str:
    """The state of the test and its countdowns."""
    state = live_model.state(marks)
    present = live_model.present(marks)
    lines = [f"The test is <b>{state}</b>"]
    if present and state in (live_model.RUNNING, live_model.PAUSED):
        since = now - datetime.fromisoformat(present[0]["time"])
        lines[0] += f" since {live_model.clock(since)}"
    lines += [html.escape(c.text(now)) for c in live_model.countdowns(marks, limits)]
    return "<br>".join(lines)


def _code_help() -> widgets.HTML:
    codes = ", ".join(f"<b>{code}</b> {points.point(name).meaning}"
                      for code, name in CODES.items())
    other = "Without a unit it counts in the unit of the point's trend; with one: <b>cs 6.8 C</b>."
    return parts.html(
        "<details class='fpt-help'><summary>Two letters, a space, the number, Enter: "
        f"<b>cs 44.2</b>. Units and codes</summary>{other}<br>{codes}</details>")
