"""What the spot readings of a live test mean while it runs: abort conditions, lift, approaches,
rise of the setpoint, and what to read next. Judged is from the trends, in the steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from fptlib import points, units
from fptlib.job.schema import BELOW, WATCHED, Abort, Plant, Reading
from fptlib.limits import Limits

# Two readings count as one moment within this time, and are read anew after this (common practice,
# no source).
PAIR_MINUTES = 10.0
EVERY_MINUTES = 5.0

# Two letters and a space, then the number: what is read most often beside the plant.
CODES: Mapping[str, str] = {
    "db": "outdoor_dry_bulb", "rh": "outdoor_humidity", "wb": "outdoor_wet_bulb",
    "cs": "chw_supply_temp", "sp": "chw_supply_setpoint", "rs": "chw_reset_setpoint",
    "cr": "chw_return_temp", "cf": "chw_flow", "ws": "cw_supply_temp", "wr": "cw_return_temp",
    "wf": "cw_flow", "xe": "hx_chw_entering_temp", "xl": "hx_chw_leaving_temp",
    "ke": "hx_cw_entering_temp", "kl": "hx_cw_leaving_temp", "sh": "space_humidity",
}


def codes(chillers: int) -> dict[str, str]:
    """Every code of a plant with so many chillers, and the point it means."""
    numbered = {f"{letter}{n}": f"chiller_{n}_{what}" for n in range(1, chillers + 1)
                for letter, what in (("l", "chw_leaving_temp"), ("k", "cw_leaving_temp"))}
    return {**CODES, **numbered}


@dataclass(frozen=True, slots=True)
class Now:
    """The readings of the running test, oldest first, and the present moment."""

    readings: Sequence[Reading]
    moment: datetime

    def value(self, point: str, at: datetime | None = None) -> float | None:
        """The latest reading of a point that counts at a moment, now where none is given."""
        when = at or self.moment
        oldest = when - timedelta(minutes=PAIR_MINUTES)
        found = [r.value for r in self.readings if r.point == point and oldest <= r.time <= when]
        return found[-1] if found else None

    def difference(self, warm: str, cold: str, at: datetime | None = None) -> float | None:
        """One point minus another, both read within the same minutes."""
        high, low = self.value(warm, at), self.value(cold, at)
        return None if high is None or low is None else high - low


def meaning(now: Now, plant: Plant, limits: Limits) -> list[str]:
    """What the latest readings come to, each with its limit."""
    said = []
    for chiller in plant.chillers:
        n, least = chiller.number, chiller.minimum_water_lift
        if (lift := _lift(now, n)) is not None:
            asked = "" if least is None else f", minimum {least:g}"
            low = "" if least is None or lift >= least else ": TOO LOW"
            said.append(f"lift of chiller {n} = {lift:.1f} °F{asked}{low}")
    for name, warm, cold in (("tower approach", "cw_supply_temp", "outdoor_wet_bulb"),
                             ("exchanger approach", "hx_chw_leaving_temp", "hx_cw_entering_temp")):
        if (approach := now.difference(warm, cold)) is not None:
            said.append(f"{name} = {approach:.1f} °F")
    if (rise := _rise(now)) is not None:
        most = limits["recovery.rate"]
        fast = ": TOO FAST" if rise > most else ""
        said.append(f"active setpoint rises {rise:.1f} °F in 10 min, at most {most:g}{fast}")
    return said


def _lift(now: Now, n: int, at: datetime | None = None) -> float | None:
    """Water lift of a chiller [°F]; the plant's supply stands for its own leaving water."""
    condenser = f"chiller_{n}_cw_leaving_temp"
    own = now.difference(condenser, f"chiller_{n}_chw_leaving_temp", at)
    return now.difference(condenser, "chw_supply_temp", at) if own is None else own


def _rise(now: Now) -> float | None:
    """Rise of the active setpoint between its last two readings [°F in 10 min]."""
    read = [r for r in now.readings if r.point == "chw_supply_setpoint"][-2:]
    if len(read) < 2 or read[1].time <= read[0].time:
        return None
    minutes = (read[1].time - read[0].time) / timedelta(minutes=1)
    return (read[1].value - read[0].value) / minutes * 10.0


@dataclass(frozen=True, slots=True)
class Watched:
    """Where an abort condition stands: what was read last, since when it is beyond its limit, and
    whether it is met; ``None`` where no reading says so."""

    text: str
    said: str
    met: bool | None


def watched(now: Now, aborts: Sequence[Abort], plant: Plant, alarm: datetime | None = None
            ) -> list[Watched]:
    """Every abort condition on the spot readings; ``alarm`` is when an alarm was marked."""
    return [_watched(now, condition, plant, alarm) for condition in aborts]


def _watched(now: Now, condition: Abort, plant: Plant, alarm: datetime | None) -> Watched:
    if condition.watched == "chiller_alarm":
        said = f"marked at {alarm:%H:%M}" if alarm else "no alarm marked"
        return Watched(condition.text, said, alarm is not None)
    if condition.watched in ("", "at the plant") or condition.limit is None:
        return Watched(condition.text, "watch it at the plant", None)
    wanted = WATCHED[condition.watched][1] if condition.watched in WATCHED else points.point(
        condition.watched).unit
    limit = f"{condition.side} {units.stated(condition.limit, wanted)}"
    if (value := _value(now, condition, plant, now.moment)) is None:
        return Watched(condition.text, f"not read in the last {PAIR_MINUTES:.0f} min; stop {limit}",
                       None)
    since = _since(now, condition, plant)
    minutes = 0.0 if since is None else (now.moment - since) / timedelta(minutes=1)
    met = since is not None and minutes >= condition.minutes
    lasted = f", {minutes:.0f} of {condition.minutes:g} min" if since and condition.minutes else ""
    return Watched(condition.text, f"{units.shown(value, wanted)}; stop {limit}{lasted}", met)


def _value(now: Now, condition: Abort, plant: Plant, at: datetime) -> float | None:
    """What a condition watches, from the readings that count at a moment; the worst chiller."""
    name = condition.watched
    if name == "supply_above_reset":
        return now.difference("chw_supply_temp", "chw_reset_setpoint", at)
    if name == "supply_above_setpoint":
        return now.difference("chw_supply_temp", "chw_supply_setpoint", at)
    if name == "water_lift":
        lifts = [lift for c in plant.chillers if (lift := _lift(now, c.number, at)) is not None]
        return min(lifts, default=None)
    return now.value(name, at)


def _since(now: Now, condition: Abort, plant: Plant) -> datetime | None:
    """Since which reading a condition is beyond its limit without a break; ``None`` where it is
    not."""
    first = None
    for time in sorted({reading.time for reading in now.readings}):
        value = _value(now, condition, plant, time)
        if value is None or condition.limit is None:
            continue
        beyond = value < condition.limit if condition.side == BELOW else value > condition.limit
        first = (first or time) if beyond else None
    return first


def read_next(now: Now, names: Sequence[str], since: datetime) -> str:
    """Which of these points is to be read next, and by when: the one read longest ago."""
    last = {name: max((r.time for r in now.readings if r.point == name), default=since)
            for name in names}
    if not last:
        return ""
    name = min(last, key=lambda each: last[each])
    due = last[name] + timedelta(minutes=EVERY_MINUTES)
    late = " (late)" if due < now.moment else ""
    code = next((code for code, point in codes(99).items() if point == name), "")
    return f"Read next: {points.point(name).meaning} ({code}) by {due:%H:%M}{late}"
