"""Twin runs: the library's plants with and without their economizer, against what is stated.

    python tests/faults/measure_savings.py [--days 7]

prints for each plant the true saving, the stated one with its uncertainty, and at the end how many
lie within it and the mean miss.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

if __name__ == "__main__":
    here = Path(__file__).parent
    sys.path[:0] = [str(here), str(here.parent / "support"), str(here.parents[1])]

from plain_inputs import Inputs, case_from
from plants import BLIND, PLANTS

from fptlib.procedure import savings
from fptlib.procedure.functional_test import FunctionalTest
from sample_trends.generator import Scenario, simulate
from sample_trends.generator.job_file import job_file
from sample_trends.generator.samples import BEFORE, SOUND, STORIES

# No request ever comes.
NEVER = 10**7


@dataclass(frozen=True)
class Twin:
    """A plant's test, and what it truly saved against itself on chillers alone [kWh]."""

    test: FunctionalTest
    saved: float


def twin(scenario: Scenario) -> Twin:
    """Both runs of a plant."""
    result = simulate(scenario)
    alone = simulate(replace(scenario, sequence=replace(scenario.sequence, dwell=NEVER)))
    more = alone.actual["plant_power"] - result.actual["plant_power"]
    text = job_file(scenario, STORIES["sound"])
    return Twin(case_from(Inputs(result.frame, 1, text, {}, [], [])), float(more.sum()) / 60.0)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--days", type=int, default=7)
    days = asked.parse_args().days
    inside, misses = [], []
    for scenario in (SOUND, BEFORE, *PLANTS, *BLIND):
        pair = twin(replace(scenario, days=days))
        found = savings.gained(pair.test)
        print(f"{scenario.name}: {pair.saved:,.0f} kWh in truth, stated {found}", flush=True)
        if found.kwh is not None and found.uncertainty is not None:
            inside.append(abs(found.kwh - pair.saved) <= found.uncertainty)
            misses.append(found.kwh / pair.saved - 1.0)
    print(f"{sum(inside)} of {len(inside)} within the uncertainty, mean miss "
          f"{100.0 * sum(misses) / len(misses):+.1f} %, largest "
          f"{100.0 * max(map(abs, misses)):.1f} %")


if __name__ == "__main__":
    main()
