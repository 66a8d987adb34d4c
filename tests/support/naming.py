"""Trend files under several ways of naming: the truth of each column, its values from the invented
plant of three chillers, and how many of the proposals are right."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from plants import BLIND

from fptlib import points, units
from sample_trends.generator import at_interval, simulate

FOLDER = Path(__file__).resolve().parents[1] / "data" / "naming"
CONVENTIONS = sorted(path.stem for path in FOLDER.glob("*.txt"))
# The plan's answers that every job has before its files are looked at, as the first page asks.
SITE = {"site": {"time_zone": "America/Boise", "altitude": 5300.0}}


@dataclass(frozen=True)
class Named:
    """A column: its header, the points it may rightly be proposed as ("" for none), its unit."""

    header: str
    truths: tuple[str, ...]
    unit: str
    source: str

    @property
    def wanted(self) -> str:
        """The point that must be found, or "" where there is none or none is a fair answer."""
        return "" if "" in self.truths else self.truths[0]


def convention(name: str) -> list[Named]:
    found = []
    for line in (FOLDER / f"{name}.txt").read_text(encoding="utf-8").splitlines():
        if not line.startswith("#"):
            truth, unit, header = (part.strip() for part in line.split(";"))
            for n in (1, 2, 3) if "{" in line else (0,):
                truths = truth.format(n=n).split("|")
                found.append(Named(
                    header.format(n=n, l="_ABC"[n]),
                    tuple("" if each.startswith("-") else each for each in truths), unit,
                    f"{truths[0]}#{n}"))
    return found


@cache
def plant() -> pd.DataFrame:
    """Six days of a sound plant with three chillers, three cells and an exchanger."""
    frame = at_interval(simulate(replace(BLIND[0], days=6)).frame, 5)
    # Of constant-speed pumps: the generator trends no chiller's own flow.
    return frame.assign(**{f"chiller_{n}_{side}_flow": gpm * frame[f"chiller_{n}_running"]
                           for n in (1, 2, 3) for side, gpm in (("chw", 480.0), ("cw", 720.0))})


def written(name: str, folder: Path) -> list[Named]:
    """Write a convention's columns as one file; the units row only where no header has one."""
    columns = convention(name)
    frame = pd.DataFrame({each.header: _cells(each, name) for each in columns})
    lines = ["Time," + ",".join(f'"{each.header}"' for each in columns)]
    if name == "trade_1_hyphens":
        lines.append("," + ",".join(each.unit for each in columns))
    stamps = plant().index.tz_localize(None).strftime("%Y-%m-%d %H:%M")
    body = frame.to_csv(header=False, index=False, lineterminator="\n").splitlines()
    lines += [f"{stamp},{row}" for stamp, row in zip(stamps, body, strict=True)]
    (folder / "plant.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return columns


def _cells(each: Named, name: str) -> np.ndarray | list[str]:
    truth, number = each.source.split("#")
    values = np.round(_values(truth, int(number), each.unit), 5)
    if each.unit == "words":
        on, off = ("Alarm", "Normal") if truth.endswith("alarm") else ("On", "Off")
        return np.where(values > 0.5, on, off)
    return values


def _values(truth: str, number: int, unit: str) -> np.ndarray:
    frame = plant()
    truth = truth.replace("chiller_4", "chiller_3")
    if truth in frame:
        values = frame[truth].to_numpy(float)
        wanted = points.point(truth).unit
        if unit == "psig":
            return values - 12.1
        return units.scale(unit, wanted, truth).back(values) if unit and unit != "words" else values
    dice = np.random.default_rng(abs(hash_of(truth)) + number)
    noise, hours = dice.normal(0, 1, len(frame)), np.arange(len(frame)) / 12.0
    on = frame[f"chiller_{max(number, 1)}_running"].to_numpy(float)
    drawn = {
        "room_temp": 72 + 0.5 * noise, "room_humidity": 40 + 2 * noise, "humid_air": 45 + noise,
        "supply_air": 55 + 0.5 * noise, "mixed_air": frame["outdoor_dry_bulb"] * 0.4 + 42,
        "oil_temp": 100 + 20 * on + noise, "oil_pressure": 25 * on + 0.1 * noise,
        "hot_water": 140 + noise, "saturated": frame["cw_return_temp"] + 3,
        "chiller_chw_entering": frame["chw_return_temp"] + 0.05 * noise,
        "own_setpoint": 44 + 0 * hours, "dewpoint": frame["outdoor_wet_bulb"] - 8,
        "delta": 8 + noise, "speed": 60 + 5 * noise, "hertz": 45 + noise, "valve": 40 + 10 * noise,
        "share": 50 + 5 * noise, "rated_load": 60 * on, "level": 9 + 0.1 * noise,
        "basin_level": 9 + 0.1 * noise, "makeup": np.abs(20 + 5 * noise),
        "air_flow": 8000 + 300 * noise, "own_dp": 12 + 0.2 * noise,
        "pump_power": 12 + 0.2 * noise, "pump_watts": 12_000 + 200 * noise,
        "fan_watts": 9_000 + 300 * noise, "chillers_power": frame[[f"chiller_{n}_power" for n in
                                                                   (1, 2, 3)]].sum(axis=1),
        "chillers_heat": 900_000 * on, "efficiency": 0.6 + 0.02 * noise, "hours": 4000 + hours,
        "energy": 90_000 + 60 * hours, "running": on, "mode": np.floor(hours / 9) % 4,
        # Points that the invented plant does not trend.
        "basin_temp": frame["cw_supply_temp"] - 0.3, "basin_heater_running": (hours % 24) < 4,
        "hx_chw_pressure_drop": 4 + 0.2 * noise, "hx_cw_pressure_drop": 6 + 0.2 * noise,
        "chw_valve_position": 80 + 5 * noise, "heating_load": 60 + 5 * noise,
        "ahu_fan_running": (hours % 24) > 5, "ahu_return_temp": 73 + 0.5 * noise,
        "ahu_mixed_temp": frame["outdoor_dry_bulb"] * 0.4 + 42,
        "ahu_discharge_temp": 55 + 0.5 * noise, "ahu_outdoor_damper": 50 + 10 * noise,
        "ahu_cooling_valve": 40 + 10 * noise,
    }[re.sub(r"_\d+", "", truth.removeprefix("-"))]
    values = np.asarray(drawn, dtype=float)
    scale = {"degC": lambda f: (f - 32) / 1.8, "kg/s": lambda g: g / 15.85,
             "fraction": lambda p: p / 100, "MBtu/h": lambda tons: 12 * tons}.get(
                 unit, lambda same: same)
    return scale(values)


def hash_of(text: str) -> int:
    """The same number on every machine and in every run."""
    return sum(ord(letter) * (at + 1) for at, letter in enumerate(text))


@dataclass(frozen=True)
class Score:
    """How many proposals are right, wrong, and how many points were not found."""

    right: int
    wrong: tuple[str, ...]
    missed: tuple[str, ...]

    @property
    def precision(self) -> float:
        return self.right / max(self.right + len(self.wrong), 1)

    @property
    def recall(self) -> float:
        return self.right / max(self.right + len(self.missed), 1)


def score(columns: Iterable[Named], proposed: Mapping[str, tuple[str, str]]) -> Score:
    """``proposed``: by header the point and the unit."""
    right, wrong, missed = 0, [], []
    for each in columns:
        point, unit = proposed.get(each.header, ("", ""))
        truth_unit = each.unit if each.unit != "words" else ""
        # A percentage is one thing in two spellings; a status has no unit.
        same = unit == truth_unit or not truth_unit and unit in ("on/off", "alarm")
        if point and point in each.truths and same:
            right += 1
        elif point:
            wrong.append(f"{each.header}: {point} [{unit}], is {each.truths} [{truth_unit}]")
        if each.wanted and not (point in each.truths and same):
            missed.append(f"{each.header}: {each.wanted}, got {point or 'nothing'} [{unit}]")
    return Score(right, tuple(wrong), tuple(missed))
