"""Two setpoints of ASHRAE Guideline 36-2021, section 5.20, as a public simulation library of it has
them: what the exchanger is predicted to leave, and the condenser water that chillers need.
"""

from __future__ import annotations

import numpy as np

from fptlib.physics._arrays import Array, Quantity, floats

# The condenser-water line reaches the greatest lift before full load: by a tenth steeper.
STEEPER = 1.1


def predicted_leaving(wet_bulb: Quantity, part: Quantity, tower: float, exchanger: float,
                      design_wet_bulb: float = 0.0, tuning: float = 0.0) -> Array:
    """Chilled water that the exchanger is predicted to leave (5.20.3.1).

    Args:
        wet_bulb [degF]: of the outdoor air, scalar or array.
        part [-]: chilled-water flow over the exchanger's design flow; above 1 counts as 1.
        tower [degF]: its design approach.
        exchanger [degF]: its design approach.
        design_wet_bulb [degF]: the one that the tower's approach holds at.
        tuning [-]: the guideline's m, from -0.2 to 0.5, 0 to begin with.

    Returns:
        Predicted leaving temperature [degF].

    Source: Guideline 36-2021, 5.20.3.1, from secondary sources.

    >>> round(float(predicted_leaving(40.0, 0.8, 7.0, 3.0, 45.0, 0.2)), 1)
    50.4
    """
    air, share = floats(wet_bulb, part)
    return np.asarray(air + exchanger * np.minimum(share, 1.0)
                      + tuning * (design_wet_bulb - air) + tower)


def condenser_return(setpoint: Quantity, part: Quantity, least_lift: float, greatest_lift: float
                     ) -> Array:
    """Condenser-water return setpoint with chillers carrying the load (5.20, tower control a).

    Args:
        setpoint [degF]: chilled-water supply setpoint, scalar or array.
        part [-]: plant load over its design load.
        least_lift [degF]: minimum lift, return condenser water minus chilled-water supply.
        greatest_lift [degF]: design return condenser water minus the lowest supply setpoint.

    Returns:
        Condenser-water return setpoint [degF].

    Source: Guideline 36-2021, 5.20, from secondary sources.

    >>> round(float(condenser_return(44.0, 0.9, 15.0, 53.0)), 2)
    92.82
    """
    water, share = floats(setpoint, part)
    slope = STEEPER * (greatest_lift - least_lift)
    return np.asarray(water + np.clip(
        slope * share + greatest_lift - slope, least_lift, greatest_lift))
