"""Intake: trend files as they come, through the point map, onto one uniform grid.

Readers only translate; nothing is guessed silently, and everything done is a remark.
"""

from fptlib.intake.doubts import map_doubts
from fptlib.intake.epw import Weather, read_weather
from fptlib.intake.mapping import PointMap
from fptlib.intake.offset import clock_offset
from fptlib.intake.progress import bar
from fptlib.intake.quality import gaps, quality
from fptlib.intake.reading import read_trends
from fptlib.intake.suggest import Suggestion, suggest_map

__all__ = [
    "PointMap", "Suggestion", "Weather", "bar", "clock_offset", "gaps", "map_doubts", "quality",
    "read_trends", "read_weather", "suggest_map",
]
