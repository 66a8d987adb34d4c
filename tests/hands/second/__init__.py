"""A second test plant, by another hand: ``scenarios()`` and ``run(scenario)``."""

from .job import write
from .model import Fault, Plant, Scenario, Sequence
from .result import Result, run
from .scenarios import scenarios
from .truth import Changeover, Statement

__all__ = ["Changeover", "Fault", "Plant", "Result", "Scenario", "Sequence", "Statement",
           "run", "scenarios", "write"]
