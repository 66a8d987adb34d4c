"""Step 2: does the chilled-water setpoint follow the need, and what is that worth?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fptlib.procedure import savings, uncertainty
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, check
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import Deferred, Event

COLDEST_SHARE = 0.1


def _advise_reset(test: FunctionalTest, failed: Sequence[Event]) -> str:
    setpoint = median(test["chw_supply_setpoint"])
    said = savings.of_setpoint(test, setpoint, 2.0)
    return f"Each 2 °F above {setpoint:.0f} in cold weather is {said}." if said else ""


@check("reset.active", unit="degF", needs=("chw_supply_setpoint", "outdoor_dry_bulb"),
       limits=("reset.range", "reset.outdoor_span"), advise=_advise_reset)
def active(test: FunctionalTest) -> Finding:
    """Median setpoint in the coldest tenth of the rows minus that in the warmest tenth."""
    rows = reset_rows(test)
    if not len(rows):
        raise Deferred("no row outside changeovers has setpoint and outdoor temperature; "
                       "trend both while the plant runs")
    outdoor, setpoint = test["outdoor_dry_bulb"][rows], test["chw_supply_setpoint"][rows]
    span = float(np.ptp(np.quantile(outdoor, [0.01, 0.99])))
    wanted = test.limits["reset.outdoor_span"]
    if span < wanted:
        raise Deferred(f"the outdoor temperature spans {span:.0f} °F and must span "
                       f"{wanted:.0f}; wait for warmer or colder weather")
    cold, warm = np.quantile(outdoor, [COLDEST_SHARE, 1.0 - COLDEST_SHARE])
    in_cold = float(np.median(setpoint[outdoor <= cold]))
    in_warmth = float(np.median(setpoint[outdoor >= warm]))
    rise = in_cold - in_warmth
    return Finding(
        0, int(rows[0]),
        f"the setpoint is {rise:+z.1f} °F higher in the coldest tenth of the rows than "
        f"in the warmest, over an outdoor span of {span:.0f} °F",
        last=int(rows[-1]), subject="reset", measured=rise, at_least=test.limits["reset.range"],
        uncertainty=uncertainty.resolution(test, "chw_supply_setpoint", "chw_supply_setpoint"),
        quantities={"outdoor span, °F": span, "setpoint in the coldest tenth, °F": in_cold,
                    "setpoint in the warmest tenth, °F": in_warmth})


def reset_rows(test: FunctionalTest) -> np.ndarray:
    """The rows outside changeovers in which outdoor temperature and setpoint are known."""
    gap = np.isnan(test["outdoor_dry_bulb"] + test["chw_supply_setpoint"])
    return np.flatnonzero(~(test.changing | gap))


def reset_line(test: FunctionalTest) -> tuple[np.ndarray, np.ndarray]:
    """The reset as the trends show it: outdoor dry bulb and median setpoint [degF].

    Bins of two degrees with at least half an hour in them; between them the line is
    straight, beyond them it stays level (``numpy.interp`` draws it).
    """
    rows = reset_rows(test)
    outdoor, setpoint = test["outdoor_dry_bulb"][rows], test["chw_supply_setpoint"][rows]
    bins = np.round(outdoor / 2.0) * 2.0
    kept = [at for at in np.unique(bins) if (bins == at).sum() * test.minutes >= 30.0]
    return np.array(kept, dtype=float), np.array([np.median(setpoint[bins == at]) for at in kept])


def economizer_hours_on_reset(test: FunctionalTest) -> int:
    """Hours of the typical year in which the reset line as found could be carried."""
    assert test.weather is not None
    return savings.economizer_hours(
        test, np.interp(np.asarray(test.weather["outdoor_dry_bulb"]), *reset_line(test)))


CHECKS = (active,)
