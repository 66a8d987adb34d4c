"""Step 7: does economizer operation run steadily and efficiently?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from fptlib.physics import exchanger as physics
from fptlib.procedure import approaches, uncertainty
from fptlib.procedure.changeovers import Run
from fptlib.procedure.flags import Flags, stretches
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.instruments import EXCHANGER, balanced
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import Event, NotTested

SHORTEST_RUN = 60.0
LEAST_KNOWN = 15.0
_RUN = ("request", "chillers")
_TOO_SHORT = f"less than {SHORTEST_RUN:.0f} min of settled run"


def settled(test: FunctionalTest, run: Run) -> slice | None:
    """The rows of a run after recovery and the loop's turnovers, the delay before the exit left
    out; ``None`` where too little is left to be judged."""
    first, last = max(test.settled(run).start, turned_over(test, run)), float(run.last)
    if run.exit is not None:
        delay = test.limits["exit.delay"] + test.limits["exit.grace"]
        last = run.exit - delay / test.minutes - 1
    if (last - first) * test.minutes < SHORTEST_RUN:
        return None
    return test.window(round(first), last + 1)


def turned_over(test: FunctionalTest, run: Run) -> float:
    """The row in which the loop's water has been exchanged often enough after the transition; the
    transition itself where the loop's volume or its flow is unknown."""
    if not test.plant.loop_volume or test.missing("chw_flow"):
        return run.first
    if not (flow := median(test["chw_flow"][run.rows])) > 0.0:
        return run.first
    minutes = test.limits["conditions.turnovers"] * (test.plant.loop_volume / flow)
    return run.first + round(float(minutes)) / test.minutes


@cached
def wanted_condenser_water(test: FunctionalTest) -> np.ndarray:
    """Condenser water that the setpoint needs [degF]: active setpoint - exchanger approach -
    offset."""
    return (test["chw_supply_setpoint"] - approaches.need_exchanger(test)
            - test.limits["running.tower_offset"])


def _share(test: FunctionalTest, run: Run, rows: slice, good: Flags, doubtful: np.ndarray,
           text: str, **quantities: float) -> Finding:
    """The share of the known rows that are ``good``; ``doubtful`` ones could be either for the
    sensors' sake."""
    share, known = good.share(), good.known
    if math.isnan(share):
        return not_judged(run.number, run.first, "a gap over the whole run")
    return Finding(
        run.number, rows.start, f"{share:.0f} % of the run {text}", last=rows.stop - 1,
        measured=share, at_least=test.limits["running.share"],
        uncertainty=100.0 * float(doubtful[known].mean()), worst_in_gaps=good.share_in_gaps(),
        cut_off=test.cut_off(run),
        quantities={"rows judged": int(known.sum()),
                    **{name.replace("_", " ") + ", °F": each for name, each in quantities.items()}})


def _within(test: FunctionalTest, run: Run, rows: slice, difference: np.ndarray, band: float,
            doubt: float, text: str) -> Finding:
    """The share of rows in which a difference, known to ``doubt``, is within a band."""
    away = np.abs(difference)
    return _share(test, run, rows, ~Flags.above(away, band), np.abs(away - band) <= doubt,
                  f"within {band:g} °F of {text}, median {median(difference):+z.1f}",
                  median_difference=median(difference))


@check("running.tower_setpoint", unit="%", each="run",
       needs=(*_RUN, "cw_supply_setpoint", "chw_supply_setpoint"),
       limits=("running.tower_band", "running.tower_offset", "running.share"),
       advise=lambda test, failed: (
           "With this exchanger: active setpoint minus "
           f"{approaches.need_exchanger(test) + test.limits['running.tower_offset']:.1f} °F."))
def tower_setpoint(test: FunctionalTest, run: Run) -> Finding:
    """Share of the run with the condenser-water setpoint within the band of the needed one."""
    wanted = wanted_condenser_water(test)
    if (rows := settled(test, run)) is None:
        return not_judged(run.number, run.first, _TOO_SHORT)
    setpoint = test["cw_supply_setpoint"][rows]
    follows = "" if test.missing("wet_bulb") else _follows(setpoint, test.wet_bulb[rows])
    return _within(test, run, rows, setpoint - wanted[rows], test.limits["running.tower_band"],
                   uncertainty.resolution(test, "cw_supply_setpoint", "chw_supply_setpoint"),
                   "the setpoint needed").saying(follows)


