"""Step 7: does economizer operation run steadily and efficiently?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fptlib import points, units
from fptlib.job.schema import VARIABLE_SPEED, Sensors
from fptlib.physics import exchanger as physics
from fptlib.procedure import approaches, uncertainty
from fptlib.procedure.changeovers import Run
from fptlib.procedure.flags import Flags
from fptlib.procedure.functional_test import STEADY_MINUTES, FunctionalTest, cached
from fptlib.procedure.instruments import EXCHANGER, balanced
from fptlib.procedure.judge import Finding, check, not_judged, on_sheet
from fptlib.procedure.measures import busiest, median, rows_for
from fptlib.procedure.trended import OWN_EXCHANGER
from fptlib.procedure.verdict import Event, NotApplicable, NotTested

LEAST_KNOWN = 15.0
# One of several exchangers stands idle below this share of its design flow (common practice, no
# source).
IDLE_BELOW = 0.25
# Of the rows: with so many possible states the median stands (common practice, no source).
MOST_ROWS = 0.8
# A film coefficient goes with its flow to the power 0.66 to 0.84 (plate correlations of Kumar,
# Muley and Manglik, Martin, Khan and Khan, from secondary sources); the plates with their fouling
# allowance hold up to a fifth of the resistance (common practice, no source).
FILM_EXPONENT_LOW, FILM_EXPONENT_HIGH, LARGEST_PLATES = 0.66, 0.84, 0.2
# Nobody sends through an exchanger half again its design flow, for its pressure drop doubles
# (common practice, no source).
OVERFLOW = 1.5
_RUN = ("request", "chillers")
_TOO_SHORT = f"less than {STEADY_MINUTES:.0f} min of settled run"


@cached
def wanted_condenser_water(test: FunctionalTest) -> np.ndarray:
    """Condenser water that the setpoint needs [degF]: active setpoint - exchanger approach -
    offset."""
    return (test["chw_supply_setpoint"] - approaches.exchanger(test).value
            - test.limits["running.tower_offset"])


def _share(test: FunctionalTest, run: Run, rows: slice, good: Flags, doubtful: np.ndarray,
           text: str, **quantities: float) -> Finding:
    """The share of the known rows that are ``good``; ``doubtful`` ones could be either for the
    sensors' sake. Of rare samples each change was anywhere between two of them (uniform), and few
    of them miss the limit by chance (binomial)."""
    share, known = good.share(), good.known
    if math.isnan(share):
        return not_judged(run.number, run.first, "a gap over the whole run")
    limit, sure = test.limits["running.share"], good.sure[known]
    # Only a good row can take a pass away.
    turn = doubtful[known] & (sure | (share < limit))
    every = test.sample_interval("chw_supply_temp", "cw_supply_temp")
    changes = np.count_nonzero(np.diff(sure)) if every > 1.0 else 0
    minutes = sure.size * test.minutes
    between = uncertainty.COVERAGE * math.sqrt(changes / 12.0) * every / minutes
    if share < limit and every > 1.0:
        good_of_all = limit / 100.0
        between = max(between, uncertainty.COVERAGE * math.sqrt(
            good_of_all * (1.0 - good_of_all) * every / minutes))
    return Finding(
        run.number, rows.start, f"{share:.0f} % of the run {text}", last=rows.stop - 1,
        measured=share, at_least=limit,
        uncertainty=100.0 * math.hypot(float(turn.mean()), between),
        worst_in_gaps=good.share_in_gaps(), cut_off=test.cut_off(run),
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
       advise=on_sheet)
def tower_setpoint(test: FunctionalTest, run: Run) -> Finding:
    """Share of the run with the condenser-water setpoint within the band of the needed one."""
    wanted = wanted_condenser_water(test)
    if (rows := test.steady(run)) is None:
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
    if (rows := test.steady(run)) is None:
        return not_judged(run.number, run.first, _TOO_SHORT)
    colder, band = (wanted - test["cw_supply_temp"])[rows], test.limits["running.overcooling"]
    # A gap where the speed of any fan is not known.
    fastest = np.max([test[f"tower_{n}_fan_speed"][rows] for n in test.tower_numbers], axis=0)
    slow = fastest <= test.limits["running.fan_minimum"]
    known = ~np.isnan(colder) & ((colder <= band) | ~np.isnan(fastest))
    good = ((colder <= band) | slow) & known
    doubt = uncertainty.expanded(test, {"cw_supply_temp": 1.0})
    found = _share(test, run, rows, Flags(good, good | ~known),
                   (np.abs(colder - band) <= doubt) & ~slow,
                   f"not colder than needed by more than {band:g} °F, or fans at minimum",
                   median_colder_than_needed=median(colder))
    return replace(found, fail_needs="" if test.plant.fans == VARIABLE_SPEED else
                   f"{test.plant.fans} fans cool in steps, which may be larger than this band")


@check("running.tower_tracking", unit="%", each="run",
       needs=(*_RUN, "cw_supply_temp", "cw_supply_setpoint", "tower_{n}_fan_speed"),
       limits=("running.tracking", "running.fan_minimum", "exit.fans_at_maximum",
               "running.share"))
def tower_tracking(test: FunctionalTest, run: Run) -> Finding:
    """Share of the run with condenser water within the band of its setpoint, of the rows in which
    fans are between their limits and could hold it."""
    if test.plant.fans != VARIABLE_SPEED:
        raise NotApplicable(f"{test.plant.fans} fans cycle about their setpoint; "
                            "running.fan_cycling judges how often")
    if (rows := test.steady(run)) is None:
        return not_judged(run.number, run.first, _TOO_SHORT)
    speeds = np.array([test[f"tower_{n}_fan_speed"][rows] for n in test.tower_numbers])
    able = ((speeds.max(axis=0) > test.limits["running.fan_minimum"])
            & (speeds.min(axis=0) < test.limits["exit.fans_at_maximum"]))
    # A single one of rare samples shows fans on their way from one limit to the other.
    every = test.sample_interval("tower_{n}_fan_speed")
    if every > 1.0:
        around = np.pad(able, test.rows(every))
        able &= around[: len(able)] | around[-len(able):]
    if able.sum() * test.minutes < LEAST_KNOWN:
        return not_judged(run.number, run.first, f"fans were between their limits for less than "
                          f"{LEAST_KNOWN:.0f} min")
    water = np.where(able, test["cw_supply_temp"][rows] - test["cw_supply_setpoint"][rows], np.nan)
    away, band = np.abs(water), test.limits["running.tracking"]
    # Rows without need of it are no gaps: only those count in which the fans could hold it.
    gaps = np.isnan(speeds).any(axis=0) | (able & np.isnan(water))
    counted, near = able | gaps, away <= band
    rounding = uncertainty.resolution(test, "cw_supply_temp", "cw_supply_setpoint")
    return _share(test, run, rows, Flags(near[counted], (near | gaps)[counted]),
                  (np.abs(away - band) <= rounding)[counted],
                  f"with fans between their limits within {band:g} °F of the condenser-water "
                  f"setpoint, median {median(water):+z.1f}", median_difference=median(water))


@check("running.fan_cycling", unit="per hour", each="run", all_or_none=True,
       needs=(*_RUN, "tower_{n}_fan_running"), limits=("running.fan_starts",),
       advise=lambda test, failed: (
           f"{max(event.measured or 0.0 for event in failed):.0f} starts an hour: a shortest "
           f"cycle of {60.0 / test.limits['running.fan_starts']:.0f} min keeps the limit."),
       rows=lambda test: rows_for(test.limits["running.fan_starts"], 60.0))
def fan_cycling(test: FunctionalTest, run: Run) -> Iterator[Finding]:
    """Starts of each cell's fan in its busiest hour of the run."""
    limit, hour = test.limits["running.fan_starts"], test.rows(60.0)
    for n in test.tower_numbers:
        point = f"tower_{n}_fan_running"
        every, starts = test.sample_interval(point), busiest(test[point][run.rows], hour)
        at = run.first + starts.row
        if starts.most <= limit and every > rows_for(limit, 60.0):
            yield not_judged(run.number, run.first, f"rows of {every:.0f} min cannot show so many "
                             "starts", subject=f"cell {n}")
            continue
        yield Finding(
            run.number, max(at - hour + 1, run.first),
            f"starts in the busiest hour: {starts.most}", last=at, subject=f"cell {n}",
            measured=starts.most, at_most=limit, unit="per hour", worst_in_gaps=starts.worst,
            cut_off=test.cut_off(run))


