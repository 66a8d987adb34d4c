"""The cases of the golden file: samples, real jobs, the fault library, gaps and missing points."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import cache, partial
from itertools import cycle
from pathlib import Path

import golden_inputs as made
import numpy as np
import pandas as pd
from intake_plant import JOBS, REAL, SHARED
from library import FAULTS, INTERVALS
from plain_inputs import Inputs, case_from
from plants import PLANTS

from fptlib.job.folder import Job
from fptlib.job.start import SAMPLES, start, start_sample
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from sample_trends.generator.record import names
from sample_trends.generator.samples import SOUND

Making = Callable[[], FunctionalTest]
BASE, *OTHERS = [plant.name for plant in PLANTS]
NAMES = ("", *(entry.name for entry in FAULTS))
# Half of the gap put around a transition.
_HALF_GAP = pd.Timedelta(minutes=20)
_SCATTERED = 0.02


class Absent(Exception):
    """A file that a case needs is not on this machine."""


@cache
def families() -> dict[str, dict[str, Making]]:
    """What makes each case, by family and name; nothing is made yet."""
    library = {f"faults_{minutes}": {name or "sound": partial(_fault, name, BASE, minutes)
                                     for name in NAMES} for minutes in INTERVALS}
    return {
        "samples": {name: partial(_job, partial(start_sample, sample=name)) for name in SAMPLES},
        "real": {
            **{name: partial(_real, name) for name in REAL},
            "four_chiller_plant, own wet bulb": partial(
                _real, "four_chiller_plant", ("points.outdoor_wet_bulb",)),
        },
        **library,
        "plants": _plants(),
        "gaps": _gaps(),
        "gaps_in_faults": {
            f"{kind}, {name or 'sound'}": partial(_gap_in_fault, kind, name)
            for name in NAMES for kind in ("transition", "rows")},
        "points": {name: partial(_without, name) for name in names(SOUND.design)},
    }


def _job(start_in: Callable[[Path], Job], seconds: tuple[str, ...] = ()) -> FunctionalTest:
    """A job's case from its files; for points in ``seconds`` their second column is taken."""
    with tempfile.TemporaryDirectory() as folder:
        job = start_in(Path(folder) / "job")
        for point in seconds:
            job.put(point, dict(job.get(f"{point}.second")))
        return assemble(job, keep=False, fresh=True)


def _real(name: str, seconds: tuple[str, ...] = ()) -> FunctionalTest:
    for file in REAL[name]:
        if not (SHARED / file).is_file():
            raise Absent(f"{file} is not in the shared folder (set FPTLIB_SHARED)")

    def start_in(folder: Path) -> Job:
        job = start(folder, name)
        for file in REAL[name]:
            (job.trends_folder / Path(file).name).write_bytes((SHARED / file).read_bytes())
        job.file.write_bytes((JOBS / name / "job.toml").read_bytes())
        return job

    return _job(start_in, seconds)


def _fault(name: str, plant: str, minutes: int) -> FunctionalTest:
    return case_from(made.fault(name, plant, minutes)[0])


def _plants() -> dict[str, Making]:
    """The sound plants, and each fault at one of them in turn, as the fault matrix has it."""
    turns = [(entry.name, plant) for entry, plant in zip(FAULTS, cycle(OTHERS), strict=False)]
    return {f"{name or 'sound'}, {plant}": partial(_fault, name, plant, 1)
            for name, plant in (*(("", plant) for plant in OTHERS), *turns)}


def _gaps() -> dict[str, Making]:
    """Both samples, at two row lengths, with every kind of gap in them."""
    return {f"{kind}, {name}, {minutes} min": partial(_gap_in_sample, kind, name, minutes)
            for name in SAMPLES for minutes in (1, 5) for kind in _KINDS}


def _gap_in_sample(kind: str, name: str, minutes: int) -> FunctionalTest:
    return _gap(kind, *made.sample(name, minutes))


def _gap_in_fault(kind: str, name: str) -> FunctionalTest:
    return _gap(kind, *made.fault(name, BASE, 5))


def _gap(kind: str, inputs: Inputs, moments: dict[str, list[pd.Timestamp]]) -> FunctionalTest:
    return case_from(inputs.on(_KINDS[kind](inputs.table.astype(float), moments)))


def _around(event: str, table: pd.DataFrame, moments: dict[str, list[pd.Timestamp]]
            ) -> pd.DataFrame:
    """Forty minutes without any value, around the first event of that kind."""
    for moment in moments[event][:1]:
        table.loc[moment - _HALF_GAP : moment + _HALF_GAP - pd.Timedelta(seconds=1)] = np.nan
    return table


def _rows(table: pd.DataFrame, moments: object) -> pd.DataFrame:
    """Single rows without any value, scattered."""
    gone = np.random.default_rng(11).random(len(table)) < _SCATTERED
    table[gone] = np.nan
    return table


def _cells(table: pd.DataFrame, moments: object) -> pd.DataFrame:
    """Single values missing, scattered, each point on its own."""
    return table.mask(np.random.default_rng(12).random(table.shape) < _SCATTERED)


def _cut(table: pd.DataFrame, moments: dict[str, list[pd.Timestamp]]) -> pd.DataFrame:
    """The trends end in the middle of the second run."""
    handover, leave = moments["handover"][1], moments["exit"][1]
    return table[: handover + (leave - handover) / 2]


def _begun(table: pd.DataFrame, moments: dict[str, list[pd.Timestamp]]) -> pd.DataFrame:
    """The trends begin in the middle of the first run."""
    handover, leave = moments["handover"][0], moments["exit"][0]
    return table[handover + (leave - handover) / 2 :]


_KINDS: dict[str, Callable[..., pd.DataFrame]] = {
    "request": partial(_around, "request"), "transition": partial(_around, "handover"),
    "exit": partial(_around, "exit"), "rows": _rows, "cells": _cells, "cut": _cut,
    "begun": _begun,
}


def _without(point: str) -> FunctionalTest:
    inputs = made.sample("sound", 5)[0]
    return case_from(inputs.on(inputs.table.drop(columns=point)))
