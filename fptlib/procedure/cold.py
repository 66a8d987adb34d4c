"""Step 7: does cold weather leave towers, basins, exchanger and the critical space safe?

Ice is seen, not trended: the test script has the steps at the towers. Here stands what trends show.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from fptlib.physics.moist_air import FREEZING
from fptlib.procedure import uncertainty
from fptlib.procedure.changeovers import Run
from fptlib.procedure.flags import Flags
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.measures import Level, between_rows, highest_kept, lowest_kept
from fptlib.procedure.status import flowing
from fptlib.procedure.verdict import Deferred, NotApplicable, NotTested

# How far around a moment the water shows how fast it moves there [min] (common practice, no
# source).
AROUND = 60.0
# The towers' bypass, and from where on all water takes it [%] (common practice, no source).
BYPASS, ALL_BYPASSED = "tower_bypass_valve", 90.0
EXCHANGER_WATERS = ("hx_cw_entering_temp", "hx_cw_leaving_temp", "hx_chw_entering_temp",
                    "hx_chw_leaving_temp")


def water_minimum(test: FunctionalTest) -> float:
    """Lowest condenser water allowed [degF]: the tower manufacturer's, or the limit."""
    stated = test.plant.cold.water_minimum
    return test.plant.above_freezing(test.limits["cold.water"], "cw") if stated is None else stated


def _lowest(test: FunctionalTest, subject: str, above: np.ndarray, counted: np.ndarray,
            least: np.ndarray | float, point: str) -> Iterator[Finding]:
    """The lowest water that lasted in the rows that count, as it stands against its ``least``."""
    counted = counted & ~test.unrecorded
    if not counted.any():
        return
    dip, found = test.limits["cold.short_dip"], _kept(test, above, counted, point)
    if found is None:
        yield not_judged(0, int(counted.argmax()), "a gap, or it lasted too briefly",
                         subject=subject)
        return
    wanted = float(np.broadcast_to(least, above.shape)[found.row])
    yield Finding(
        0, found.row, f"went down to {wanted + found.value:.1f} °F for longer than {dip:.0f} min; "
        f"at least {wanted:.4g} °F is wanted", subject=subject, measured=wanted + found.value,
        at_least=wanted, uncertainty=uncertainty.expanded(test, {point: 1.0}) + found.uncertainty,
        worst_in_gaps=wanted + found.worst_in_gaps)


def _kept(test: FunctionalTest, values: np.ndarray, counted: np.ndarray, point: str
          ) -> Level | None:
    """The lowest level that lasted in the rows that count, of a whole record."""
    known, every = np.where(counted, values, np.nan), test.sample_interval(point)
    gaps = np.isnan(values) & counted
    dip = test.limits["cold.short_dip"]
    found = lowest_kept(known, dip, test.minutes, every, gaps)
    if found is None or every <= 1.0:
        return found
    # How fast it moves elsewhere says nothing of what lies between two samples here.
    rows = _around(test, found.row)
    near = lowest_kept(known[rows], dip, test.minutes, every, gaps[rows])
    return None if near is None else replace(
        near, row=rows.start + near.row, worst_in_gaps=min(near.worst_in_gaps, (
            found.worst_in_gaps if gaps.any() else near.worst_in_gaps)))


def _around(test: FunctionalTest, row: int) -> slice:
    return test.window(row - test.rows(AROUND), row + test.rows(AROUND) + 1)


@check("cold.condenser_water", unit="degF", all_or_none=True,
       needs=("request", "chillers", "cw_supply_temp", "each_sump"),
       limits=("cold.water", "cold.short_dip"))
def condenser_water(test: FunctionalTest) -> Iterator[Finding]:
    """The coldest condenser water that lasted while it circulates (a chiller or the exchanger
    runs), against the lowest that the towers allow; that of each of several sumps where it is
    trended."""
    least = water_minimum(test)
    # What stands in a pipe that carries nothing is not what the towers make.
    counted = (test.chillers_on != 0.0) | test.exchanger_on | (test.commanded == 1.0)
    own = {n: name for n in range(1, test.plant.sumps + 1) if test.plant.sumps > 1
           and test.has(name := f"sump_{n}_temp")}
    together = "" if len(own) == test.plant.sumps or test.plant.sumps == 1 else (
        f"; it is the water of {test.plant.sumps} sumps together, of which one may be colder")
    for found in _lowest(test, "", test["cw_supply_temp"] - least, counted, least,
                         "cw_supply_temp"):
        yield found.saying(together)
    for n, name in own.items():
        yield from _lowest(test, f"sump {n}", test[name] - least, counted, least, name)


