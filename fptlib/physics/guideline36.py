"""Two setpoint formulas of ASHRAE Guideline 36, for comparison with the plant's own.

Guideline 36 tests *return* water of an exchanger in series. For one in full parallel
only its test against the supply setpoint applies.
"""

from __future__ import annotations

import numpy as np

from fptlib.physics._kinds import Quantity, any_kind, refuse


@any_kind
def predicted_exchanger_leaving(
    wet_bulb: Quantity,
    flow_share: Quantity,
    exchanger_approach: Quantity,
    tower_approach: Quantity,
    design_wet_bulb: Quantity,
    tuning: Quantity = 0.0,
) -> Quantity:
    """Chilled water that the exchanger is predicted to deliver.

    Args:
        wet_bulb [degF]: scalar or array.
        flow_share [-]: chilled-water flow over the exchanger's design flow.
        exchanger_approach [degF]: at design.
        tower_approach [degF]: at the design wet bulb below.
        design_wet_bulb [degF]: at which the towers have that approach.
        tuning [-]: tuning parameter m, -0.2 to 0.5.

    Returns:
        Temperature [degF].

    Raises:
        ImpossibleState: the flow share is negative.

    Source: ASHRAE Guideline 36-2021, 5.20.3.1, as documented in Modelica Buildings.

    >>> round(predicted_exchanger_leaving(40.0, 0.8, 3.0, 7.0, 45.0), 1)
    49.4
    """
    exchanger = exchanger_approach * np.minimum(flow_share, 1.0)
    return refuse(
        flow_share < 0.0,
        wet_bulb + exchanger + tuning * (design_wet_bulb - wet_bulb) + tower_approach,
        "flow share {share} is negative", share=flow_share,
    )


@any_kind
def condenser_return_setpoint(
    chw_setpoint: Quantity, part_load: Quantity, least_lift: Quantity, greatest_lift: Quantity
) -> Quantity:
    """Setpoint of condenser water returning to the towers, chillers running.

    Args:
        chw_setpoint [degF]: chilled-water supply setpoint, scalar or array.
        part_load [-]: plant part-load ratio, scalar or array.
        least_lift [degF]: the chillers' minimum water lift.
        greatest_lift [degF]: design condenser return minus lowest chilled-water supply.

    Returns:
        Setpoint [degF].

    Raises:
        ImpossibleState: the greatest lift is below the least.

    Source: ASHRAE Guideline 36-2021, 5.20.12.2, as documented in Modelica Buildings.

    >>> round(condenser_return_setpoint(44.0, 0.5, 15.0, 53.0), 1)
    76.1
    """
    slope = 1.1 * (greatest_lift - least_lift)
    lift = np.minimum(greatest_lift, slope * part_load + greatest_lift - slope)
    return refuse(
        greatest_lift < least_lift, chw_setpoint + np.maximum(least_lift, lift),
        "greatest lift {most} degF is below least lift {least} degF",
        most=greatest_lift, least=least_lift,
    )
