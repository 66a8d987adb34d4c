"""Step 7a, the load: how it goes with weather and hour, and the signs of one that should not be
there.

What a building needs in cold weather differs fourfold between sources for the same type of
building, so it is asked for and never filled in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fptlib.physics import regression
from fptlib.procedure import instruments, load_model, uncertainty
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import Deferred, NotApplicable, NotTested, Verdict

# A loop whose flow varies less than this while its load does has constant flow (common practice,
# no source): its difference falls with the load by nature.
CONSTANT_FLOW = 15.0
# Hours of the night, and the outdoor span and repetition that a regression needs (all common
# practice, no source).
NIGHT, LEAST_SPAN, SEEN_TWICE = (0, 5), 8.0, 2
_COLD = ("load.cold",)


@dataclass(frozen=True, slots=True)
class Winter:
    """The cold hours: their first rows, clock hours, means, and the load's regression.

    ``per_degree`` [tons/°F] and, where heating is trended, ``per_heating`` [tons/ton], each with
    what it is known to (k = 2; hours that follow one another count for fewer).
    """

    rows: np.ndarray
    clock: np.ndarray
    load: np.ndarray
    outdoor: np.ndarray
    heating: np.ndarray | None
    per_degree: tuple[float, float]
    per_heating: tuple[float, float]

    @property
    def night(self) -> np.ndarray:
        """Which of them are hours of the night."""
        return (self.clock >= NIGHT[0]) & (self.clock < NIGHT[1])


@cached
def winter(test: FunctionalTest) -> Winter:
    """The hours at or below the limit for cold weather, outside changeovers, and the regression of
    their load on outdoor temperature, hour of the day, weekend where seen twice, and heating load
    where trended.

    Raises:
        NotTested: no cold weather, or too few hours or degrees of it.
    """
    hours, load = load_model.hourly(test, test.load)
    outdoor = load_model.hourly(test, test["outdoor_dry_bulb"])[1]
    heating = load_model.hourly(test, test["heating_load"])[1] if test.has("heating_load") else None
    cold = (outdoor <= test.limits["load.cold"]) & ~np.isnan(load)
    kept = np.flatnonzero(cold if heating is None else cold & ~np.isnan(heating))
    span = float(np.ptp(np.quantile(outdoor[kept], [0.02, 0.98]))) if len(kept) else 0.0
    levels = [columns[:, columns.any(axis=0)] for columns in (
        load_model.level_columns(hours[kept], name) for name in ("week", "day"))]
    columns = levels[0] if (levels[0].sum(axis=0) >= SEEN_TWICE).all() else levels[1]
    if len(kept) < 2 * columns.shape[1] or not len(kept) or span < LEAST_SPAN:
        raise Deferred(
            f"{len(kept)} hours at or below {test.limits['load.cold']:.0f} °F outdoors, spanning "
            f"{span:.0f} °F, have a load; at least three days and {LEAST_SPAN:.0f} °F are needed")
    if heating is not None:
        columns = np.column_stack([columns, heating[kept]])
    fit = regression.fit("2P", outdoor[kept], load[kept], columns)
    if fit is None:
        raise Deferred("the cold hours are too much alike for a regression of their load")
    known_to = 2.0 * fit.coefficient_errors * np.sqrt(fit.n / fit.effective)
    _, first, rows = load_model.clock_hours(test)
    clock = (hours[kept] - hours[kept].astype("M8[D]")).astype("m8[h]").astype(int)
    return Winter(first + rows * kept, clock, load[kept], outdoor[kept],
                  None if heating is None else heating[kept],
                  *((float(fit.coefficients[at]), float(known_to[at])) for at in (-1, -2)))


@cached
def sensors_contradicted(test: FunctionalTest) -> str:
    """Why the load's own sensors accuse nobody: a field reading, the exchanger's heat balance or
    the exchanger's own water contradicts them; empty where none does."""
    wrong = [f"{row.id}: {event.text}" for row in (
        instruments.agreement(test), instruments.heat_balance(test)) for event in row.events
        if event.verdict is Verdict.FAIL and event.subject in ("", *test.points_of("load"))]
    wrong += _colder_than_its_exchanger(test)
    return f"the load's sensors are contradicted ({wrong[0]}): correct them first" if wrong else ""


