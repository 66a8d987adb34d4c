"""Step 7a: is the exchanger too small, or is there a load that should not be there?"""

from __future__ import annotations

import numpy as np

from fptlib.procedure import uncertainty
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import NotApplicable, NotTested

# A loop whose flow varies less than this while its load does has constant flow (common practice,
# no source): its difference falls with the load by nature.
CONSTANT_FLOW = 15.0


@cached
def loaded(test: FunctionalTest) -> np.ndarray:
    """The rows outside changeovers with load enough to be judged, of the exchanger's design load.

    Raises:
        NotTested: that is not stated, or there is no such row.
    """
    if not (design := test.plant.exchanger.load):
        raise NotTested("the exchanger's design load is not stated in the plan (step 0)")
    least = test.limits["load.least"] / 100.0 * design
    rows = np.flatnonzero((test.load >= least) & ~test.changing)
    if not len(rows):
        raise NotTested(f"outside changeovers the load never was {least:.0f} tons or more")
    return rows


@check("load.delta_t", unit="%", needs=("load",), limits=("load.delta_t", "load.least"))
def delta_t(test: FunctionalTest) -> Finding:
    """Median chilled-water return minus supply, as a share of the exchanger's design difference,
    of the rows outside changeovers with load enough."""
    rows, exchanger = loaded(test), test.plant.exchanger
    if exchanger.chw_entering is None or exchanger.chw_leaving is None:
        raise NotTested("the exchanger's design chilled-water temperatures are not stated in the "
                        "plan (step 0)")
    low, high = np.quantile(test["chw_flow"][rows], [0.05, 0.95])
    if 100.0 * (high - low) < CONSTANT_FLOW * high:
        raise NotApplicable(f"the flow stays within {low:.0f} and {high:.0f} gpm: in a "
                            "constant-flow loop the difference falls with the load by nature")
    design = exchanger.chw_entering - exchanger.chw_leaving
    difference = test["chw_return_temp"] - test["chw_supply_temp"]
    found = median(difference[rows])
    doubt = uncertainty.expanded(test, {"chw_return_temp": 1.0, "chw_supply_temp": -1.0})
    return Finding(
        0, int(rows[np.argmin(difference[rows])]),
        f"the median difference is {found:.1f} °F, {100.0 * found / design:.0f} % of the design "
        f"{design:.1f} °F", last=int(rows[-1]), measured=100.0 * found / design,
        at_least=test.limits["load.delta_t"], uncertainty=100.0 * doubt / design,
        quantities={"rows judged": len(rows), "median difference, °F": found,
                    "design difference, °F": design,
                    "median flow, gpm": median(test["chw_flow"][rows])})


CHECKS = (delta_t,)
