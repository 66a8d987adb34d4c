"""Named errors of the physics, each with the offending numbers in its message."""

from __future__ import annotations


class ImpossibleState(ValueError):
    """Numbers that no plant can show, such as a wet bulb above the dry bulb."""


class OutsideRange(ValueError):
    """A possible state outside the range a formula or fit was made for."""


class UnknownRefrigerant(ValueError):
    """A refrigerant for which no saturation curve is carried."""


class TowerInfeasible(ImpossibleState):
    """A tower duty whose air would be warmer than the water it cools."""
