"""Step 2: does the chilled-water setpoint follow the need, and what is that worth?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fptlib.procedure import approaches, uncertainty, year
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, check
from fptlib.procedure.measures import median, window_highest
from fptlib.procedure.savings import Energy
from fptlib.procedure.verdict import Deferred, Event, NotTested

COLDEST_SHARE = 0.1
# Over so many degrees outdoors no reset is level all the way (common practice, no source).
BEYOND_LEVEL = 30.0


def _advise_reset(test: FunctionalTest, _: Sequence[Event]) -> str:
    setpoint = median(test["chw_supply_setpoint"])
    found = worth_of(test, setpoint, 2.0)
    return (f"In a typical year each 2 °F above {setpoint:.0f} in cold weather is worth {found}."
            if found else "")


def worth_of(test: FunctionalTest, setpoint: float, more: float) -> Energy | None:
    """The economizer hours of the typical year, and their energy, that ``more`` degF of setpoint
    add; ``None`` without a typical year."""
    if test.weather is None or not approaches.known(test):
        return None
    now, then = (year.hours(test, each).counted for each in (setpoint, setpoint + more))
    return year.energy(test, then & ~now, setpoint + more)


@check("reset.active", unit="degF", needs=("chw_supply_setpoint", "reset_driver"),
       limits=("reset.range", "reset.outdoor_span", "reset.band", "reset.lag", "reset.share"),
       advise=_advise_reset)
def active(test: FunctionalTest) -> Finding:
    """Share of the rows with the setpoint on the specified line of its driver, level beyond its
    ends; where no line is stated, the median setpoint in the coldest tenth of the rows minus that
    in the warmest tenth."""
    driver = test.load if test.reset_driver == "load" else test[test.reset_driver]
    known = ~np.isnan(driver + test["chw_supply_setpoint"])
    rows = np.flatnonzero(known & ~test.changing)
    if not len(rows):
        raise Deferred(f"no row outside changeovers has setpoint and {_driver(test)}; trend both "
                       "while the plant runs")
    if test.sequence.reset.driver_low is not None:
        return _on_line(test, rows, driver)
    if test.reset_driver != "outdoor_dry_bulb":
        raise NotTested(f"the line on which the setpoint follows {_driver(test)} is not stated "
                        "in the plan")
    return _in_cold_and_warmth(test, rows, driver[rows])


def _driver(test: FunctionalTest) -> str:
    return ("outdoor temperature" if test.reset_driver == "outdoor_dry_bulb"
            else test.sequence.reset.driver)


def _on_line(test: FunctionalTest, rows: np.ndarray, driver: np.ndarray) -> Finding:
    """The share of the rows in which the setpoint is on the specified line."""
    wanted = np.where(np.isnan(driver), np.nan, np.interp(driver, *stated_line(test)))
    # A setpoint that moves slowly is still where the line was: within what it was of late.
    lag, setpoint = test.rows(test.limits["reset.lag"]), test["chw_supply_setpoint"][rows]
    least, most = -_highest_of_late(-wanted, lag)[rows], _highest_of_late(wanted, lag)[rows]
    away = np.maximum(np.maximum(least - setpoint, setpoint - most), 0.0)
    moved = float(np.ptp(np.quantile(wanted[rows], [0.01, 0.99])))
    band = test.limits["reset.band"]
    share, off = 100.0 * float((away <= band).mean()), away > band
    rounding = uncertainty.resolution(test, "chw_supply_setpoint")
    # On a level stretch a setpoint that nothing resets looks the same.
    level = "" if moved >= test.limits["reset.range"] else (
        f"its line moved by only {moved:.1f} °F in these trends: repeat in other weather or load")
    return Finding(
        0, int(rows[off][0] if off.any() else rows[0]),
        f"{share:.0f} % of the rows are within {band:g} °F of the line over {_driver(test)}",
        last=int(rows[-1]), subject="reset", measured=share, at_least=test.limits["reset.share"],
        uncertainty=100.0 * float((np.abs(away - band) <= rounding).mean()), pass_needs=level,
        unit="%", quantities={"rows judged": len(rows), "line moved by, °F": moved,
                              "median distance, °F": median(away)})


def _highest_of_late(values: np.ndarray, lag: int) -> np.ndarray:
    """The highest known value of each row and the ``lag`` rows before it."""
    known = np.where(np.isnan(values), -np.inf, values)
    return window_highest(np.pad(known, (lag, 0), constant_values=-np.inf), lag + 1)


def _in_cold_and_warmth(test: FunctionalTest, rows: np.ndarray, outdoor: np.ndarray) -> Finding:
    """The setpoint in the coldest tenth of the rows against that in the warmest tenth."""
    setpoint = test["chw_supply_setpoint"][rows]
    span = float(np.ptp(np.quantile(outdoor, [0.01, 0.99])))
    wanted = test.limits["reset.outdoor_span"]
    if span < wanted:
        raise Deferred(f"the outdoor temperature spans {span:.0f} °F and must span "
                       f"{wanted:.0f}; wait for warmer or colder weather")
    cold, warm = np.quantile(outdoor, [COLDEST_SHARE, 1.0 - COLDEST_SHARE])
    in_cold = float(np.median(setpoint[outdoor <= cold]))
    in_warmth = float(np.median(setpoint[outdoor >= warm]))
    rise = in_cold - in_warmth
    higher = "higher" if rise >= 0.0 else "lower"
    return Finding(
        0, int(rows[0]),
        f"the setpoint is {abs(rise):.1f} °F {higher} in the coldest tenth of the rows than "
        f"in the warmest, over an outdoor span of {span:.0f} °F",
        last=int(rows[-1]), subject="reset", measured=rise, at_least=test.limits["reset.range"],
        uncertainty=uncertainty.resolution(test, "chw_supply_setpoint", "chw_supply_setpoint"),
        # A reset has level stretches, and which they are is not stated.
        fail_needs="" if span >= BEYOND_LEVEL else
        f"within {span:.0f} °F a reset may be level: state its line in step 2",
        quantities={"outdoor span, °F": span, "setpoint in the coldest tenth, °F": in_cold,
                    "setpoint in the warmest tenth, °F": in_warmth})


def stated_line(test: FunctionalTest) -> tuple[list[float], list[float]]:
    """Driver and setpoint at both ends of the specified line, the lower driver first."""
    low, at_low, high, at_high = (float(each or 0.0) for each in test.sequence.reset.line)
    return ([low, high], [at_low, at_high]) if low <= high else ([high, low], [at_high, at_low])


def reset_rows(test: FunctionalTest) -> np.ndarray:
    """The rows outside changeovers in which outdoor temperature and setpoint are known."""
    gap = np.isnan(test["outdoor_dry_bulb"] + test["chw_supply_setpoint"])
    return np.flatnonzero(~(test.changing | gap))


def reset_line(test: FunctionalTest) -> tuple[np.ndarray, np.ndarray]:
    """The reset as the trends show it: outdoor dry bulb and median setpoint [degF], in bins of two
    degrees (``observed_line``)."""
    rows = reset_rows(test)
    return observed_line(test, test["outdoor_dry_bulb"][rows], test["chw_supply_setpoint"][rows],
                         2.0)


def observed_line(test: FunctionalTest, driver: np.ndarray, setpoint: np.ndarray, width: float
                  ) -> tuple[np.ndarray, np.ndarray]:
    """Driver and median setpoint, in bins of that width with at least half an hour in them.

    Between them the line is straight, beyond them it stays level (``numpy.interp`` draws it).
    """
    bins = np.round(driver / width) * width
    kept = [at for at in np.unique(bins) if (bins == at).sum() * test.minutes >= 30.0]
    return np.array(kept, dtype=float), np.array([np.median(setpoint[bins == at]) for at in kept])


@dataclass(frozen=True)
class ResetLine:
    """A reset by outdoor air: setpoint at and below ``cold``, at and above ``warm`` [degF]."""

    cold: float
    cold_setpoint: float
    warm: float
    warm_setpoint: float

    def of(self, outdoor: np.ndarray) -> np.ndarray:
        """The setpoint over outdoor dry bulb."""
        return np.interp(outdoor, (self.cold, self.warm), (self.cold_setpoint, self.warm_setpoint))


def setpoint_of_year(test: FunctionalTest, line: ResetLine | None = None) -> np.ndarray:
    """The setpoint of every hour of the typical year [degF], on the reset line as found or on
    another."""
    assert test.weather is not None
    outdoor = np.asarray(test.weather["outdoor_dry_bulb"])
    return line.of(outdoor) if line else np.interp(outdoor, *reset_line(test))


CHECKS = (active,)
