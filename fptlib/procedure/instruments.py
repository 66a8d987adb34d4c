"""Step 1: can the instruments and trended sensors be trusted?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import timedelta
from functools import partial

import numpy as np

from fptlib import points, units
from fptlib.job.schema import Instrument, Reading
from fptlib.physics import water
from fptlib.procedure import uncertainty
from fptlib.procedure.changeovers import Run
from fptlib.procedure.frozen import still
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import NotTested, Verdict
from fptlib.trends.grid import shown_step

STUCK_WHILE_MOVING = 2.0
LEAST_MINUTES = 15.0
INDEPENDENT = 0.05
EXCHANGER = ("hx_chw_flow", "hx_chw_entering_temp", "hx_chw_leaving_temp",
             "hx_cw_flow", "hx_cw_entering_temp", "hx_cw_leaving_temp")


@check("instruments.calibration", unit="days")
def calibration(test: FunctionalTest) -> list[Finding]:
    """Days that an instrument was used after its calibration was due."""
    if not test.readings:
        raise NotTested("no field readings were entered")
    return [_calibrated(test, tag) for tag in sorted({r.instrument for r in test.readings})]


def _calibrated(test: FunctionalTest, tag: str) -> Finding:
    instrument, subject = test.instruments.get(tag), f"instrument {tag}"
    uses = [reading.time for reading in test.readings if reading.instrument == tag]
    first_use, last_use = min(uses), max(uses)
    if instrument is None or instrument.due is None or instrument.calibrated is None:
        return not_judged(0, 0, "has no calibration and due date on record; enter them in the "
                          "plan", subject=subject, verdict=Verdict.INDETERMINATE, start=first_use)
    if first_use < instrument.calibrated:
        return not_judged(0, 0, f"was used before its calibration of "
                          f"{instrument.calibrated:%Y-%m-%d}", subject=subject,
                          verdict=Verdict.FAIL, start=first_use)
    # A due date is good through that day (common practice, no source).
    late = (last_use - (instrument.due + timedelta(days=1))) / timedelta(days=1)
    return Finding(
        0, 0, f"calibrated {instrument.calibrated:%Y-%m-%d}, due {instrument.due:%Y-%m-%d}",
        subject=subject, start=last_use, measured=max(late, 0.0), at_most=0.0,
        quantities={"calibrated": f"{instrument.calibrated:%Y-%m-%d}",
                    "due": f"{instrument.due:%Y-%m-%d}",
                    "last used": f"{last_use:%Y-%m-%d}"})


@check("instruments.agreement", unit="degF",
       limits=("instruments.temperature", "instruments.flow", "instruments.humidity"))
def agreement(test: FunctionalTest) -> list[Finding]:
    """The trend minus the field reading: temperatures in °F, humidity in % RH, everything else in
    per cent of the reading."""
    if not test.readings:
        raise NotTested("no field readings were entered")
    found = [_agrees(test, reading) for reading in test.readings]
    judged = [(each, each.measured, each.at_most) for each in found]
    clear = {each.subject for each, measured, limit in judged
             if measured is not None and limit is not None and measured + each.uncertainty <= limit}
    # One that agrees, but was taken while the trend moved too much to prove it, is left to the
    # clear ones of the same sensor; one that disagrees is not.
    return [not_judged(0, 0, f"{each.text}, but the trend moved; another reading of it is clear",
                       subject=each.subject, start=each.start)
            if each.subject in clear and measured is not None and limit is not None
            and measured <= limit < measured + each.uncertainty else each
            for each, measured, limit in judged]


def _agrees(test: FunctionalTest, reading: Reading) -> Finding:
    compared, unit = _comparable(test, reading), points.point(reading.point).unit
    if isinstance(compared, str):
        return not_judged(0, 0, compared, subject=reading.point, start=reading.time)
    trend, half_width = compared
    # The trended sensor's own accuracy is what is being tested and does not enter.
    uncertain = trend.between + 2.0 * math.hypot(
        half_width / math.sqrt(3.0), trend.moved / math.sqrt(3.0),
        test.sensor(reading.point).resolution / math.sqrt(12.0))
    share = 1.0 if unit in ("degF", "%RH") else 100.0 / abs(reading.value)
    limit = {"degF": "temperature", "%RH": "humidity"}.get(unit, "flow")
    shown, every = units.symbol(unit), test.sample_interval(reading.point)
    # A meter's trend is a mean: what one moment was in it, it cannot say.
    mean = (f"the trend is a mean over {every:.0f} min and the reading one moment of it; read the "
            "meter's own demand interval" if unit == "kW" and every > 1.0 else "")
    return Finding(
        0, 0, f"trend {trend.value:.1f}, instrument {reading.instrument} {reading.value:.1f} "
        f"{shown}", subject=reading.point, start=reading.time,
        measured=abs((trend.value - reading.value) * share),
        at_most=test.limits[f"instruments.{limit}"], uncertainty=uncertain * share,
        unit=unit if share == 1.0 else "%", fail_needs=mean,
        quantities={"trend": trend.value, "field reading": reading.value, "unit": shown,
                    "instrument": reading.instrument})


def _comparable(test: FunctionalTest, reading: Reading) -> tuple[uncertainty.AtMoment, float] | str:
    """The trend at a reading and the reading's half-width, or why they cannot be compared."""
    name, unit, tag = reading.point, points.point(reading.point).unit, reading.instrument
    if (trend := uncertainty.at_moment(test, name, reading.time)) is None:
        return "no trend value at that minute"
    if math.isnan(trend.between):
        return "too few trend values around that minute"
    if reading.value == 0.0 and unit not in ("degF", "%RH"):
        return "a reading of zero has no percentage"
    stated = test.instruments.get(tag, Instrument(tag))
    if stated.calibrated is not None and reading.time < stated.calibrated:
        return (f"instrument {tag} was calibrated only on {stated.calibrated:%Y-%m-%d}: its "
                "reading proves nothing")
    # A due date is good through that day (common practice, no source).
    if stated.due is not None and reading.time > stated.due + timedelta(days=1):
        return (f"instrument {tag} was due for calibration on {stated.due:%Y-%m-%d}: its reading "
                "proves nothing")
    if stated.accuracy is None:
        return f"the accuracy of instrument {tag} is not stated; enter it in the plan"
    if not stated.accuracy_unit:
        return f"the unit of the accuracy of instrument {tag} is not stated; enter it in the plan"
    width = units.half_width(stated.accuracy, stated.accuracy_unit, unit, reading.value)
    return (trend, width) if width is not None else (
        f"the accuracy of instrument {tag} is stated in {units.symbol(stated.accuracy_unit)}, "
        f"which says nothing of {units.symbol(unit)}; correct it in the plan, or list the "
        "instrument once more for what else it reads")


