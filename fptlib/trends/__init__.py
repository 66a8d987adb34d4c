"""Intake: trend files as they come, through the point map, onto one uniform grid.

Readers only translate; nothing is guessed silently, and everything done is a remark.
"""

from fptlib.trends.doubts import map_doubts
from fptlib.trends.epw import Weather, read_weather
from fptlib.trends.mapping import PointMap
from fptlib.trends.offset import clock_offset
from fptlib.trends.progress import bar
from fptlib.trends.quality import gaps, quality
from fptlib.trends.reading import read_trends
from fptlib.trends.suggest import Suggestion, suggest_map

__all__ = [
    "PointMap", "Suggestion", "Weather", "bar", "clock_offset", "gaps", "map_doubts", "quality",
    "read_trends", "read_weather", "suggest_map",
]
