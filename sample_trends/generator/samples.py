"""The two committed samples: a sound plant, and the same plant before its correction."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd

from sample_trends.generator.epw import write_epw
from sample_trends.generator.job_file import TECHNICIAN, Story, job_file
from sample_trends.generator.readings import usual_readings, write_readings
from sample_trends.generator.run import Result, simulate
from sample_trends.generator.scenario import Scenario, Sequence
from sample_trends.generator.tables import changeover_table, write_table
from sample_trends.generator.trend_files import write_trends

_SEED = 41
WEATHER_FILE = "fable_valley_invented.epw"

SOUND = Scenario(name="sound", seed=_SEED)
# A year earlier, in the same weather: nobody had thought about lift, return or exit.
BEFORE = Scenario(
    name="before",
    seed=_SEED,
    start="2025-01-10",
    sequence=Sequence(
        reset_cold=46.0, reset_warm=46.0,
        tolerance=0.5, dwell=10, rest=300, attempts_per_day=1,
        follow=False, fixed_temporary=43.0, handover_margin=1.0, handover_hold=10,
        return_rate=0.0, exchanger_opening=0.4, stop_spacing=2,
        exit_band=3.0, exit_delay=90,
    ),
)

_FULL = "load 290 to 320 tons, wet bulb 38 to 40 °F, two cells, fans at 100 %, steady"
_OFFSET = "the sequence asks for at least 4.5 °F; the condenser range adds the rest"


def _story(title: str, number: str, year: int, revision: str, summary: str) -> Story:
    return Story(
        title=f"Fable Valley Hospital (invented): economizer changeover, {title}",
        number=number,
        created=f"{year}-01-09T16:00:00Z",
        limits={"lift.offset": (4.5, _OFFSET)},
        tower_approach=f"observed with the trended sensors on 3 January {year}: {_FULL}",
        exchanger_approach=(
            f"observed with the trended sensors on 3 January {year}: load 240 to 300 tons, steady"
        ),
        revision=revision, summary=summary,
        overrides=(
            {
                "point": "chiller_2_running", "value": "held off for the point-to-point check",
                "placed": f"{year}-01-08T14:05:00-07:00",
                "released": f"{year}-01-08T14:40:00-07:00", "readback": "automatic",
                "by": "Ivy Invented", "reason": "points of chiller 2 were checked one by one",
            },
        ),
    )


STORIES = {
    "sound": _story("after correction", "INV-0002", 2026, "B, corrected",
                    "After the correction the plant changes over to the exchanger and back as "
                    "its sequence says; no check failed."),
    "before": _story("before correction", "INV-0001", 2025, "A",
                     "The setpoint has no reset and the plant changes over without margin or "
                     "delay; nothing keeps the chillers' lift, and chiller 2 tripped; the setpoint "
                     "comes back in one step and sets a demand peak; the plant stays on the "
                     "exchanger when the supply is too warm. What to change stands with each "
                     "deficiency."),
}
# Steady hours: day and hour, the same in both samples.
_MOMENTS = {
    "10 11:00": "chiller mode steady",
    "14 10:00": "economizer run steady",
    "20 15:00": "economizer run steady",
}


def write_samples(folder: Path) -> None:
    """Write both samples below ``folder``, and their tables into its README if it has one."""
    readme = folder / "README.md"
    for scenario in (SOUND, BEFORE):
        result = simulate(scenario)
        _write(result, folder / scenario.name)
        if readme.is_file():
            write_table(readme, scenario.name, changeover_table(result))


def _write(result: Result, folder: Path) -> None:
    scenario = result.scenario
    zone = result.frame.index.tz
    moments = {
        pd.Timestamp(f"{scenario.start[:8]}{day}", tz=zone): remark
        for day, remark in _MOMENTS.items()
    }
    write_trends(result.frame, folder / "trends")
    write_epw(folder / "trends" / WEATHER_FILE, scenario.site, _SEED)
    write_readings(usual_readings(result, moments), TECHNICIAN, folder / "readings.csv")
    first = result.events("request")[0].time.isoformat()
    mark = {"time": first, "what": "enable seen at the plant", "by": TECHNICIAN}
    text = job_file(scenario, replace(STORIES[scenario.name], marks=(mark,)))
    (folder / "job.toml").write_bytes(text.encode("utf-8"))