# The sensors that decide when the plant changes over and what comes of it.
DECIDING = ("chw_supply_temp", "chw_return_temp", "cw_supply_temp", "hx_chw_leaving_temp",
            "hx_cw_entering_temp", "chw_flow", "plant_power")
# A reading stands for conditions so near [degF, or % of the value]; common practice, no source.
NEAR = {"degF": 5.0, "%": 20.0}


@check("instruments.coverage", unit="degF", needs=("request", "chillers"))
def coverage(test: FunctionalTest) -> Iterator[Finding]:
    """How far the nearest field reading lies from what each deciding sensor showed in the
    changeovers (5th to 95th percentile)."""
    rows = test.within(slice(c.last if c.enabled is None else c.enabled, c.last + 1)
                       for c in test.changeovers)
    air = ("outdoor_wet_bulb",) if test.wet_bulb_point == "outdoor_wet_bulb" else (
        "outdoor_dry_bulb", "outdoor_humidity")
    for name in (*air, *DECIDING):
        values = test[name][rows] if test.has(name) else np.array([])
        if np.isnan(values).all():
            continue
        low, high = np.nanpercentile(values, [5, 95])
        entry = points.point(name)
        unit, share = ("degF", 1.0) if entry.unit == "degF" else ("%", 100.0 / max(abs(high), 1e-9))
        away = [max(low - reading.value, reading.value - high, 0.0) * share
                for reading in test.readings
                if reading.point == name and not isinstance(_comparable(test, reading), str)]
        if away:
            yield Finding(0, 0, f"the nearest reading is {min(away):.1f} {units.symbol(unit)} away "
                          f"from {low:.1f} to {high:.1f} {units.symbol(entry.unit)}", subject=name,
                          measured=min(away), at_most=NEAR[unit], unit=unit,
                          verdict=None if min(away) <= NEAR[unit] else Verdict.INDETERMINATE)
        else:
            yield not_judged(0, 0, "no field reading that counts: it keeps its stated accuracy; "
                             f"read it between {low:.1f} and {high:.1f} "
                             f"{units.symbol(entry.unit)}", subject=name,
                             verdict=Verdict.INDETERMINATE)