def _follows(setpoint: np.ndarray, wet_bulb: np.ndarray) -> str:
    both = np.array([setpoint, wet_bulb])
    both = both[:, ~np.isnan(both).any(axis=0)]
    if both.shape[1] < 2 or both.std(axis=1).min() < 0.2:
        return ""
    return "; it follows the wet bulb" if np.corrcoef(both)[0, 1] > 0.9 else ""


@check("running.overcooling", unit="%", each="run",
       needs=(*_RUN, "cw_supply_temp", "chw_supply_setpoint", "tower_{n}_fan_speed"),
       limits=("running.overcooling", "running.fan_minimum", "running.share"),
       advise=lambda test, failed: (
           f"In the worst run only {min(event.measured or 0.0 for event in failed):.0f} % of the "
           f"time was within {test.limits['running.overcooling']:g} °F of the need or at minimum "
           "speed."))
def overcooling(test: FunctionalTest, run: Run) -> Finding:
    """Share of the run with condenser water no colder than needed, or fans at minimum."""
    wanted = wanted_condenser_water(test)
    if (rows := settled(test, run)) is None:
        return not_judged(run.number, run.first, _TOO_SHORT)
    colder, band = (wanted - test["cw_supply_temp"])[rows], test.limits["running.overcooling"]
    # A gap where the speed of any fan is not known.
    fastest = np.max([test[f"tower_{n}_fan_speed"][rows] for n in test.tower_numbers], axis=0)
    slow = fastest <= test.limits["running.fan_minimum"]
    known = ~np.isnan(colder) & ((colder <= band) | ~np.isnan(fastest))
    good = ((colder <= band) | slow) & known
    doubt = uncertainty.expanded(test, {"cw_supply_temp": 1.0})
    return _share(test, run, rows, Flags(good, good | ~known),
                  (np.abs(colder - band) <= doubt) & ~slow,
                  f"not colder than needed by more than {band:g} °F, or fans at minimum",
                  median_colder_than_needed=median(colder))


@check("running.fan_cycling", unit="per hour", each="run", all_or_none=True,
       needs=(*_RUN, "tower_{n}_fan_running"), limits=("running.fan_starts",),
       advise=lambda test, failed: (
           f"{max(event.measured or 0.0 for event in failed):.0f} starts an hour: a shortest "
           f"cycle of {60.0 / test.limits['running.fan_starts']:.0f} min keeps the limit."))
def fan_cycling(test: FunctionalTest, run: Run) -> Iterator[Finding]:
    """Starts of each cell's fan in its busiest hour of the run."""
    limit, hour = test.limits["running.fan_starts"], test.rows(60.0)
    for n in test.tower_numbers:
        point = f"tower_{n}_fan_running"
        status, every = test[point][run.rows], test.sample_interval(point)
        in_hour = _in_an_hour(np.diff(status, prepend=np.nan) == 1.0, hour)
        # A gap may hide a start in every two rows.
        in_gaps = np.zeros(len(status), dtype=int)
        for first, last in stretches(np.isnan(status)):
            in_gaps[last] = (last - first + 2) // 2
        most, at = int(in_hour.max()), run.first + int(in_hour.argmax())
        # A start needs one row on and one row off to be seen.
        if most <= limit and 60.0 / (2.0 * every) <= limit:
            yield not_judged(run.number, run.first, f"rows of {every:.0f} min cannot show so many "
                             "starts", subject=f"cell {n}")
            continue
        yield Finding(
            run.number, max(at - hour + 1, run.first), f"starts in the busiest hour: {most}",
            last=at, subject=f"cell {n}", measured=most, at_most=limit, unit="per hour",
            worst_in_gaps=int((in_hour + _in_an_hour(in_gaps, hour)).max()),
            cut_off=test.cut_off(run))


def _in_an_hour(starts: np.ndarray, hour: int) -> np.ndarray:
    """How many in the hour up to each row."""
    return np.convolve(starts.astype(int), np.ones(hour, dtype=int))[: len(starts)]


def _advise_supply(test: FunctionalTest, failed: Sequence[Event]) -> str:
    """To which side the failed runs left the band, for how much of the time and how far."""
    off = test["chw_supply_temp"] - test["chw_supply_setpoint"]
    away = np.concatenate([off[event.first : (event.last or 0) + 1] for event in failed])
    away = away[~np.isnan(away)]
    band = test.limits["running.supply_band"]
    high, low = away[away > band], away[away < -band]
    word, side = ("high", high) if len(high) >= len(low) else ("low", low)
    return (f"In the failed runs it was too {word} {100.0 * len(side) / len(away):.0f} % of the "
            f"time, then by {abs(median(side)):.1f} °F (median).")


