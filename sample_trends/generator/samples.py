"""The two committed samples: a sound plant, and the same plant before its correction."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from sample_trends.generator.epw import write_epw
from sample_trends.generator.job_file import TECHNICIAN, Story, job_file
from sample_trends.generator.readings import write_readings
from sample_trends.generator.run import Result, simulate
from sample_trends.generator.scenario import Scenario
from sample_trends.generator.trend_files import write_trends

_SEED = 41
SOUND = Scenario(name="sound", seed=_SEED)
BEFORE = replace(SOUND, name="before")
WEATHER_FILE = "fable_valley_invented.epw"

_CONDITIONS = "load 290 to 320 tons, wet bulb 38 to 40 degF, two cells, fans at 100 %, steady"
_SOUND_STORY = Story(
    title="Fable Valley Hospital (invented): economizer changeover, after correction",
    number="INV-0002",
    created="2026-01-09T16:00:00Z",
    limits={
        "lift.offset": (
            4.5, "the sequence asks for at least 4.5 degF; the condenser range adds the rest"
        ),
    },
    tower_approach=f"observed with the trended sensors on 3 January 2026: {_CONDITIONS}",
    exchanger_approach=(
        "observed with the trended sensors on 3 January 2026: load 240 to 300 tons, steady"
    ),
    overrides=(
        {
            "point": "chiller_2_running", "value": "held off for the point-to-point check",
            "placed": "2026-01-08T14:05:00-07:00", "released": "2026-01-08T14:40:00-07:00",
            "readback": "automatic",
        },
    ),
    marks=(
        {"time": "2026-01-11T22:37:00-07:00", "what": "request seen", "by": TECHNICIAN},
    ),
)
_SOUND_MOMENTS = {
    "2026-01-10 11:00": "chiller mode steady",
    "2026-01-14 10:00": "economizer run steady",
    "2026-01-20 15:00": "economizer run steady",
}


def write_samples(folder: Path) -> None:
    """Write both samples below ``folder``."""
    _write(simulate(SOUND), _SOUND_STORY, _SOUND_MOMENTS, folder / "sound")


def _write(result: Result, story: Story, moments: dict[str, str], folder: Path) -> None:
    write_trends(result.frame, folder / "trends")
    write_epw(folder / "trends" / WEATHER_FILE, result.scenario.site, _SEED)
    write_readings(result, moments, TECHNICIAN, folder / "readings.csv")
    (folder / "job.toml").write_bytes(job_file(result.scenario, story).encode("utf-8"))