def _colder_than_its_exchanger(test: FunctionalTest) -> list[str]:
    """That the supply reads colder than the exchanger that alone makes it, beyond what both
    sensors allow: mixing and pipes warm it only."""
    names = ("hx_chw_leaving_temp", "chw_supply_temp")
    if not test.has(*names):
        return []
    steady = [test[names[0]][rows] - test[names[1]][rows] for run in test.runs
              if (rows := test.steady(run)) is not None]
    below = median(np.concatenate(steady)) if steady else np.nan
    allowed = uncertainty.expanded(test, {names[0]: 1.0, names[1]: -1.0})
    if not below > allowed:
        return []
    return [f"in economizer operation the supply reads {below:.1f} °F colder than the water that "
            f"leaves the exchanger, and the sensors allow {allowed:.1f}"]


@check("load.weather", unit="%", needs=("load", "outdoor_dry_bulb"),
       limits=("load.rise", *_COLD))
def weather(test: FunctionalTest) -> Finding:
    """Rise of the load for every 10 °F colder, as a share of the cold hours' mean load: the slope
    of its regression on outdoor temperature, hour of the day and weekend, at or below the limit
    for cold weather."""
    found = winter(test)
    slope, doubt = (-1000.0 * each / found.load.mean() for each in found.per_degree)
    coldest = int(np.argmin(found.outdoor))
    return Finding(
        0, int(found.rows[coldest]),
        f"for every 10 °F colder the load {'rises' if slope > 0 else 'falls'} by "
        f"{abs(slope):.1f} % of its mean {found.load.mean():.0f} tons, known to {abs(doubt):.1f} %",
        last=int(found.rows[-1]), subject="load", measured=slope,
        at_most=test.limits["load.rise"], uncertainty=abs(doubt),
        quantities={"cold hours": len(found.rows), "coldest hour, °F": found.outdoor[coldest],
                    "mean load, tons": float(found.load.mean()),
                    "slope, tons/°F": found.per_degree[0]})


@check("load.base", unit="%", needs=("load", "outdoor_dry_bulb"),
       limits=("load.base", *_COLD))
def base(test: FunctionalTest) -> Finding:
    """Load that the cold hours between midnight and 5 am exceed for three quarters of the time, as
    a share of the base load that the plan says to expect then."""
    if not (expected := test.plant.base_load):
        raise NotTested("the base load to expect at night in cold weather is not stated in the "
                        "plan (step 0); ask the owner what runs then")
    found = winter(test)
    if not found.night.any():
        raise NotTested("no cold hour between midnight and 5 am has a load")
    tons = float(np.quantile(found.load[found.night], 0.25))
    design = test.plant.exchanger.load
    share = 100.0 * tons / expected
    by_hour = {hour: np.quantile(found.load[found.clock == hour], 0.95)
               for hour in np.unique(found.clock)}
    busiest = max(by_hour, key=lambda hour: by_hour[hour])
    return Finding(
        0, int(found.rows[found.night][np.argmax(found.load[found.night])]),
        f"the base load at night in cold weather is {tons:.0f} tons where {expected:.0f} are "
        "expected", last=int(found.rows[-1]), subject="load", measured=share,
        at_most=test.limits["load.base"], fail_needs=sensors_contradicted(test),
        uncertainty=share * uncertainty.of_load(test, found.rows),
        quantities={"hours of the night": int(found.night.sum()), "base load, tons": tons,
                    "expected, tons": expected,
                    "base load of the exchanger's design, %": 100.0 * tons / (design or np.nan),
                    "busiest hour": f"{busiest}:00", "load then (95 %), tons": by_hour[busiest]})


def design_load(test: FunctionalTest) -> float:
    """The exchanger's design load [tons]; raises ``NotTested`` where it is not stated."""
    if not (design := test.plant.exchanger.load):
        raise NotTested("the exchanger's design load is not stated in the plan (step 0)")
    return design