@check("running.supply", unit="%", each="run", capacity=True, advise=_advise_supply,
       needs=(*_RUN, "chw_supply_temp", "chw_supply_setpoint"),
       limits=("running.supply_band", "running.share", "conditions.load_low"))
def supply(test: FunctionalTest, run: Run) -> Finding:
    """Share of the run with the chilled water within the band of the active setpoint."""
    if (rows := settled(test, run)) is None:
        return not_judged(run.number, run.first, _TOO_SHORT)
    found = _within(test, run, rows,
                    (test["chw_supply_temp"] - test["chw_supply_setpoint"])[rows],
                    test.limits["running.supply_band"],
                    uncertainty.expanded(test, {"chw_supply_temp": 1.0}), "the active setpoint")
    return replace(found, pass_needs=test.light_load(rows))


@cached
def design_ua(test: FunctionalTest) -> float:
    """The exchanger's UA at design.

    Raises:
        NotTested: its design flows and temperatures are not all stated, or impossible.
    """
    design = test.plant.exchanger
    values = (design.chw_flow, design.chw_entering, design.chw_leaving, design.cw_flow,
              design.cw_entering, design.cw_leaving)
    known = [value for value in values if value is not None]
    if len(known) < len(values):
        raise NotTested("the exchanger's design flows and temperatures are not all stated in "
                        "the plan")
    try:
        return float(physics.observed_ua(*known))
    except ValueError as error:
        raise NotTested(f"the exchanger's design data are impossible: {error}") from error


@check("running.exchanger", unit="%", each="run", capacity=True, limits=("running.conductance",),
       needs=(*(name for name in EXCHANGER if name.endswith("temp")), "exchanger_flows", *_RUN))
def exchanger(test: FunctionalTest, run: Run) -> Finding:
    """UA at the run's median flows and temperatures, corrected to design flow, of design UA."""
    clean, design = design_ua(test), test.plant.exchanger
    if (rows := settled(test, run)) is None:
        return not_judged(run.number, run.first, _TOO_SHORT)
    if run.number not in balanced(test):
        return not_judged(run.number, run.first,
                          "the heat balance of the exchanger does not close")
    # The middles must be of the same rows: with gaps in some, the load of others would be theirs.
    values = np.array([test[name][rows] for name in EXCHANGER])
    known = values[:, ~np.isnan(values).any(axis=0)]
    if known.shape[1] * test.minutes < LEAST_KNOWN:
        return not_judged(run.number, run.first,
                          f"less than {LEAST_KNOWN:.0f} min without a gap at the exchanger")
    middle = dict(zip(EXCHANGER, np.median(known, axis=1).tolist(), strict=True))

    def of_design(**readings: np.ndarray) -> np.ndarray:
        found = physics.observed_ua(*(readings[name] for name in EXCHANGER))
        corrected = physics.corrected_ua(
            found, clean, readings["hx_chw_flow"] / design.chw_flow,
            readings["hx_cw_flow"] / design.cw_flow)
        return np.asarray(100.0 * corrected / clean)

    try:
        found, doubt = float(of_design(**middle)), uncertainty.propagated(test, of_design, middle)
    except ValueError as error:
        return not_judged(run.number, run.first, f"the sensors cannot decide it: {error}")
    return Finding(
        run.number, rows.start,
        f"{found:.0f} % of the design UA, known to {doubt:.0f} %", last=rows.stop - 1,
        measured=found, at_least=test.limits["running.conductance"], uncertainty=doubt,
        cut_off=test.cut_off(run), pass_needs=test.light_load(rows),
        quantities={
            "chilled-water flow, gpm": middle["hx_chw_flow"],
            "chilled water entering, °F": middle["hx_chw_entering_temp"],
            "chilled water leaving, °F": middle["hx_chw_leaving_temp"],
            "condenser-water flow, gpm": middle["hx_cw_flow"],
            "condenser water entering, °F": middle["hx_cw_entering_temp"],
            "condenser water leaving, °F": middle["hx_cw_leaving_temp"]})


CHECKS = (tower_setpoint, overcooling, fan_cycling, supply, exchanger)
