"""A wrong point map is caught by physics and said."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from intake_plant import plant, trends_of

from fptlib.trends.plausibility import map_doubts, without_unusable

CELSIUS = ("outdoor_dry_bulb", "outdoor_wet_bulb", "chw_supply_setpoint", "cw_supply_temp")


def doubts(frame: pd.DataFrame) -> list[tuple[str, str]]:
    return [(remark.point, remark.text) for remark in map_doubts(trends_of(frame))]


def test_sound_plant_gives_none() -> None:
    assert doubts(plant()) == []


def test_no_points_gives_none() -> None:
    assert doubts(plant()[["outdoor_dry_bulb"]]) == []
    assert doubts(plant() * np.nan) == []


@pytest.mark.parametrize("cold, warm", [("chw_supply_temp", "chw_return_temp"),
                                        ("cw_supply_temp", "cw_return_temp")])
def test_supply_and_return_swapped(cold: str, warm: str) -> None:
    frame = plant()
    frame[[cold, warm]] = frame[[warm, cold]].to_numpy()
    assert any(point == cold and "may be swapped" in text for point, text in doubts(frame))


@pytest.mark.parametrize("name", CELSIUS)
def test_celsius_taken_as_fahrenheit(name: str) -> None:
    frame = plant()
    frame[name] = (frame[name] - 32.0) / 1.8
    found = doubts(frame)
    said = ("looks like °C", "above the dry bulb")
    assert any(words in text for _, text in found for words in said), found


@pytest.mark.parametrize("factor, said", [
    (1 / 60, "60 times"), (60, "1/60"), (1 / 15.85, "L/s read as gpm"),
    (1 / 4.403, "m3/h read as gpm"),
])
def test_flow_off_by_a_factor(factor: float, said: str) -> None:
    frame = plant()
    frame["chw_flow"] *= factor
    found = [r for r in map_doubts(trends_of(frame)) if r.severity == "unusable"]
    assert [r.point for r in found] == ["chw_flow"]
    assert said in found[0].text
    assert "chw_flow" not in without_unusable(trends_of(frame), found).columns


def test_load_in_the_wrong_unit_is_told_from_a_wrong_flow() -> None:
    frame = plant()
    frame["plant_load"] *= 12.0
    found = [r for r in map_doubts(trends_of(frame)) if r.severity == "unusable"]
    assert [r.point for r in found] == ["plant_load"]


def test_flow_a_little_off_is_a_doubt_only() -> None:
    frame = plant()
    frame["chw_flow"] *= 1.6
    assert {r.severity for r in map_doubts(trends_of(frame))} == {"doubt"}


def without(frame: pd.DataFrame, *names: str) -> pd.DataFrame:
    return frame.drop(columns=list(names))


def changed(name: str, how: Callable[[pd.Series], Any]) -> Callable[[pd.DataFrame], pd.DataFrame]:
    return lambda frame: frame.assign(**{name: how(frame[name])})


@pytest.mark.parametrize("change, point, said", [
    (lambda f: without(f, "plant_load").assign(chw_flow=f.chw_flow / 60), "chw_flow",
     "the chillers use 33 kW per ton"),
    (changed("cw_flow", lambda x: x / 15.85), "cw_flow", "L/s read as gpm"),
    (changed("outdoor_humidity", lambda x: x / 100), "outdoor_humidity", 'unit = "fraction"'),
    (changed("chiller_1_running", lambda x: 1 - x), "chiller_1_running", "may be inverted"),
    (changed("plant_power", lambda x: x * 1000), "plant_power", "times that of its chillers"),
    (changed("outdoor_wet_bulb", lambda x: x + 12), "outdoor_wet_bulb", "above the dry bulb"),
    (changed("outdoor_wet_bulb", lambda x: x.where(x.index < x.index[200], x.iloc[199])),
     "outdoor_wet_bulb", "frozen sensor"),
    (changed("outdoor_dry_bulb", lambda x: x.where(x.index < x.index[300], (x - 32) / 1.8)),
     "outdoor_dry_bulb", "look like degC where they were degF"),
    (changed("chw_flow", lambda x: x.where(x.index < x.index[300], x / 15.85)), "chw_flow",
     "look like L/s where they were gpm"),
], ids=lambda value: value if isinstance(value, str) else None)
def test_other_contradictions(change: Callable[[pd.DataFrame], pd.DataFrame], point: str,
                              said: str) -> None:
    found = doubts(change(plant()))
    assert any(name == point and said in text for name, text in found), found


def test_a_flow_that_changes_with_the_equipment_and_comes_back_changed_no_unit() -> None:
    def staged(flow: pd.Series) -> pd.Series:
        rows = np.arange(len(flow))
        return flow * np.where((rows >= 300) & (rows < 400), 0.2271, 1.0)

    assert not [text for name, text in doubts(changed("chw_flow", staged)(plant()))
                if name == "chw_flow" and "look like" in text]


@pytest.mark.parametrize("valve", [True, False])
def test_a_flow_throttled_by_its_valve_changed_no_unit(valve: bool) -> None:
    frame = plant()
    late = np.arange(len(frame)) >= 300
    frame["chw_flow"] *= np.where(late, 1 / 15.85, 1.0)
    frame["hx_valve"] = np.where(late & valve, 8.0, 100.0)
    said = [text for name, text in doubts(frame) if name == "chw_flow" and "look like" in text]
    assert bool(said) != valve


def test_gaps_do_not_hide_a_frozen_sensor() -> None:
    frame = plant()
    frame.iloc[100:300, frame.columns.get_loc("outdoor_dry_bulb")] = 50.0
    frame.iloc[150:160, frame.columns.get_loc("outdoor_dry_bulb")] = np.nan
    text = next(t for p, t in doubts(frame) if p == "outdoor_dry_bulb" and "frozen" in t)
    assert "stands at 50 °F for 17 h on end, from 2026-01-05 08:20" in text