@check("load.peak", unit="%", needs=("load", "outdoor_dry_bulb"), limits=("load.peak", *_COLD))
def peak(test: FunctionalTest) -> Finding:
    """Load that the cold hours exceed for 5 % of the time, as a share of the exchanger's design
    load."""
    found, design = winter(test), design_load(test)
    tons = float(np.quantile(found.load, 0.95))
    share, top = 100.0 * tons / design, int(np.argmax(found.load))
    return Finding(
        0, int(found.rows[top]), f"5 % of the cold hours have more than {tons:.0f} tons, "
        f"{share:.0f} % of the exchanger's design load {design:.0f} tons",
        last=int(found.rows[-1]), subject="load", measured=share,
        at_most=test.limits["load.peak"], fail_needs=sensors_contradicted(test),
        uncertainty=share * uncertainty.of_load(test, found.rows),
        quantities={"cold hours": len(found.rows), "median load, tons": median(found.load),
                    "largest load, tons": float(found.load[top]),
                    "outdoors then, °F": float(found.outdoor[top])})


@cached
def with_load(test: FunctionalTest, enough: bool) -> np.ndarray:
    """The rows outside changeovers whose load is worth judging, or with ``enough`` false those of
    less; of a loop in which the flow follows the load.

    Raises:
        NotTested: there is none, or the flow does not follow the load.
    """
    least = test.limits["load.least"] / 100.0 * design_load(test)
    known = ~np.isnan(test.load) & ~test.changing
    if not known.any():
        raise NotTested("no row outside changeovers has a load")
    low, high = np.quantile(test["chw_flow"][known], [0.05, 0.95])
    if 100.0 * (high - low) < CONSTANT_FLOW * high:
        raise NotApplicable(f"the flow stays between {low:.0f} and {high:.0f} gpm: in a "
                            "constant-flow loop it does not follow the load by nature")
    rows = np.flatnonzero(known & ((test.load >= least) == enough))
    if len(rows) < test.rows(60.0):
        raise NotTested(f"less than an hour outside changeovers has {least:.0f} tons or "
                        + ("more" if enough else "less"))
    return rows


@check("load.delta_t", unit="%", needs=("load",), limits=("load.delta_t", "load.least"))
def delta_t(test: FunctionalTest) -> Finding:
    """Median chilled-water return minus supply, as a share of the exchanger's design difference,
    of the rows outside changeovers with load enough."""
    exchanger = test.plant.exchanger
    if exchanger.chw_entering is None or exchanger.chw_leaving is None:
        raise NotTested("the exchanger's design chilled-water temperatures are not stated in the "
                        "plan (step 0)")
    rows, design = with_load(test, True), exchanger.chw_entering - exchanger.chw_leaving
    difference = (test["chw_return_temp"] - test["chw_supply_temp"])[rows]
    found = median(difference)
    doubt = uncertainty.expanded(test, {"chw_return_temp": 1.0, "chw_supply_temp": -1.0})
    return Finding(
        0, int(rows[np.argmin(difference)]),
        f"the median temperature difference is {found:.1f} °F where {design:.1f} °F are designed",
        last=int(rows[-1]), subject="loop", measured=100.0 * found / design,
        at_least=test.limits["load.delta_t"], fail_needs=sensors_contradicted(test),
        uncertainty=100.0 * doubt / design,
        quantities={"rows judged": len(rows), "median difference, °F": found,
                    "design difference, °F": design,
                    "median flow, gpm": median(test["chw_flow"][rows])})


@check("load.idle_flow", unit="%", needs=("load",), limits=("load.idle_flow", "load.least"))
def idle_flow(test: FunctionalTest) -> Finding:
    """Median flow of the rows outside changeovers with hardly any load, as a share of the
    exchanger's design flow."""
    if not (design := test.plant.exchanger.chw_flow):
        raise NotTested("the exchanger's design chilled-water flow is not stated in the plan "
                        "(step 0)")
    rows = with_load(test, False)
    flow = test["chw_flow"][rows]
    share = 100.0 * median(flow) / design
    doubt = 200.0 * uncertainty.standard(test, "chw_flow", median(flow)) / design
    return Finding(
        0, int(rows[np.argmax(flow)]), f"{median(flow):.0f} gpm flow with hardly any load, "
        f"{share:.0f} % of the design flow", last=int(rows[-1]), subject="loop", measured=share,
        at_most=test.limits["load.idle_flow"], fail_needs=sensors_contradicted(test),
        uncertainty=doubt,
        quantities={"rows judged": len(rows), "median flow, gpm": median(flow),
                    "median load, tons": median(test.load[rows])})


