"""Intake: trend files as they come, through the point map, onto one uniform grid.

Readers only translate; nothing is guessed silently, and everything done is a remark.
"""

from fptlib.intake.epw import Weather, read_weather
from fptlib.intake.mapping import PointMap
from fptlib.intake.progress import bar
from fptlib.intake.reading import read_trends

__all__ = ["PointMap", "Weather", "bar", "read_trends", "read_weather"]
