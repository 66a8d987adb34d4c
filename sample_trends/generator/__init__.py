"""An invented chilled-water plant with a plate exchanger, simulated minute by minute.

The physics here is the generator's own: nothing is taken from the package under test, so
that an error there cannot hide by being made twice.
"""

from sample_trends.generator.interval import at_interval
from sample_trends.generator.run import Event, Result, simulate
from sample_trends.generator.scenario import Design, Scenario, SensorError, Sequence, Site

__all__ = [
    "Design", "Event", "Result", "Scenario", "SensorError", "Sequence", "Site",
    "at_interval", "simulate",
]
