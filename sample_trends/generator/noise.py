"""Chance that is the same on every machine and in every release.

``RandomState`` is numpy's frozen generator; only its uniform numbers are used, since they
need no function of the machine's mathematics library.
"""

from __future__ import annotations

import zlib

import numpy as np


class Chance:
    """Independent streams of noise, one per name, all from one seed."""

    def __init__(self, seed: int) -> None:
        self._seed = seed

    def bell(self, name: str, count: int, spread: float) -> np.ndarray:
        """Nearly normal noise of standard deviation ``spread``, never beyond 3.5 of it."""
        stream = np.random.RandomState(zlib.crc32(f"{self._seed}:{name}".encode()))
        # Four uniform numbers have a variance of 4/12.
        return (stream.random_sample((count, 4)).sum(axis=1) - 2.0) * (spread * 3.0**0.5)

    def slow(self, name: str, count: int, spread: float, minutes: int) -> np.ndarray:
        """Noise that wanders over about so many minutes, standard deviation ``spread``."""
        knots = count // minutes + 3
        values = self.bell(name, knots, spread * 1.25)
        return ease(np.arange(knots) * float(minutes), values, np.arange(count, dtype=float))


def ease(knots: np.ndarray, values: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Interpolate smoothly, level at each knot (cubic, no overshoot)."""
    left = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, len(knots) - 2)
    share = (at - knots[left]) / (knots[left + 1] - knots[left])
    share = np.clip(share, 0.0, 1.0)
    smooth = share * share * (3.0 - 2.0 * share)
    return values[left] + (values[left + 1] - values[left]) * smooth
