"""Simulated inputs of the golden file, kept below the system's temporary folder.

They are kept by a digest of everything that makes them, so that the checks alone can be run
again quickly, by everyone on one machine.
"""

from __future__ import annotations

import gzip
import hashlib
import os
import pickle
import tempfile
from collections.abc import Callable
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from faulty_case import Run
from plain_inputs import Inputs

from sample_trends.generator import at_interval, simulate
from sample_trends.generator.job_file import job_file
from sample_trends.generator.readings import usual_readings
from sample_trends.generator.samples import BEFORE, SOUND, STORIES

ROOT = Path(__file__).resolve().parents[2]
_SOURCES = (
    *sorted((ROOT / "sample_trends" / "generator").glob("*.py")),
    *(ROOT / "tests" / "faults" / f"{name}.py" for name in ("library", "plants", "faulty_case")),
    Path(__file__),
)
# Inputs, and when the simulated plant truly went over to the exchanger and back.
Made = tuple[Inputs, dict[str, list[pd.Timestamp]]]


def fault(name: str, plant: str, minutes: int) -> Made:
    """A fault (none: empty name) at a plant of the library."""

    def make(minutes: int) -> Made:
        run = _run(name, plant)
        return run.inputs(minutes), _moments(run.result)

    return _kept(f"{name or 'sound'}, {plant}", minutes, make)


def sample(name: str, minutes: int) -> Made:
    """A sample's plant as simulated, not as its files were read."""

    def make(minutes: int) -> Made:
        result = simulate({"sound": SOUND, "before": BEFORE}[name])
        frame = at_interval(result.frame, minutes) if minutes > 1 else result.frame
        moments = {time + pd.Timedelta(hours=4): "steady"
                   for time in _moments(result)["handover"][:2]}
        readings = [(r.time, r.point, r.value, r.unit, r.instrument, r.remark)
                    for r in usual_readings(result, moments)]
        job = job_file(result.scenario, STORIES[name])
        return Inputs(frame, minutes, job, readings=readings), _moments(result)

    return _kept(f"sample {name}", minutes, make)


@cache
def _run(name: str, plant: str) -> Run:
    return Run(name, plant)


def _moments(result: Any) -> dict[str, list[pd.Timestamp]]:
    return {kind: [event.time for event in result.events(kind)]
            for kind in ("request", "handover", "exit")}


def _kept(name: str, minutes: int, make: Callable[[int], Made]) -> Made:
    """What ``make`` gives, from the temporary folder where it is there already."""
    file = _folder() / f"{name}, {minutes} min.pickle.gz"
    if file.is_file():
        plain, moments = pickle.loads(gzip.decompress(file.read_bytes()))
        return Inputs(**plain), moments
    inputs, moments = make(minutes)
    plain = {field.name: getattr(inputs, field.name) for field in fields(inputs)}
    part = file.with_suffix(f".{os.getpid()}")
    part.write_bytes(gzip.compress(pickle.dumps((plain, moments)), 1))
    part.replace(file)
    return inputs, moments


@cache
def _folder() -> Path:
    digest = hashlib.sha256(f"{pd.__version__} {np.__version__}".encode())
    for path in _SOURCES:
        digest.update(path.read_bytes())
    folder = Path(tempfile.gettempdir()) / f"golden-inputs-{digest.hexdigest()[:16]}"
    folder.mkdir(exist_ok=True)
    return folder