@check("cold.exchanger", unit="degF", needs=("hx_cw_entering_temp", "exchanger_opens"),
       limits=("cold.exchanger", "cold.short_dip"), all_or_none=True)
def exchanger(test: FunctionalTest) -> Iterator[Finding]:
    """The coldest condenser water entering the exchanger that lasted, against the limit, or
    against 32 degF where chilled water is proven to flow; and the coldest of its trended
    temperatures while condenser water does not flow, against the limit. With glycol as far above
    its freezing point."""
    point, limit = "hx_cw_entering_temp", test.limits["cold.exchanger"]
    opens = next(name for name in ("hx_cw_flow", "hx_valve", "economizer_active")
                 if test.has(name))
    open_ = test[opens] if opens == "economizer_active" else flowing(test[opens])
    proven = flowing(test["hx_chw_flow"]) == 1.0 if test.has("hx_chw_flow") else False
    # Moving condenser water freezes by itself alone; what stands beside it by its cold, too.
    moving = test.plant.above_freezing(FREEZING, "cw")
    wanted = np.maximum(moving, np.where(proven, test.plant.above_freezing(FREEZING, "chw"),
                                         test.plant.above_freezing(limit, "chw")))
    yield from _lowest(test, "in service", test[point] - wanted, open_ != 0.0, wanted, point)
    for name in EXCHANGER_WATERS:
        if test.has(name):
            least = test.plant.above_freezing(limit, name.split("_")[1])
            yield from _lowest(test, f"idle, {name.removeprefix('hx_').replace('_', ' ')}",
                               test[name] - least, open_ == 0.0, least, name)


@check("cold.fans", unit="min", needs=("cw_supply_temp", "tower_{n}_fan_speed", "towers_bypass"),
       limits=("cold.water", "cold.fans", "running.fan_minimum"), all_or_none=True)
def fans(test: FunctionalTest) -> Iterator[Finding]:
    """The longest time in which condenser water was below its minimum while any fan ran above
    minimum speed; and, where it is trended, while the bypass to the basin was not fully open."""
    least, speeds = water_minimum(test), np.array(
        [test[f"tower_{n}_fan_speed"] for n in test.tower_numbers])
    water, every = test["cw_supply_temp"], test.sample_interval(
        "cw_supply_temp", "tower_{n}_fan_speed")
    # One fan known to be fast is enough, of unknown ones any may be.
    slow = test.limits["running.fan_minimum"]
    fast = Flags(np.fmax.reduce(speeds) > slow, ~(speeds.max(axis=0) <= slow))
    coldest, cold = int(np.nanargmin(water)), ~Flags.at_least(water, least)
    near = water[coldest] - between_rows(water[_around(test, coldest)], every) < least
    below = f" with condenser water below {least:.4g} °F; the coldest was {water[coldest]:.1f} °F"
    yield replace(_lasted(test, cold & fast, test.limits["cold.fans"], every,
                          ("fans ran above minimum ", below), coldest),
                  uncertainty=every if near else 0.0)
    if test.has(BYPASS):
        # Water that stands is on no fill.
        over = ~Flags.at_least(test[BYPASS], ALL_BYPASSED) & Flags.on(
            ((test.chillers_on == 1.0) | test.exchanger_on).astype(float))
        yield _lasted(test, cold & over, test.limits["cold.fans"], test.sample_interval(
            "cw_supply_temp", BYPASS), ("water ran over the fill ", below), coldest, "bypass")


def _lasted(test: FunctionalTest, wrong: Flags, most: float, every: float, said: tuple[str, str],
            row: int = 0, subject: str = "") -> Finding:
    """For how long something wrong lasted in the record, in words around it; the ``row`` to look
    at where it never did."""
    wrong = wrong & Flags(~test.unrecorded, ~test.unrecorded)
    seen, possible = wrong.longest(), wrong.longest(maybe=True)
    minutes = seen.rows * test.minutes if seen else 0.0
    return Finding(
        0, seen.first if seen else row, f"{said[0]}for {minutes:.0f} min{said[1]}",
        last=seen.last if seen else None, subject=subject, unit="min", measured=minutes,
        at_most=most, uncertainty=every if seen else 0.0,
        worst_in_gaps=possible.rows * test.minutes if possible else 0.0)


@check("cold.cell_flow", unit="gpm", needs=("outdoor_dry_bulb", "cw_flow"),
       limits=("cold.air", "cold.short_dip"))