def _advise_supply(test: FunctionalTest, failed: Sequence[Event]) -> str:
    """To which side the failed runs left the band, for how much of the time and how far."""
    off = test.above_active
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
    if (rows := test.steady(run)) is None:
        return not_judged(run.number, run.first, _TOO_SHORT)
    found = _within(test, run, rows, test.above_active[rows], test.limits["running.supply_band"],
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
        return float(_ua(test, known))
    except ValueError as error:
        raise NotTested(f"the exchanger's design data are impossible: {error}") from error


def _ua(test: FunctionalTest, values: Iterable[float | np.ndarray]) -> np.ndarray:
    """UA as found, by the fluids of the plan; flow, entering and leaving of each side."""
    return np.asarray(physics.observed_ua(
        *values, chw_fluid=test.plant.fluid("chw"), cw_fluid=test.plant.fluid("cw")))


@cached
def each_exchanger(test: FunctionalTest) -> dict[int, FunctionalTest]:
    """Of several exchangers those whose flows and leaving water are trended, each as if it were the
    plant's only one, with its equal part of the design flows. The waters that enter are common."""
    found, count, design = {}, test.plant.exchangers, test.plant.exchanger
    if count == 1 or not design.chw_flow or not design.cw_flow:
        return {}
    part = replace(design, chw_flow=design.chw_flow / count, cw_flow=design.cw_flow / count)
    for n in range(1, count + 1):
        own = {f"hx_{what}": f"hx_{n}_{what}" for what in OWN_EXCHANGER}
        if not test.has(*own.values()):
            continue
        grid = replace(
            test.grid, columns={**test.grid.columns, **{
                name: test[source] for name, source in own.items()}},
            intervals={**test.grid.intervals, **{
                name: test.grid.intervals.get(source, 0.0) for name, source in own.items()}})
        alone = replace(
            test, grid=grid, plant=replace(test.plant, exchangers=1, exchanger=part),
            sensors=Sensors({**test.sensors.stated, **{
                name: test.sensor(source) for name, source in own.items()}}))
        # One that stood idle shows no run of its own.
        if [run.first for run in alone.runs] == [run.first for run in test.runs]:
            found[n] = alone
    return found


EXCHANGER_NEEDS = (*(name for name in EXCHANGER if name.endswith("temp")), "exchanger_flows", *_RUN)


@check("running.exchanger", unit="%", each="run", capacity=True, limits=("running.conductance",),
       needs=(*EXCHANGER_NEEDS, "each_exchanger"))
def exchanger(test: FunctionalTest, run: Run) -> Iterator[Finding]:
    """Median of the rows' UA, each corrected to design flow, as a share of the design UA; of the
    run's rows the half nearest to design flow. Of several exchangers together, and each by its own
    flows and leaving water where they are trended."""
    yield _ua_of_run(test, run)
    unlike = "" if test.plant.exchangers_alike == "yes" else (
        "that all exchangers are of one size is not stated in the plan (step 0)")
    for n, own in each_exchanger(test).items():
        flow = median(own["hx_chw_flow"][run.rows])
        if flow >= IDLE_BELOW * (own.plant.exchanger.chw_flow or 0.0):
            found = _ua_of_run(own, run)
            yield replace(found, subject=f"exchanger {n}", fail_needs=found.fail_needs or unlike)


def _ua_of_run(test: FunctionalTest, run: Run) -> Finding:
    clean, plates = design_ua(test), test.plant.exchanger.plate_share
    # An exchanger that fails has no long run, and its own water settles in minutes.
    rows = test.steady(run) or test.settled(run)
    least = max(LEAST_KNOWN, 3.0 * test.sample_interval(*EXCHANGER))
    if run.number not in balanced(test):
        return not_judged(run.number, run.first,
                          "the heat balance of the exchanger does not close")
    readings = {name: test[name][rows] for name in EXCHANGER}
    known = ~np.isnan(list(readings.values())).any(axis=0)
    if known.sum() * test.minutes < least:
        return not_judged(run.number, run.first, f"less than {least:.0f} min of settled run "
                          "without a gap at the exchanger")
    # The half of the rows nearest to design flow, where films and plates leave the least doubt.
    away = np.sum(np.abs(flow_shares(test, readings) - 1.0), axis=0)
    known &= away <= median(away[known])
    readings = {name: values[known] for name, values in readings.items()}
    shares = np.median(flow_shares(test, readings), axis=1)
    found, sensors = of_design(test, readings, clean), []
    for name, values in readings.items():
        off = uncertainty.standard(test, name, median(values))
        sensors.append(of_design(test, {**readings, name: values + off}, clean)
                       - of_design(test, {**readings, name: values - off}, clean))
    # What is not known of the exchanger itself: its films' exponent and, unless stated, its plates.
    films = (of_design(test, readings, clean, exponent=FILM_EXPONENT_HIGH)
             - of_design(test, readings, clean, exponent=FILM_EXPONENT_LOW)) / 2.0
    wall = of_design(test, readings, clean, LARGEST_PLATES) - found if plates is None else 0.0
    doubt = math.hypot(*sensors, films, wall)
    if math.isnan(doubt):
        return not_judged(run.number, run.first, "the sensors cannot decide it: within their "
                          "accuracy the waters cross, or the films are better than clean")
    return Finding(
        run.number, rows.start,
        f"{found:.0f} % of the design UA, known to {doubt:.0f} %", last=rows.stop - 1,
        measured=found, at_least=test.limits["running.conductance"], uncertainty=doubt,
        cut_off=test.cut_off(run), pass_needs=test.light_load(rows),
        fail_needs=some_may_idle(test, float(shares.min())),
        quantities={
            "rows judged": int(known.sum()),
            **{f"median {points.point(name).meaning}, {units.symbol(points.point(name).unit)}":
               median(values) for name, values in readings.items()},
            "of it films and plates, %": math.hypot(films, wall)})


def some_may_idle(test: FunctionalTest, share: float) -> str:
    """Why of several exchangers it is not known that all carried water; empty where the ``share``
    of their total design flow is more than all but one would let through."""
    count = test.plant.exchangers
    return "" if count == 1 or share >= OVERFLOW * (count - 1) / count else (
        f"which of the {count} exchangers carried water is not trended, and fewer have only a part "
        f"of their UA: compare when all do, with {100.0 * OVERFLOW * (count - 1) / count:.0f} % of "
        "the design flow or more")


def flow_shares(test: FunctionalTest, readings: Mapping[str, np.ndarray]) -> np.ndarray:
    """Chilled-water and condenser-water flow over their design flows."""
    design = test.plant.exchanger
    return np.array([readings["hx_chw_flow"] / (design.chw_flow or math.nan),
                     readings["hx_cw_flow"] / (design.cw_flow or math.nan)])


def of_design(test: FunctionalTest, readings: Mapping[str, np.ndarray], clean: float,
               plates: float | None = None, exponent: float = physics.FILM_EXPONENT) -> float:
    """The rows' median UA at design flow over the ``clean`` one [%]; NaN where too many rows are
    no possible state. ``plates`` is their share of the resistance, unless the plan's."""
    stated = (test.plant.exchanger.plate_share or 0.0) / 100.0
    chw, cw = flow_shares(test, readings)
    ua = physics.corrected_ua(
        _ua(test, (readings[name] for name in EXCHANGER)), clean, chw, cw, exponent,
        stated if plates is None else plates)
    return 100.0 * median(ua) / clean if np.isfinite(ua).mean() > MOST_ROWS else math.nan


CHECKS = (tower_setpoint, tower_tracking, overcooling, fan_cycling, supply, exchanger)
