"""Step 1: can the instruments and trended sensors be trusted?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from fptlib import points, units
from fptlib.job.schema import Reading
from fptlib.physics import water
from fptlib.procedure import uncertainty
from fptlib.procedure.case import Case, once
from fptlib.procedure.catalogue import Untested, at_most, check, unjudged
from fptlib.procedure.known import carried, stretches
from fptlib.procedure.verdict import Check, Event, Verdict

STUCK_WHILE_MOVING = 2.0


@check(
    "instruments.calibration",
    "Was every field instrument used within its calibration date?",
    unit="days",
    good="Field readings were taken with instruments in calibration.",
    bad="Readings were taken with an instrument out of calibration; they prove nothing.",
    adjust="Repeat the readings with an instrument in calibration, or have it calibrated.",
)
def calibration(case: Case) -> list[Event]:
    if not case.readings:
        raise Untested("no field readings were entered")
    return [_calibrated(case, tag) for tag in sorted({r.instrument for r in case.readings})]


def _calibrated(case: Case, tag: str) -> Event:
    instrument = case.instruments.get(tag)
    name = f"instrument {tag}"
    uses = [reading.time for reading in case.readings if reading.instrument == tag]
    first_use, last_use = min(uses), max(uses)
    if instrument is None or instrument.due is None or instrument.calibrated is None:
        return Event(name, first_use, None, Verdict.INDETERMINATE,
                     "has no calibration and due date on record; enter them in the plan")
    if first_use < instrument.calibrated:
        return Event(name, first_use, None, Verdict.FAIL,
                     f"was used before its calibration of {instrument.calibrated:%Y-%m-%d}")
    # A due date is good through that day (common practice, no source).
    good_until = instrument.due + pd.DateOffset(days=1)
    late = (last_use - good_until).total_seconds() / 86400.0
    return at_most(case, name, last_use, None, max(late, 0.0), 0.0, 0.0,
                   f"calibrated {instrument.calibrated:%Y-%m-%d}, due {instrument.due:%Y-%m-%d}")


@check(
    "instruments.agreement",
    "Do trends and field readings agree?",
    unit="degF",
    limits=("instruments.temperature", "instruments.flow"),
    good="The trended sensors agree with calibrated instruments at the points read.",
    bad="A trended sensor disagrees with a calibrated instrument; verdicts that rest on it "
    "are doubtful.",
    adjust="Calibrate the sensor that disagrees, or state its offset, and repeat the test.",
)
def agreement(case: Case) -> list[Event]:
    if not case.readings:
        raise Untested("no field readings were entered")
    return [_agrees(case, reading) for reading in case.readings]


def _agrees(case: Case, reading: Reading) -> Event:
    if problem := _not_comparable(case, reading):
        return unjudged(reading.point, reading.time, problem)
    trended, entry = _at(case, reading), points.point(reading.point)
    difference, uncertain = trended - reading.value, _reading_uncertainty(case, reading)
    limit, unit = case.limits["instruments.temperature"], "degF"
    if entry.unit != "degF":
        scale = 100.0 / abs(reading.value)
        difference, uncertain = difference * scale, uncertain * scale
        limit, unit = case.limits["instruments.flow"], "%"
    return at_most(
        case, reading.point, reading.time, None, abs(difference), limit, uncertain,
        f"trend {trended:.1f}, instrument {reading.instrument} {reading.value:.1f} "
        f"{units.symbol(entry.unit)}", unit,
    )


def _not_comparable(case: Case, reading: Reading) -> str:
    """Why a reading cannot be held against the trend; empty where it can."""
    if _at(case, reading) is None:
        return "no trend value at that minute"
    if not uncertainty.shows_change(_around(case, reading), case.seen_every(reading.point)):
        return "too few trend values around that minute"
    if reading.value == 0.0 and points.point(reading.point).unit != "degF":
        return "a reading of zero has no percentage"
    return _accuracy_unusable(case, reading)


def _accuracy_unusable(case: Case, reading: Reading) -> str:
    instrument = case.instruments.get(reading.instrument)
    accuracy = f"accuracy of instrument {reading.instrument}"
    if instrument is None or instrument.accuracy is None:
        return f"the {accuracy} is not stated; enter it in the plan"
    if not instrument.accuracy_unit:
        return f"the unit of the {accuracy} is not stated; enter it in the plan"
    if _accuracy(case, reading) is None:
        return (f"the {accuracy} is stated in {units.symbol(instrument.accuracy_unit)}, which "
                f"says nothing of {units.symbol(points.point(reading.point).unit)}; mend it in "
                "the plan, or list the instrument once more for what else it reads")
    return ""


def _accuracy(case: Case, reading: Reading) -> float | None:
    """The half-width of a reading in its point's unit; ``None`` where it is stated in one that
    measures something else."""
    instrument = case.instruments[reading.instrument]
    assert instrument.accuracy is not None
    return units.half_width(instrument.accuracy, instrument.accuracy_unit,
                            points.point(reading.point).unit, reading.value)


def _at(case: Case, reading: Reading) -> float | None:
    """The trend's value in the row that holds the moment of the reading."""
    if not case.has(reading.point):
        return None
    row = case.frame.index.searchsorted(reading.time, side="right") - 1
    if row < 0 or reading.time >= case.frame.index[row] + case.trends.step:
        return None
    value = case.frame[reading.point].iloc[row]
    return None if pd.isna(value) else float(value)