@check("instruments.wet_bulb", unit="degF",
       needs=("outdoor_wet_bulb", "outdoor_dry_bulb", "outdoor_humidity"),
       limits=("instruments.wet_bulb", "instruments.stuck"))
def wet_bulb(test: FunctionalTest) -> list[Finding]:
    """Median of the absolute difference of trended and calculated wet bulb, and the hours for
    which the trended one showed one value while the other moved."""
    trended = test.grid.columns["outdoor_wet_bulb"]
    calculated = test.calculated_wet_bulb
    difference = (trended - calculated)[~np.isnan(trended - calculated)]
    if not len(difference):
        raise NotTested("trended wet bulb, dry bulb and humidity never have values together"
                        + test.stood_still("outdoor_dry_bulb", "outdoor_humidity"))
    middle = median(np.abs(difference))
    agree = Finding(
        0, 0, f"median of the absolute difference {middle:.2f} °F over {len(difference)} rows "
        f"(trended minus calculated {median(difference):+z.2f} °F)",
        last=len(test) - 1, subject="agreement", measured=middle,
        at_most=test.limits["instruments.wet_bulb"],
        uncertainty=uncertainty.calculated_wet_bulb(test), cut_off=_dependent(test, difference),
        quantities={"rows compared": len(difference),
                    "median difference, °F": median(difference)})
    return [agree, *_stuck(test, trended, calculated)]


def _dependent(test: FunctionalTest, difference: np.ndarray) -> str:
    """Why agreement as good as rounding proves nothing of the sensors, unless a field reading does:
    the trended wet bulb is then worked out from the same humidity sensor."""
    scatter = 1.4826 * median(np.abs(difference - median(difference)))
    names = ("outdoor_wet_bulb", "outdoor_dry_bulb", "outdoor_humidity")
    steps = [shown_step(test[name]) for name in names]
    # What the last digit of each can do to the difference; two psychrometers of their own wander
    # by more than that (common practice, no source).
    rounding = math.hypot(*np.nan_to_num(steps) * (1.0, 0.7, 0.2)) / math.sqrt(12.0)
    if scatter > max(1.5 * rounding, INDEPENDENT) or any(
            event.verdict is Verdict.PASS and event.subject == "outdoor_wet_bulb"
            for event in (agreement(test).events if test.readings else ())):
        return ""
    return (f"it agrees to {scatter:.2f} °F row by row, as only a wet bulb calculated from the "
            "same humidity sensor does; take a field reading of the wet bulb")


def _stuck(test: FunctionalTest, trended: np.ndarray, calculated: np.ndarray
           ) -> Iterator[Finding]:
    """Every stretch in which the trended one stood still too long while the air moved; a gap
    after which it is the same does not end one."""
    limit, known = test.limits["instruments.stuck"], ~np.isnan(trended)
    for first, last in still(trended, limit * 60.0 / test.minutes):
        hours = (last - first + 1) * test.minutes / 60.0
        air = calculated[first : last + 1][known[first : last + 1]]
        if np.isnan(air).all():
            continue
        moved = float(np.nanmax(air) - np.nanmin(air))
        if moved >= STUCK_WHILE_MOVING:
            yield Finding(
                0, first, f"showed {trended[first]:.1f} °F for {hours:.1f} h while the "
                f"calculated one moved by {moved:.1f} °F", last=last, subject="stuck",
                measured=hours, at_most=limit, uncertainty=test.minutes / 60.0, unit="h",
                quantities={"shown, °F": float(trended[first]),
                            "calculated wet bulb moved by, °F": moved})


