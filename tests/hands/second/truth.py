"""What is truly wrong, and when: written from the noise-free states and the job's sequence.

Only questions of the controller's own timers (delays, tolerances, causes) are asked of the
controller's readings, because that is what a program can obey.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .control import Controller
from .model import (
    CHILLERS,
    ECONOMIZER,
    HAND_OVER,
    PULL_DOWN,
    RETURN,
    Scenario,
    chiller_mode_power,
)
from .sensors import KINDS, kind_of

UNREACHABLE = "enabled when wet bulb + approaches could not reach the setpoint"
DELAY_SHORT = "enable delay shorter than specified"
NO_TOLERANCE = "enabled without the specified tolerance"
LOW_LIFT = "chiller lift below the manufacturer's minimum for longer than 2 minutes"
TRIP = "chiller trip in the changeover"
NOT_FOLLOWED = "temporary setpoint not followed"
NOT_RELEASED = "temporary setpoint not released"
ONE_STEP = "setpoint came back in one step"
FAST_WATER = "chilled water moved faster than 5 °F in 10 minutes"
OVERSHOOT = "supply 3 °F above the reset setpoint for longer than 10 minutes in the changeover"
SWINGING = "supply swinging after the changeover"
NEW_PEAK = "the changeover set a demand peak more than 5 % above all others"
NO_SUPPLY_EXIT = "supply above the band for longer than the exit delay, plant did not leave"
NO_WEATHER_EXIT = "wet bulb above the exit line for longer than the exit delay, plant did not leave"
NO_CLOCK_EXIT = "economizer ran outside the hours of the sequence"
NO_CAUSE = "left although nothing asked for it"
EXIT_HASTY = "exit delay shorter than specified"
DEARER = "stayed though chillers would have been cheaper"
DEAR_RUN = "the exchanger drew more than chillers would have over a run, or its first hour"
FOULED = "exchanger fouled below 80 % of its design UA"
OVERCOOLED = "towers over-cool in economizer mode"
OVERCOOLED_BY_CHILLERS = "towers over-cool while chillers run"
FAN_CYCLING = "fan short cycling"
MISSED = "missed hours"
SHORT_RUN = "economizer left before the minimum run time"
SHORT_OFF = "economizer entered before the minimum off time"
RECYCLED = "chiller started before its restart timer"
BOTH_ON = "chiller ran beside the exchanger"
PASSING = "water passed through a stopped chiller"
FREEZE = "condenser water below 36 °F"
PULL_DOWN_FAILED = "pull-down given up"
SENSOR_OFF = "sensor biased"
SENSOR_FROZEN = "sensor frozen"
FLOW_WRONG = "flow meter wrong"
CLOCK_OFF = "clock offset"
DEAD_CELL = "a tower fan did not run when commanded"


@dataclass(frozen=True)
class Statement:
    """One true thing wrong; minutes count from the first row, ``end`` is past the last."""

    kind: str
    text: str
    start: int
    end: int
    changeover: int | None = None
    numbers: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Changeover:
    """Rows of one time in economizer mode; what never came is None."""

    number: int
    enabled: int
    in_service: int | None
    left: int | None
    back: int | None


def stretches(mask, least: int = 1) -> list[tuple[int, int]]:
    """(first, past the last) of every unbroken stretch of at least ``least`` rows."""
    edge = np.diff(np.r_[0, np.asarray(mask, int), 0])
    pairs = zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True)
    return [(int(a), int(b)) for a, b in pairs if b - a >= least]


def changeovers(mode: np.ndarray) -> list[Changeover]:
    out = []
    for a, b in stretches(mode != CHILLERS):
        inside = mode[a:b]

        def first(m, inside=inside, a=a):
            hit = np.flatnonzero(inside == m)
            return a + int(hit[0]) if len(hit) else None

        left = first(RETURN)
        ended = b < len(mode)
        out.append(Changeover(len(out) + 1, a, first(ECONOMIZER), left or (b if ended else None),
                              b if ended else None))
    return out


class Truth:
    """All statements of one scenario; ``seen`` are the controller's readings."""

    def __init__(self, scenario: Scenario, states, seen, service) -> None:
        self.sc, self.p, self.seq = scenario, scenario.plant, scenario.sequence
        self.s, self.seen, self.service = states, seen, service
        self.n = len(states["mode"])
        self.over = changeovers(states["mode"])
        self.found: list[Statement] = []
        for part in (self.enabling, self.lift, self.setpoint, self.water, self.leaving,
                     self.worth, self.timers, self.towers, self.equipment, self.demand, self.missed,
                     self.instruments):
            part()
        self.found.sort(key=lambda x: (x.start, x.kind))

    def say(self, kind, start, end, text="", near=True, **numbers) -> None:
        which = None
        if near:
            hits = [c.number for c in self.over if start < (c.back or self.n) + 180
                    and end > c.enabled - 5]
            which = hits[-1] if hits else None
        numbers = {k: round(float(v), 3) for k, v in numbers.items()}
        self.found.append(Statement(kind, text or kind, int(start), int(end), which, numbers))

    def reach(self, wet):
        return wet + sum(self.p.approaches)

    # --- entering ---------------------------------------------------------------------------

    def enabling(self) -> None:
        s, seq = self.s, self.seq
        room = s["reset"] - self.reach(self.seen["outdoor_wet_bulb"])
        for c in self.over:
            k = c.enabled
            for kind, least in ((None, seq.tolerance), (NO_TOLERANCE, 0.0)):
                held = np.flatnonzero(room[: k + 1] < least - 1e-6)
                minutes = k - (int(held[-1]) if len(held) else -1)
                if minutes >= seq.enable_delay - 1:
                    if kind:
                        self.say(kind, k, k + 1, room=room[k], specified=seq.tolerance)
                    break
                if least > 0 and minutes > 0:
                    self.say(DELAY_SHORT, k, k + 1, minutes=minutes, specified=seq.enable_delay)
                    break
            wet = s["wet"][max(0, k - 10): k + 1].mean()
            short = self.reach(wet) - s["reset"][k]
            if short > 0:
                self.say(UNREACHABLE, k, k + 1, f"at {wet:.1f} °F wet bulb the exchanger makes "
                         f"{short:.1f} °F more than the setpoint", wet_bulb=wet, short=short)
            if c.in_service is None and c.back is not None:
                self.say(PULL_DOWN_FAILED, k, c.back, minutes=c.back - k)

    def lift(self) -> None:
        s, limit = self.s, self.p.minimum_lift
        for i in range(1, self.p.chillers + 1):
            on = s[f"run_{i}"]
            lift = s[f"warm_{i}"] - s[f"leaving_{i}"]
            for a, b in stretches((on > 10) & (s[f"tons_{i}"] > 0) & (lift < limit), 3):
                worst = lift[a:b].min()
                self.say(LOW_LIFT, a, b, f"chiller {i}: lift {worst:.1f} °F against {limit:.1f} °F "
                         f"for {b - a} minutes", chiller=i, lift=worst, minutes=b - a)
            for a, b in stretches(s[f"trip_{i}"] > 0):
                self.say(TRIP, a, b, f"chiller {i} tripped", chiller=i)

    # --- setpoints and water ----------------------------------------------------------------

    def setpoint(self) -> None:
        s, seq = self.s, self.seq
        rise = np.diff(s["active"], prepend=s["active"][0])
        for a, _ in stretches(rise > 1.5):
            self.say(ONE_STEP, a, a + 1, step=rise[a], ramp=seq.release_ramp)
        if self.p.head != "setpoint":
            return
        running = sum(s[f"tons_{i + 1}"] > 0 for i in range(self.p.chillers)) > 0
        wanted = np.maximum(seq.lowest_setpoint, s["sump"] - seq.offset)
        above = running & (s["active"] > np.minimum(s["reset"], wanted) + 1.5)
        for a, b in stretches(above, 20):
            high = (s["active"] - wanted)[a:b].max()
            self.say(NOT_FOLLOWED, a, b, above=high, offset=seq.offset)
        for c in self.over:
            if c.in_service is None:
                continue
            gap = s["reset"][c.in_service] - s["active"][c.in_service]
            due = c.in_service + int(gap / seq.release_ramp) + 20
            end = c.left or self.n
            if due < end and (s["reset"] - s["active"])[due:end].max() > 1.0:
                self.say(NOT_RELEASED, due, end, gap=(s["reset"] - s["active"])[due:end].max())

    def water(self) -> None:
        s = self.s
        near = np.zeros(self.n, bool)
        for c in self.over:
            near[c.enabled: (c.in_service or c.back or self.n) + 90] = True
            if c.left is not None:
                near[c.left - 5: (c.back or self.n) + 90] = True
        moved = np.zeros(self.n)
        moved[10:] = np.abs(s["supply"][10:] - s["supply"][:-10])
        for a, b in stretches(near & (moved > 5.0), 2):
            self.say(FAST_WATER, a - 10, b, moved=moved[a:b].max())
        above = s["supply"] - s["reset"]
        for a, b in stretches(near & (above > 3.0), 11):
            self.say(OVERSHOOT, a, b, above=above[a:b].max(), minutes=b - a)
        for c in self.over:
            if c.in_service is None:
                continue
            a, b = c.in_service + 15, min(c.in_service + 195, c.left or self.n)
            turns, size = swings(s["supply"][a:b] - s["active"][a:b], 1.5)
            if turns >= 6:
                self.say(SWINGING, a, b, swings=turns, largest=size)

    # --- leaving ----------------------------------------------------------------------------

    def asked(self) -> dict[str, tuple[np.ndarray, int]]:
        """Cause of leaving -> (rows on which it asks, its delay)."""
        s, seq, seen = self.s, self.seq, self.seen
        high = seen["chw_supply_temp"] - np.maximum(s["reset"], s["active"])
        over = self.reach(seen["outdoor_wet_bulb"]) + seq.tolerance - s["reset"]
        clock = Controller(self.p, seq, None, ())
        outside = np.array([not clock.allowed(h) for h in s["hour"]])
        alternative = [
            chiller_mode_power(self.p, seq, q, r)
            for q, r in zip(seen["plant_load"], s["reset"], strict=True)
        ] if seq.cost else np.full(self.n, np.inf)
        dear = seen["plant_power"] > seq.cost_margin * np.array(alternative)
        return {
            "supply": (high > seq.exit_band, seq.exit_delay),
            "weather": (over > seq.weather_over, seq.weather_delay),
            "clock": (outside, 1), "cost": (dear, seq.cost_delay),
        }

    def leaving(self) -> None:
        asks = self.asked()
        late = {"supply": (NO_SUPPLY_EXIT, 10), "weather": (NO_WEATHER_EXIT, 15),
                "clock": (NO_CLOCK_EXIT, 5), "cost": (DEARER, 60)}
        for c in self.over:
            start, end = c.in_service, c.left or self.n
            if start is None:
                continue
            for cause, (mask, delay) in asks.items():
                kind, grace = late[cause]
                wait = max(delay, self.seq.minimum_run if cause in ("weather", "cost") else 0)
                lines = stretches(mask[start:end])
                for a, b in lines:
                    if b - a > delay + grace and b > wait + grace:
                        self.say(kind, start + a + delay, start + b, minutes=b - a, delay=delay)
            if c.left is None:
                continue
            full = [k for k, (m, d) in asks.items() if m[max(start, end - d + 1): end + 1].all()
                    and end - start >= d - 1]
            begun = [k for k, (m, d) in asks.items() if m[end] and d > 1]
            if not full and begun:
                mask, delay = asks[begun[0]]
                since = end - int(np.flatnonzero(~mask[:end + 1])[-1])
                self.say(EXIT_HASTY, end, end + 1, minutes=since, specified=delay)
            elif not full:
                self.say(NO_CAUSE, end, end + 1, "left with no cause of the sequence asking")
            if end - start < self.seq.minimum_run - 1 and not {"supply", "clock"} & set(full):
                self.say(SHORT_RUN, start, end, minutes=end - start,
                         specified=self.seq.minimum_run)

    def worth(self) -> None:
        """Runs that cost more than chillers would have, whatever the sequence asks."""
        s = self.s
        for c in self.over:
            a, b = c.in_service, c.left or self.n
            if a is None or b - a < 30:
                continue
            chillers = np.array([chiller_mode_power(self.p, self.seq, q, r)
                                 for q, r in zip(s["met"][a:b], s["reset"][a:b], strict=True)])
            drawn = s["plant_kw"][a:b]
            whole, hour = drawn.sum() / chillers.sum(), drawn[:60].sum() / chillers[:60].sum()
            if max(whole, hour) > 1.0:
                self.say(DEAR_RUN, a, b, whole=whole, first_hour=hour)

    def timers(self) -> None:
        s, seq = self.s, self.seq
        for before, after in zip(self.over, self.over[1:], strict=False):
            off = after.enabled - before.back
            if off < seq.minimum_off - 1:
                self.say(SHORT_OFF, before.back, after.enabled, minutes=off,
                         specified=seq.minimum_off)
        for i in range(1, self.p.chillers + 1):
            runs = stretches(s[f"run_{i}"] > 0)
            for (a, b), (c, _) in zip(runs, runs[1:], strict=False):
                if c - b < seq.stop_to_start - 10 or c - a < seq.start_to_start - 1:
                    self.say(RECYCLED, c, c + 1, chiller=i, after_stop=c - b, after_start=c - a)

    # --- towers, equipment, money -----------------------------------------------------------

    def towers(self) -> None:
        s, seq = self.s, self.seq
        speeds = np.array([s[f"speed_{c + 1}"] for c in range(self.p.cells)])
        economizer = s["mode"] == ECONOMIZER
        needed = np.where(economizer, np.maximum(
            s["reset"] - self.p.approaches[1] - seq.condenser_margin, seq.condenser_lowest),
            seq.condenser_chiller_mode)
        settled = np.ones(self.n, bool)
        for k in np.flatnonzero(np.diff(s["mode"])):
            settled[k: k + 120] = False
        busy = speeds.sum(0) > 0.3
        cold = settled & busy & (economizer | (s["mode"] == CHILLERS)) & (s["sump"] < needed - 3)
        for a, b in stretches(cold, 60):
            kind = OVERCOOLED if economizer[a] else OVERCOOLED_BY_CHILLERS
            self.say(kind, a, b, below=(needed - s["sump"])[a:b].max(), near=False,
                     fan_kwh=s["fan_kw"][a:b].sum() / 60)
        for c in range(self.p.cells):
            starts = np.diff(speeds[c] > 0, prepend=True, append=False)[:-1] & (speeds[c] > 0)
            rate = np.convolve(starts, np.ones(60), "full")[: self.n]
            for a, b in stretches(rate > 5):
                self.say(FAN_CYCLING, max(0, a - 60), b, cell=c + 1, near=False,
                         starts_per_hour=rate[a:b].max())
        for a, b in stretches(s["sump"] < 36.0, 6):
            self.say(FREEZE, a, b, lowest=s["sump"][a:b].min(), near=False)

    def equipment(self) -> None:
        s, p = self.s, self.p
        used = s["hx_tons"] > 0.2 * p.exchanger_load
        if used.any():
            share = s["hx_ua"][used] / p.clean_ua(s["hx_chw"][used], s["hx_cw"][used])
            if share.mean() < 0.8:
                self.say(FOULED, 0, self.n, near=False, share=share.mean())
        running = sum(s[f"tons_{i + 1}"] > 0 for i in range(p.chillers)) > 0
        for a, b in stretches((s["mode"] == ECONOMIZER) & running, 20):
            self.say(BOTH_ON, a, b, minutes=b - a)
        for i in range(1, p.chillers + 1):
            off = (s[f"run_{i}"] == 0) & (s[f"chw_{i}"] > 0.03 * p.chw_chiller)
            for a, b in stretches(off, 30)[:1]:
                self.say(PASSING, a, self.n, near=False, chiller=i, gpm=s[f"chw_{i}"][a:b].mean())

    def demand(self) -> None:
        """Highest 15-minute demand with a part in a changeover against that of all others."""
        window, power = 15, self.s["plant_kw"]
        rolling = np.convolve(power, np.ones(window) / window, "valid")
        if self.p.demand_window == "clock":
            first = (-int(round(self.s["hour"][0] * 60))) % window
            rolling = rolling[first::window]
            starts = np.arange(first, self.n - window + 1, window)
        else:
            starts = np.arange(self.n - window + 1)
        moving = np.zeros(self.n, bool)
        for c in self.over:
            moving[c.enabled: (c.in_service or c.back or self.n) + 15] = True
            if c.left is not None:
                moving[c.left: (c.back or self.n) + 30] = True
        touched = np.array([moving[a: a + window].any() for a in starts])
        self.peak_in = rolling[touched].max() if touched.any() else 0.0
        self.peak_out = rolling[~touched].max()
        if self.peak_in > 1.05 * self.peak_out:
            k = int(starts[touched][np.argmax(rolling[touched])])
            self.say(NEW_PEAK, k, k + window, kw=self.peak_in, before=self.peak_out)

    def missed(self) -> None:
        """The economizer would have served, by 1 °F more than asked, for 90 minutes and stood."""
        s, seq = self.s, self.seq
        clock = Controller(self.p, seq, None, ())
        hours = np.array([clock.allowed(h, 2.5) for h in s["hour"]])
        fit = self.reach(s["wet"]) + seq.tolerance + 1.0 <= s["reset"]
        fit &= hours & (s["mode"] == CHILLERS) & (s["met"] <= 0.95 * self.p.exchanger_load)
        for c in self.over:
            if c.back is not None and seq.cost:
                fit[c.back: c.back + seq.cost_lockout] = False
        for a, b in stretches(fit, seq.enable_delay + seq.minimum_off + 60):
            self.say(MISSED, a, b, hours=(b - a) / 60, near=False)

    def instruments(self) -> None:
        f = self.sc.fault
        for name, off in f.offset.items():
            if abs(off) > 2 * KINDS[kind_of(name)][0]:
                self.say(SENSOR_OFF, 0, self.n, f"{name} reads {off:+.1f}", near=False, offset=off)
        for name, (a, b) in f.frozen.items():
            self.say(SENSOR_FROZEN, a, b, f"{name} stood still", near=False)
        for name, factor in f.scale.items():
            self.say(FLOW_WRONG, 0, self.n, f"{name} reads {100 * factor - 100:+.0f} %",
                     near=False, factor=factor)
        if f.late_clock:
            self.say(CLOCK_OFF, 0, self.n, f"clock of {f.late_clock[0]} late", near=False,
                     minutes=f.late_clock[1])
        if f.failed_cell:
            self.say(DEAD_CELL, 0, self.n, near=False, cell=1)


def swings(course: np.ndarray, size: float) -> tuple[int, float]:
    """How often a course turns back by at least ``size``, and its largest move between turns."""
    extremes, direction = [], 0
    low = high = float(course[0]) if len(course) else 0.0
    for x in course.tolist():
        low, high = min(low, x), max(high, x)
        if direction >= 0 and high - x >= size:
            extremes.append(high)
            direction, low = -1, x
        elif direction <= 0 and x - low >= size:
            extremes.append(low)
            direction, high = 1, x
    return len(extremes), float(np.abs(np.diff(extremes)).max(initial=0.0))


__all__ = ["Changeover", "HAND_OVER", "PULL_DOWN", "Statement", "Truth", "changeovers",
           "stretches", "swings"]