def _around(case: Case, reading: Reading) -> np.ndarray:
    """The trend's row at a reading, and those to the samples before and after it."""
    row = case.frame.index.searchsorted(reading.time, side="right") - 1
    near = case.rows(case.seen_every(reading.point))
    return case.frame[reading.point].to_numpy()[max(0, row - near) : row + near + 1]


def _reading_uncertainty(case: Case, reading: Reading) -> float:
    """Expanded uncertainty of the comparison: instrument, and how the trend moves there.

    The trended sensor's own accuracy is what is being tested and does not enter.
    """
    accuracy = _accuracy(case, reading)
    assert accuracy is not None
    near = _around(case, reading)
    known = near[~np.isnan(near)]
    movement = float(np.ptp(known)) / 2.0 if len(known) else 0.0
    rounding = case.sensor(reading.point).resolution / math.sqrt(12.0)
    spread = 2.0 * math.hypot(accuracy / math.sqrt(3.0), movement / math.sqrt(3.0), rounding)
    return spread + uncertainty.between_rows(near, case.seen_every(reading.point))


@check(
    "instruments.wet_bulb",
    "Does the trended wet bulb agree with the one worked out from dry bulb, humidity and "
    "station pressure, and does it move?",
    unit="degF",
    needs=("outdoor_wet_bulb", "outdoor_dry_bulb", "outdoor_humidity"),
    limits=("instruments.wet_bulb", "instruments.stuck"),
    good="The wet bulb that enables the economizer can be believed.",
    bad="The wet bulb is wrong or stuck; the economizer is enabled by chance.",
    adjust="Repair or replace the humidity or wet-bulb sensor; until then let the checks use "
    "the calculated wet bulb (plan, site).",
)
def wet_bulb(case: Case) -> list[Event]:
    trended, calculated = case.frame["outdoor_wet_bulb"], case.calculated_wet_bulb
    difference = (trended - calculated).dropna()
    if difference.empty:
        raise Untested("trended wet bulb, dry bulb and humidity never have values together")
    index = case.frame.index
    typical = float(difference.abs().median())
    agree = at_most(
        case, "agreement", index[0], index[-1], typical, case.limits["instruments.wet_bulb"],
        uncertainty.calculated_wet_bulb(case),
        f"median difference {float(difference.median()):+z.2f} °F over "
        f"{len(difference)} rows",
    )
    return [agree, *_stuck(case, trended, calculated)]