@check("instruments.heat_balance", unit="%", each="run",
       needs=(*(name for name in EXCHANGER if name.endswith("temp")), "exchanger_flows",
              "request", "chillers"), limits=("instruments.heat_balance",))
def heat_balance(test: FunctionalTest, run: Run) -> Finding:
    """Heat given up by the chilled water against heat taken up by the condenser water."""
    rows = test.settled(run)
    values = np.array([test[name][rows] for name in EXCHANGER])
    given, taken = exchanger_heat(test, dict(zip(EXCHANGER, values, strict=True)))
    usable = (given > 0.0) & (taken > 0.0)
    if usable.sum() * test.minutes < LEAST_MINUTES:
        return not_judged(run.number, run.first,
                          "less than 15 minutes of the run can be used")
    tons_given, tons_taken = float(np.median(given[usable])), float(np.median(taken[usable]))
    imbalance = 200.0 * (tons_given - tons_taken) / (tons_given + tons_taken)
    middle = dict(zip(EXCHANGER, np.median(values[:, usable], axis=1).tolist(), strict=True))
    try:
        allowed = uncertainty.propagated(test, partial(_imbalance, test), middle)
    except ValueError as error:
        return not_judged(run.number, run.first, f"the sensors cannot decide it: {error}")
    # The sensors' own errors are what is tested and do not enter; how it scatters does. Rows
    # within a quarter of an hour see the same disturbance.
    each = (200.0 * (given - taken) / (given + taken))[usable]
    spread = 2.0 * float(np.std(each)) / math.sqrt(max(len(each) * test.minutes / 15.0, 1.0))
    limit = test.limits["instruments.heat_balance"]
    # Beyond the limit, but no more than such sensors may differ: neither closed nor proven open.
    explained = limit < abs(imbalance) <= allowed
    return Finding(
        run.number, run.first,
        f"chilled water gives {tons_given:.0f} tons, condenser water takes {tons_taken:.0f} "
        f"tons; sensors as accurate as stated explain up to {allowed:.1f} % of difference",
        last=rows.stop - 1, measured=abs(imbalance), at_most=limit,
        uncertainty=spread, verdict=Verdict.INDETERMINATE if explained else None,
        quantities={"chilled water gives, tons": tons_given,
                    "condenser water takes, tons": tons_taken,
                    "explained by the sensors, %": allowed})


def exchanger_heat(test: FunctionalTest, values: Mapping[str, np.ndarray]
                   ) -> tuple[np.ndarray, np.ndarray]:
    """Heat given up by the chilled water and taken up by the condenser water [tons], from the
    exchanger's points by name."""
    given = water.load(values["hx_chw_flow"], values["hx_chw_entering_temp"],
                       values["hx_chw_leaving_temp"], *test.plant.fluid("chw"))
    taken = water.load(values["hx_cw_flow"], values["hx_cw_leaving_temp"],
                       values["hx_cw_entering_temp"], *test.plant.fluid("cw"))
    return np.asarray(given), np.asarray(taken)


def _imbalance(test: FunctionalTest, **readings: np.ndarray) -> np.ndarray:
    given, taken = exchanger_heat(test, readings)
    return 200.0 * (given - taken) / (given + taken)


@cached
def balanced(test: FunctionalTest) -> frozenset[int]:
    """The changeovers in whose run the exchanger's heat balance closes."""
    return frozenset(event.changeover for event in heat_balance(test).events
                     if event.verdict is Verdict.PASS)


CHECKS = (calibration, agreement, coverage, wet_bulb, heat_balance)
