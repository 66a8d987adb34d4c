"""From a job folder to a case: where files and procedure meet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from fptlib.errors import JobError
from fptlib.job import answers as job_answers
from fptlib.job.folder import Job, lookup
from fptlib.job.schema import SINGLE_SPEED, Plant, Sensors
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.tariff import with_one_price
from fptlib.trends.grid import Grid, Remark


def assemble(job: Job, progress: Callable[[float, str], None] | None = None,
            keep: bool = True, fresh: bool = False) -> FunctionalTest:
    """Read everything a job holds and make a case of it.

    Trends come from the job's cache where it fits; with ``keep`` they are cached; with
    ``fresh`` they are read from the files whatever the cache holds, as a record needs it.

    Raises:
        JobError: an answer cannot be used.
        IntakeError: a trend file, its map or its values cannot be used.
    """
    answers = job.answers()
    plant = job_answers.plant(answers)
    sensors = job_answers.sensors(answers)
    # Imported where they are used: neither need wait for the other.
    if fresh:
        from fptlib.trends.mapping import PointMap
        from fptlib.trends.reading import read_trends

        trends = read_trends(job.trends_folder, PointMap.from_answers(answers), progress)
    else:
        from fptlib.trends.cache import cached_trends

        cache = job.folder / ".cache" / "trends"
        trends = cached_trends(job.trends_folder, cache, answers, keep, progress)
    return FunctionalTest(
        grid=with_fan_speeds(without_offsets(trends, sensors), plant),
        plant=plant,
        limits=job_answers.limits(answers),
        sensors=sensors,
        readings=job_answers.readings(job.readings_file, plant),
        instruments=job_answers.instruments(answers),
        marks=job_answers.marks(answers),
        sequence=job_answers.sequence(answers),
        tariff=with_one_price(job_answers.tariff(answers)),
        aborts=job_answers.aborts(answers),
        overrides=job_answers.overrides(answers),
        condition=job_answers.general(answers).condition,
        wet_bulb_source=job_answers.site(answers).wet_bulb_source,
        weather=_weather(job, answers),
    )


def without_offsets(trends: Grid, sensors: Sensors) -> Grid:
    """Trends with each sensor's stated offset (reading minus truth) taken off, and said."""
    offsets = {name: sensor.offset for name, sensor in sensors.stated.items()
               if sensor.offset and name in trends.columns}
    if not offsets:
        return trends
    corrected = {name: trends.columns[name] - offset for name, offset in offsets.items()}
    remarks = [Remark("note", f"offset of {offset:g} taken off, as the plan states", point=name)
               for name, offset in offsets.items()]
    return replace(trends, columns={**trends.columns, **corrected},
                   remarks=(*trends.remarks, *remarks))


def with_fan_speeds(trends: Grid, plant: Plant) -> Grid:
    """Trends with the speed [%] of single-speed fans by their status, where no speed is trended."""
    known = {f"tower_{n}_fan_speed": f"tower_{n}_fan_running"
             for n in range(1, plant.tower_cells + 1)
             if plant.fans == SINGLE_SPEED and trends.has(f"tower_{n}_fan_running")
             and not trends.has(f"tower_{n}_fan_speed")}
    if not known:
        return trends
    return replace(
        trends,
        columns={**trends.columns, **{
            speed: 100.0 * trends.columns[status] for speed, status in known.items()}},
        intervals={**trends.intervals, **{
            speed: trends.intervals[status] for speed, status in known.items()
            if status in trends.intervals}},
        remarks=(*trends.remarks, Remark(
            "note", f"speed of {len(known)} single-speed tower fans taken from their status")))


def _weather(job: Job, answers: job_answers.Answers) -> dict[str, np.ndarray] | None:
    name = lookup(answers, "site.weather_file")
    if not name:
        return None
    from fptlib.trends.weather import read_weather

    path = job.trends_folder / str(name)
    if path.parent != job.trends_folder or not path.is_file():
        raise JobError(f"job.toml, site.weather_file: there is no file '{name}' in trends/")
    return read_weather(path).columns