def _stuck(case: Case, trended: pd.Series, calculated: pd.Series) -> Iterator[Event]:
    """Every stretch in which the trended one stood still too long while the air moved; a gap
    after which it is the same does not end one."""
    limit, calculated = case.limits["instruments.stuck"], calculated.where(trended.notna())
    known = trended.notna().to_numpy()
    for first, last in stretches(np.diff(carried(trended.to_numpy()), prepend=np.nan) == 0.0):
        last = first - 1 + int(np.flatnonzero(known[first - 1 : last + 1])[-1])
        hours = (last - first + 2) * case.minutes / 60.0
        if hours <= limit:
            continue
        air = calculated.iloc[first - 1 : last + 1]
        moved = float(air.max() - air.min())
        if moved >= STUCK_WHILE_MOVING:
            yield at_most(
                case, "stuck", trended.index[first - 1], trended.index[last], hours, limit,
                case.minutes / 60.0,
                f"showed {trended.iloc[first - 1]:.1f} °F for {hours:.1f} h while the "
                f"calculated one moved by {moved:.1f} °F", "h",
            )


@check(
    "instruments.heat_balance",
    "Do both sides of the exchanger carry the same heat?",
    unit="%",
    needs=("hx_chw_entering_temp", "hx_chw_leaving_temp", "hx_cw_entering_temp",
           "hx_cw_leaving_temp", "exchanger_flows", "request", "chillers"),
    good="Flows and temperatures at the exchanger fit each other.",
    bad="A flow or temperature at the exchanger is wrong; no verdict on the exchanger rests "
    "on it.",
    adjust="Check both flow meters and the four temperatures against field instruments.",
    runs=True,
)
def heat_balance(case: Case) -> list[Event]:
    return [_balanced(case, c.name, c.handover, case.settled_run(c)) for c in case.handovers]


def exchanger_heat(frame: Any) -> tuple[Any, Any]:
    """Heat given off by the chilled water and taken up by the condenser water [tons].

    ``frame`` holds the exchanger's points by name: a frame, or a mapping of numbers.
    """
    given = water.load(
        frame["hx_chw_flow"], frame["hx_chw_entering_temp"], frame["hx_chw_leaving_temp"])
    taken = water.load(
        frame["hx_cw_flow"], frame["hx_cw_leaving_temp"], frame["hx_cw_entering_temp"])
    return given, taken


def _balanced(case: Case, name: str, handover: pd.Timestamp, run: slice) -> Event:
    rows = _exchanger_rows(case)[run]
    usable = (rows["given"] > 0.0) & (rows["taken"] > 0.0)
    if usable.sum() * case.minutes < 15.0:
        return unjudged(name, handover, "less than 15 minutes of the run can be used")
    middle = dict(zip(rows.columns, np.median(rows.to_numpy()[usable], axis=0), strict=True))
    given, taken = float(middle.pop("given")), float(middle.pop("taken"))
    imbalance = 200.0 * (given - taken) / (given + taken)
    try:
        allowed = uncertainty.propagated(case, _imbalance, middle)
    except ValueError as error:
        return unjudged(name, handover, f"the sensors cannot decide it: {error}")
    return at_most(
        case, name, handover, rows.index[-1], abs(imbalance), allowed, 0.0,
        f"chilled water gives {given:.0f} tons, condenser water takes {taken:.0f} "
        f"tons; the sensors allow {allowed:.1f} % of difference",
    )


@once
def _exchanger_rows(case: Case) -> pd.DataFrame:
    """The exchanger's flows and temperatures, and the heat ``given`` and ``taken`` [tons]."""
    rows = case.frame[["hx_chw_flow", "hx_chw_entering_temp", "hx_chw_leaving_temp",
                       "hx_cw_flow", "hx_cw_entering_temp", "hx_cw_leaving_temp"]]
    given, taken = exchanger_heat(rows)
    return rows.assign(given=given, taken=taken)


def _imbalance(**readings: np.ndarray) -> np.ndarray:
    given, taken = exchanger_heat(readings)
    return 200.0 * (given - taken) / (given + taken)


CHECKS = (calibration, agreement, wet_bulb, heat_balance)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
