"""The job.toml of an invented job, from its scenario."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sample_trends.generator.record import names
from sample_trends.generator.scenario import Scenario
from sample_trends.generator.trend_files import TIME_COLUMN, file_of, label

UNITS = {
    "temp": "degF", "bulb": "degF", "setpoint": "degF", "humidity": "%RH", "flow": "gpm",
    "power": "kW", "amps": "A", "speed": "%", "valve": "%", "load": "tons",
    "running": "on/off", "command": "on/off", "active": "on/off", "alarm": "alarm",
}
# Accuracy (half-width) and resolution of a matched, calibrated set; what is not named here
# keeps the standard's default accuracy.
_SENSORS = {"temp": (0.2, 0.1), "bulb": (0.3, 0.1), "humidity": (2.0, 0.1)}


@dataclass(frozen=True)
class Story:
    """What a job tells beside the plant: words only."""

    title: str
    number: str
    created: str
    limits: Mapping[str, tuple[float, str]]
    tower_approach: str
    exchanger_approach: str
    revision: str
    summary: str
    overrides: tuple[Mapping[str, Any], ...] = ()
    marks: tuple[Mapping[str, Any], ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)


# SHA-256 over the limits in force on both jobs, as the package freezes them. It is written
# here by hand, since nothing is imported from the package; a test there compares it.
_LIMITS_DIGEST = "3f674e5834527b78e4b338a27161b886f9ec0b4f9152fed12a45c265e24f495e"
TECHNICIAN = "Ivy Invented"
ENGINEER = "Max Madeup"
_HEAD = """\
# An invented job: site, town, plant, people, firms, instruments and trends do not exist.
# Written by sample_trends/generator; see sample_trends/README.md.
"""


def job_file(scenario: Scenario, story: Story) -> str:
    """The text of job.toml."""
    return _HEAD + "\n".join(
        text
        for part in (
            _job(story), _site(scenario), _plant(scenario), _approaches(scenario, story),
            _files(scenario), _points(scenario), _sensors(scenario), _limits(story),
            _people(), _frozen(story), _test(story), _instruments(story), _work(story),
        )
        for text in part
    )


def table(name: str, pairs: Mapping[str, Any]) -> str:
    """One TOML table."""
    lines = [f"{key} = {_value(value)}" for key, value in pairs.items()]
    return "\n".join([f"[{name}]", *lines, ""])


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return repr(value)


def _listed(name: str, rows: Iterable[Mapping[str, Any]]) -> list[str]:
    return [table(name, row).replace(f"[{name}]", f"[[{name}]]", 1) for row in rows]


def _job(story: Story) -> list[str]:
    return [table("job", {
        "title": story.title, "number": story.number, "procedure": "standard 2",
        "condition": "natural", "invented": True, "created": story.created,
    })]


def _site(scenario: Scenario) -> list[str]:
    return [table("site", {
        "name": "Fable Valley Hospital (invented)", "place": "Fable Valley (an invented town)",
        "altitude": scenario.site.altitude, "time_zone": scenario.site.time_zone,
        "weather_file": "fable_valley_invented.epw",
    })]


def _plant(scenario: Scenario) -> list[str]:
    design = scenario.design
    plant = table("plant", {
        "chillers": design.chillers, "tower_cells": design.tower_cells,
        "loop_volume": design.loop_volume, "sump_volume": design.sump_volume,
        "equipment_limit": design.equipment_limit, "base_load": 212.0 * design.scale,
        "demand_window": "clock",
    })
    return [plant, _exchanger(scenario), *(_chiller(scenario, n) for n in _count(scenario))]


def _count(scenario: Scenario) -> range:
    return range(1, scenario.design.chillers + 1)


def _exchanger(scenario: Scenario) -> str:
    scale = scenario.design.scale
    return table("plant.exchanger", {
        "tag": "HX-1", "load": 320.0 * scale, "chw_flow": 800.0 * scale,
        "cw_flow": 1050.0 * scale, "chw_entering": 57.6, "chw_leaving": 48.0,
        "cw_entering": 45.8, "cw_leaving": 53.1,
    })


def _chiller(scenario: Scenario, n: int) -> str:
    design = scenario.design
    return table(f"plant.chiller_{n}", {
        "tag": f"CH-{n}", "refrigerant": design.refrigerant, "capacity": design.capacity,
        "minimum_water_lift": design.minimum_lift, "cutout": design.cutout,
    })


def _approaches(scenario: Scenario, story: Story) -> list[str]:
    sequence = scenario.sequence
    return [
        table("plant.tower_approach", {
            "value": sequence.tower_approach, "basis": "observed",
            "remark": story.tower_approach,
        }),
        table("plant.exchanger_approach", {
            "value": sequence.exchanger_approach, "basis": "observed",
            "remark": story.exchanger_approach,
        }),
    ]


def _files(scenario: Scenario) -> list[str]:
    files = sorted({file_of(point) for point in names(scenario.design)})
    return [
        table(f'files."{name}"', {
            "time_column": TIME_COLUMN, "time_zone": scenario.site.time_zone, "stamps": "begin",
        })
        for name in files
    ]


def _points(scenario: Scenario) -> list[str]:
    return [
        table(f"points.{point}", {
            "file": file_of(point), "column": label(point), "unit": unit(point),
        })
        for point in names(scenario.design)
    ]


def unit(point: str) -> str:
    """The unit a point is trended in."""
    if point == "chw_diff_pressure":
        return "psi"
    return UNITS.get(point.rsplit("_", 1)[-1], "psia")


def _sensors(scenario: Scenario) -> list[str]:
    tables = []
    for point in names(scenario.design):
        kind = point.rsplit("_", 1)[-1]
        if kind not in _SENSORS:
            continue
        accuracy, resolution = _SENSORS[kind]
        tables.append(table(f"sensors.{point}", {"accuracy": accuracy, "resolution": resolution}))
    return tables


def _limits(story: Story) -> list[str]:
    return [
        table(f'limits."{name}"', {
            "value": value, "reason": reason, "author": ENGINEER, "date": story.created[:10],
        })
        for name, (value, reason) in story.limits.items()
    ]


def _people() -> list[str]:
    people = {
        "technician": (TECHNICIAN, "Paper Commissioning (invented), field technician"),
        "engineer": (ENGINEER, "Paper Commissioning (invented), senior engineer"),
        "witness": ("Wanda Nobody", "Fable Valley Hospital (invented), facility engineer"),
    }
    return [
        table(f"people.{role}", {"name": name, "firm_role": firm})
        for role, (name, firm) in people.items()
    ]


def _frozen(story: Story) -> list[str]:
    year = story.created[:4]
    return [table("frozen", {
        "limits": _LIMITS_DIGEST, "at": f"{year}-01-09T16:30:00+00:00", "by": TECHNICIAN,
    })]


def _test(story: Story) -> list[str]:
    return [table("test", {
        "revision": "1",
        "purpose": "show that the changeover into and out of economizer operation works",
        "requirement": "owner's requirements (invented), clause 4.2: no operator intervention "
                       "at changeover",
        "sequence": "sequence of operation (invented), clause 7",
        "sequence_revision": story.revision,
        "weather": "two winter weeks, clear nights and mild days",
        "initial_conditions": "plant in automatic, one chiller on, no alarm",
        "safe_state": "economizer command off, one chiller on at the reset setpoint",
        "returned_to_normal": f"{story.created[:4]}-01-24: plant in automatic, overrides released",
    })]


def _instruments(story: Story) -> list[str]:
    year = int(story.created[:4])
    rows = {
        "T1": ("Invented thermometer, immersion probe", "INV-0101", "-20 to 200 °F", 0.1, "degF"),
        "P1": ("Invented aspirated psychrometer", "INV-0102", "0 to 120 °F", 0.4, "degF"),
        "F1": ("Invented clamp-on flow meter", "INV-0103", "50 to 5000 gpm", 1.5, "% of reading"),
        "E1": ("Invented three-phase power meter", "INV-0104", "1 to 1000 kW", 0.5, "% of reading"),
    }
    return [
        table(f"instruments.{tag}", {
            "make_model": make, "serial": serial, "range": span, "accuracy": accuracy,
            "accuracy_unit": unit, "calibrated": f"{year - 1}-09-15", "due": f"{year}-09-15",
        })
        for tag, (make, serial, span, accuracy, unit) in rows.items()
    ]


_PREREQUISITES = (
    "Chillers, exchanger, towers and pumps started up; start-up reports filed",
    "Water balanced on both sides of the exchanger; balancing report filed",
    "Every point checked from the sensor to the trend",
    "Trends of every mapped point set up at one minute and running",
    "Minimum lift of the chillers stated by the manufacturer for these serial numbers",
)
_ABORTS: tuple[Mapping[str, Any], ...] = (
    {"text": "Chilled-water supply more than 4 °F above the reset setpoint for 10 minutes",
     "watched": "supply_above_reset", "side": "above", "limit": 4.0, "minutes": 10.0,
     "stop_within": 5.0},
    {"text": "Any chiller trip, surge or low-temperature alarm", "watched": "chiller_alarm",
     "stop_within": 5.0},
    {"text": "Condenser water below 36 °F", "watched": "cw_supply_temp", "side": "below",
     "limit": 36.0, "stop_within": 5.0},
    {"text": "Humidity of an operating suite above 60 %RH", "watched": "space_humidity",
     "side": "above", "limit": 60.0, "stop_within": 5.0},
    {"text": "Ice on a tower, or word from the hospital", "watched": "at the plant",
     "stop_within": 5.0},
)


def _work(story: Story) -> list[str]:
    done = [
        {"text": text, "done": True, "by": f"{TECHNICIAN}, {story.created[:10]}"}
        for text in _PREREQUISITES
    ]
    answers = [table(f"answers.{step}", {"remark": text}) for step, text in story.answers.items()]
    return [
        *_listed("prerequisites", done), *_listed("overrides", story.overrides),
        *_listed("abort", _ABORTS),
        *_listed("approvals", [
            {"role": role, "name": name, "at": story.created[:10]} for role, name in (
                ("owner", "Wanda Nobody"), ("engineer", ENGINEER))]),
        *_listed("marks", story.marks), *answers, table("findings", {"summary": story.summary}),
    ]
