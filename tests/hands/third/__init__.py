"""A third test plant: EnergyPlus, a general building simulator, under a controller of our own.

Needs the package ``pyenergyplus-lbnl`` (the extra ``simulator``).
"""

from .job import write
from .result import Result, run
from .scenarios import scenarios

__all__ = ["Result", "run", "scenarios", "write"]
