"""Twin runs: the library's plants with and without their economizer, against what is stated.

    python tests/faults/measure_savings.py [--days 7] [--hand second|third]

prints for each plant the true saving, the stated one with its uncertainty, and at the end how many
lie within it and the mean miss. Other hands' plants are simulated over all of their days.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from importlib import import_module
from pathlib import Path

if __name__ == "__main__":
    here = Path(__file__).parent
    sys.path[:0] = [str(here), str(here.parent / "support"), str(here.parents[1])]

from plain_inputs import Inputs, case_from
from plants import BLIND, PLANTS

from fptlib.job.folder import Job
from fptlib.procedure import savings
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import interval_demand
from sample_trends.generator import Scenario, simulate
from sample_trends.generator.job_file import job_file
from sample_trends.generator.samples import BEFORE, SOUND, STORIES

# No request ever comes.
NEVER = 10**7


@dataclass(frozen=True)
class Twin:
    """A plant's test, what it truly saved against itself on chillers alone [kWh], and the highest
    quarter-hour of that by the clock [kW]."""

    test: FunctionalTest
    saved: float
    peak: float = math.nan


def twin(scenario: Scenario) -> Twin:
    """Both runs of a plant."""
    result = simulate(scenario)
    alone = simulate(replace(scenario, sequence=replace(scenario.sequence, dwell=NEVER)))
    more = alone.actual["plant_power"] - result.actual["plant_power"]
    text = job_file(scenario, STORIES["sound"])
    blocks = interval_demand(alone.actual["plant_power"].to_numpy(), 1.0, 15.0, "clock", 0.0)
    return Twin(case_from(Inputs(result.frame, 1, text, {}, [], [])), float(more.sum()) / 60.0,
                float(blocks.power.max()))


def of_sample(days: int) -> Iterator[tuple[str, Twin]]:
    """The plants of the sample's generator."""
    for each in (SOUND, BEFORE, *PLANTS, *BLIND):
        yield each.name, twin(replace(each, days=days))


def of_hand(name: str) -> Iterator[tuple[str, Twin]]:
    """The sound plants of another hand, each against itself with an endless enable delay, over all
    of its days."""
    hand = import_module(f"tests.hands.{name}")
    for scenario in (each for each in hand.scenarios() if not each.expected):
        made = hand.run(scenario)
        alone = hand.run(replace(
            scenario, sequence=replace(scenario.sequence, enable_delay=NEVER)))
        more = alone.states["plant_kw"] - made.states["plant_kw"]
        with tempfile.TemporaryDirectory() as folder:
            hand.write(made, Path(folder))
            test = assemble(Job(Path(folder)), keep=False)
        yield scenario.name, Twin(test, float(more.sum()) / 60.0)


@dataclass
class Tally:
    """Of twins whose saving was stated: which lay within its uncertainty, and how far it was off,
    as a share of the true saving."""

    inside: list[bool] = field(default_factory=list)
    misses: list[float] = field(default_factory=list)

    def add(self, pair: Twin) -> savings.Energy:
        """Count one pair; what was not compared counts as the rest."""
        found = savings.gained(pair.test)
        if found.kwh is not None and found.uncertainty is not None and found.known:
            stated = found.kwh * found.hours / found.known
            self.inside.append(abs(stated - pair.saved) <= found.uncertainty)
            if abs(pair.saved) > found.uncertainty:
                self.misses.append(stated / pair.saved - 1.0)
        return found

    @property
    def bias(self) -> float:
        """The mean miss."""
        return sum(self.misses) / len(self.misses)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--days", type=int, default=7)
    asked.add_argument("--hand", choices=("sample", "second", "third"), default="sample")
    given = asked.parse_args()
    tally = Tally()
    for name, pair in of_sample(given.days) if given.hand == "sample" else of_hand(given.hand):
        print(f"{name}: {pair.saved:,.0f} kWh in truth, stated {tally.add(pair)}", flush=True)
    print(f"{sum(tally.inside)} of {len(tally.inside)} within the uncertainty, mean miss "
          f"{100.0 * tally.bias:+.1f} %, largest {100.0 * max(map(abs, tally.misses)):.1f} %")


if __name__ == "__main__":
    main()
