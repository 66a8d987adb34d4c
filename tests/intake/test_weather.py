"""EPW weather files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fptlib.errors import IntakeError
from fptlib.trends.weather import read_weather

HEAD = ["LOCATION,Invented,XX,YYY,Made up,000000,40.0,-105.0,-7.0,1600.0", *["-"] * 7]


def lines(hours: int = 8760) -> list[str]:
    times = pd.date_range("2001-01-01" if hours == 8760 else "2000-01-01", periods=hours, freq="h")
    return [f"1999,{t.month},{t.day},{t.hour + 1},0,A7,{t.hour / 2:.1f},-5.0,50,83000" + ",0" * 25
            for t in times]


def write(folder: Path, rows: list[str], head: list[str] = HEAD) -> Path:
    path = folder / "invented.epw"
    path.write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")
    return path


def test_values_and_units(tmp_path: Path) -> None:
    weather = read_weather(write(tmp_path, lines()))
    assert weather.name == "Invented, XX, YYY"
    assert weather.altitude == pytest.approx(1600.0 / 0.3048)
    assert len(weather.sha256) == 64
    first = weather.frame.iloc[23]
    assert first["outdoor_dry_bulb"] == pytest.approx(11.5 * 1.8 + 32)
    assert first["outdoor_dew_point"] == pytest.approx(23.0)
    assert first["station_pressure"] == pytest.approx(83000 / 6894.757293168)
    assert weather.frame.index[23].hour == 23


def test_leap_year(tmp_path: Path) -> None:
    assert len(read_weather(write(tmp_path, lines(8784))).frame) == 8784


def test_missing_codes(tmp_path: Path) -> None:
    rows = lines()
    rows[5] = rows[5].replace("2.5,-5.0,50,83000", "99.9,99.9,999,999999")
    weather = read_weather(write(tmp_path, rows))
    assert np.isnan(weather.frame.iloc[5]).all()
    assert "1 hours without outdoor_dry_bulb" in weather.remarks[0].text


@pytest.mark.parametrize("change, said", [
    (lambda rows: rows[:-1], "8759 hours where a year of 8760 was expected"),
    (lambda rows: [*rows[:100], rows[101], rows[100], *rows[102:]], "row 109: found month 1, day"),
    (lambda rows: [*rows[:100], rows[100][:30], *rows[101:]], "row 109: "),
    (lambda rows: [*rows[:9], rows[9].replace("83000", "much"), *rows[10:]], "is no number"),
], ids=["an hour short", "out of order", "cut line", "text"])
def test_faults(change: Callable[[list[str]], list[str]], said: str, tmp_path: Path) -> None:
    with pytest.raises(IntakeError, match=said):
        read_weather(write(tmp_path, change(lines())))


def test_no_weather_file(tmp_path: Path) -> None:
    with pytest.raises(IntakeError, match="LOCATION was expected; this is no EPW file"):
        read_weather(write(tmp_path, lines(), ["Time,X"]))
    with pytest.raises(IntakeError, match="elevation 'high' is no number"):
        read_weather(write(tmp_path, lines(), [HEAD[0].replace("1600.0", "high"), *HEAD[1:]]))
    with pytest.raises(IntakeError, match="is not there"):
        read_weather(tmp_path / "absent.epw")
