"""Twin runs: the library's plants with and without their economizer, against what is stated.

    python tests/faults/measure_savings.py [--days 7] [--hand second]

prints for each plant the true saving, the stated one with its uncertainty, and at the end how many
lie within it and the mean miss. The second hand's plants are simulated over all of their days.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
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
from tests.hands import second
from tests.hands.second import job

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


def second_hand() -> Iterator[tuple[str, Twin]]:
    """The sound plants of the second hand, each against itself with an endless enable delay."""
    for scenario in (each for each in second.scenarios() if not each.expected):
        made = second.run(scenario)
        alone = second.run(replace(
            scenario, sequence=replace(scenario.sequence, enable_delay=NEVER)))
        more = alone.states["plant_kw"] - made.states["plant_kw"]
        with tempfile.TemporaryDirectory() as folder:
            job.write(made, Path(folder))
            test = assemble(Job(Path(folder)), keep=False)
        yield scenario.name, Twin(test, float(more.sum()) / 60.0)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--days", type=int, default=7)
    asked.add_argument("--hand", choices=("sample", "second"), default="sample")
    given = asked.parse_args()
    pairs = second_hand() if given.hand == "second" else (
        (each.name, twin(replace(each, days=given.days)))
        for each in (SOUND, BEFORE, *PLANTS, *BLIND))
    inside, misses = [], []
    for name, pair in pairs:
        found = savings.gained(pair.test)
        print(f"{name}: {pair.saved:,.0f} kWh in truth, stated {found}", flush=True)
        if found.kwh is not None and found.uncertainty is not None and found.known:
            # What was not compared counts as the rest.
            stated = found.kwh * found.hours / found.known
            inside.append(abs(stated - pair.saved) <= found.uncertainty)
            if abs(pair.saved) > found.uncertainty:
                misses.append(stated / pair.saved - 1.0)
    print(f"{sum(inside)} of {len(inside)} within the uncertainty, mean miss "
          f"{100.0 * sum(misses) / len(misses):+.1f} %, largest "
          f"{100.0 * max(map(abs, misses)):.1f} %")


if __name__ == "__main__":
    main()