@check("load.valves", unit="%", needs=("load", "chw_valve_position"),
       limits=("load.valves", "load.least"))
def valves(test: FunctionalTest) -> Finding:
    """Median position of the most open chilled-water valve in the rows outside changeovers with
    load enough. Where valves drive the reset, reset.active holds it to its line."""
    if test.reset_driver == "chw_valve_position":
        raise NotApplicable("the sequence resets the setpoint by these valves: reset.active judges "
                            "its line")
    rows = with_load(test, True)
    position = test["chw_valve_position"][rows]
    supply = test["chw_supply_temp"][rows]
    return Finding(
        0, int(rows[np.nanargmin(position)]) if not np.isnan(position).all() else int(rows[0]),
        f"the most open valve stands at {median(position):.0f} % with water of "
        f"{median(supply):.1f} °F", last=int(rows[-1]), subject="valves",
        measured=median(position), at_least=test.limits["load.valves"],
        uncertainty=uncertainty.expanded(test, {"chw_valve_position": 1.0}),
        quantities={"rows judged": len(rows), "median supply, °F": median(supply)})


@check("load.decoupler", unit="%", needs=("decoupler_flow", "chw_flow"),
       limits=("load.reverse", "load.reverse_flow"))
def decoupler(test: FunctionalTest) -> Finding:
    """Share of the rows outside changeovers in which more than the stated part of the flow goes
    backward through the decoupler, from return to supply."""
    known = ~np.isnan(test["decoupler_flow"] + test["chw_flow"])
    rows = np.flatnonzero(known & ~test.changing)
    if not len(rows):
        raise NotTested("no row outside changeovers has decoupler flow and flow")
    back, flow = -test["decoupler_flow"][rows], test["chw_flow"][rows]
    least = test.limits["load.reverse_flow"] / 100.0 * flow
    doubt = 2.0 * uncertainty.standard(test, "decoupler_flow", median(np.abs(back)))
    return Finding(
        0, int(rows[np.argmax(back)]),
        f"return water flows backward through the decoupler for {100.0 * (back > least).mean():.0f}"
        f" % of the time, up to {max(back.max(), 0.0):.0f} gpm", last=int(rows[-1]),
        subject="decoupler", measured=100.0 * float((back > least).mean()),
        at_most=test.limits["load.reverse"],
        uncertainty=100.0 * float((np.abs(back - least) <= doubt).mean()),
        quantities={"rows judged": len(rows), "median flow, gpm": median(flow),
                    "median backward, gpm": median(back)})


@check("load.heating", unit="tons/ton", needs=("load", "outdoor_dry_bulb", "heating_load"),
       limits=("load.heating", *_COLD))
def heating(test: FunctionalTest) -> Finding:
    """Cooling load for every ton of heating load, at the same hour and outdoor temperature: a
    coefficient of the load's regression. Reheat makes both, a cold facade only heating."""
    found = winter(test)
    cooling, doubt = found.per_heating
    tons = found.heating
    assert tons is not None
    if np.ptp(tons) < 0.05 * found.load.mean():
        raise Deferred("the heating load hardly moves in the cold hours")
    return Finding(
        0, int(found.rows[np.argmax(tons)]),
        f"every ton of heating goes with {cooling:+.2f} tons of cooling, known to {doubt:.2f}",
        last=int(found.rows[-1]), subject="heating", measured=cooling,
        at_most=test.limits["load.heating"], uncertainty=doubt,
        quantities={"cold hours": len(tons), "median heating load, tons": median(tons),
                    "median load, tons": median(found.load)})


# What says that a load or a flow should not be there. A high peak may be needed, and valves that
# are well closed say that the setpoint is low, not that the load is high.
SIGNS = (base, weather, delta_t, idle_flow, decoupler, heating)
CHECKS = (base, peak, weather, delta_t, idle_flow, valves, decoupler, heating)