def cell_flow(test: FunctionalTest) -> Finding:
    """The lowest condenser-water flow that lasted in freezing weather, while any flows, shared by
    all cells that cannot be shut off, against the least that the manufacturer states for a
    cell."""
    least = test.plant.cold.cell_flow
    if least is None:
        raise NotTested("the minimum flow per tower cell is not stated in the plan")
    if not test.plant.tower_cells:
        raise NotTested("the number of tower cells is not stated in the plan")
    freezing = test["outdoor_dry_bulb"] <= test.limits["cold.air"]
    if not freezing.any():
        raise Deferred(f"the air was never at or below {test.limits['cold.air']:g} °F: repeat it "
                       "in freezing weather")
    share = test["cw_flow"] / test.plant.tower_cells
    counted = freezing & (flowing(test["cw_flow"]) != 0.0)
    found = _kept(test, share, counted, "cw_flow")
    if found is None:
        return not_judged(0, int(freezing.argmax()),
                          "no water flowed in freezing weather, or it has a gap")
    return Finding(
        0, found.row, f"went down to {found.value:.0f} gpm a cell with water over all "
        f"{test.plant.tower_cells} cells; at least {least:.0f} gpm is wanted",
        measured=found.value, at_least=least, worst_in_gaps=found.worst_in_gaps,
        uncertainty=found.uncertainty + uncertainty.COVERAGE * uncertainty.standard(
            test, "cw_flow", found.value),
        fail_needs="cells can be shut off, and which ones were is not trended"
        if test.plant.cold.cells_shut_off else "")


@check("cold.basin", unit="degF", needs=("basin_heating",), all_or_none=True,
       limits=("cold.exchanger", "cold.short_dip", "cold.heater_band", "cold.heater_time"))
def basin(test: FunctionalTest) -> Iterator[Finding]:
    """The coldest basin water that lasted, against the limit; the longest time in which the heater
    was off with water below its setpoint less a band, and in which it was on above its setpoint
    plus the band."""
    if (setpoint := test.plant.cold.basin_heater) is None:
        raise NotApplicable("the plan states no basin heater")
    water, least = test["basin_temp"], test.limits["cold.exchanger"]
    yield from _lowest(test, "water", water - least, np.ones(len(test), dtype=bool), least,
                       "basin_temp")
    if test.plant.sumps > 1:
        yield not_judged(0, 0, f"one basin of {test.plant.sumps} is trended: measure the others' "
                         "water", subject="other basins")
    heating, band = Flags.on(test["basin_heater_running"]), test.limits["cold.heater_band"]
    every = test.sample_interval("basin_temp", "basin_heater_running")
    for subject, wrong in (
            ("heater off, water cold", ~heating & ~Flags.at_least(water, setpoint - band)),
            ("heater on, water warm", heating & Flags.above(water, setpoint + band))):
        yield _lasted(test, wrong, test.limits["cold.heater_time"], every,
                      ("", f", with a setpoint of {setpoint:.4g} °F"), subject=subject)


@check("cold.humidity", unit="%RH", each="run", needs=("request", "chillers", "humid_space"),
       limits=("cold.humidity", "cold.humid_for"))
def humidity(test: FunctionalTest, run: Run) -> Finding:
    """The highest humidity of the critical space that lasted in each economizer run: warmer
    chilled water dries the air less."""
    stated = test.plant.cold.space_humidity
    if stated is None and not test.has("space_humidity"):
        raise NotApplicable("the plan states no space whose humidity is critical")
    most = test.limits["cold.humidity"] if stated is None else stated
    lasting = test.limits["cold.humid_for"]
    found = highest_kept(test["space_humidity"][run.rows], lasting, test.minutes,
                         test.sample_interval("space_humidity"))
    if found is None:
        return not_judged(run.number, run.first, "a gap, or too short a run")
    before = test["space_humidity"][test.window(run.first - test.rows(60.0), run.first)]
    was = "" if np.isnan(before).all() else (
        f"; in the hour before it was {np.nanmean(before):.0f} %RH")
    return Finding(
        run.number, run.first + found.row,
        f"up to {found.value:.0f} %RH for longer than {lasting:.0f} min{was}", last=run.last,
        measured=found.value, at_most=most, worst_in_gaps=found.worst_in_gaps,
        uncertainty=found.uncertainty + uncertainty.expanded(test, {"space_humidity": 1.0}),
        cut_off=test.cut_off(run))


CHECKS = (condenser_water, exchanger, fans, cell_flow, basin, humidity)
