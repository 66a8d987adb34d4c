"""The cooling load of an invented hospital: process, people and the air it conditions."""

from __future__ import annotations

import numpy as np

from sample_trends.generator.noise import Chance, ease

_HOURS = np.array([-2.0, 0.0, 5.0, 9.0, 15.0, 18.0, 22.0, 24.0, 29.0])
_TONS = np.array([12.0, 0.0, -4.0, 42.0, 62.0, 44.0, 12.0, 0.0, -4.0])


def cooling_load(dry: np.ndarray, chance: Chance) -> np.ndarray:
    """Tons of a plant of 600 tons, one value a minute, for this outdoor dry bulb."""
    count = len(dry)
    hour = np.arange(count) % 1440 / 60.0
    weather = 2.0 * np.maximum(0.0, dry - 36.0) + 0.35 * (dry - 36.0)
    weather = weather + 3.0 * np.maximum(0.0, dry - 56.0)
    return 212.0 + ease(_HOURS, _TONS, hour) + weather + chance.slow("load", count, 3.0, 90)
