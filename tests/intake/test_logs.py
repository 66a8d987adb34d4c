"""Long logs of any order and length give what a plain loop over sorted samples gives."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fptlib.trends import long
from fptlib.trends.grid import Grid
from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends

NAMES = {"CHWS": "chw_supply_temp", "CHWR": "chw_return_temp", "CH1": "chiller_1_running"}


def log(seed: int, rows: int = 3000) -> pd.DataFrame:
    """Samples at uneven times, one in twenty of them bad."""
    dice = np.random.default_rng(seed)
    times = pd.Timestamp("2026-01-05") + pd.to_timedelta(dice.integers(0, 3 * 86_400, rows), "s")
    point = dice.choice(list(NAMES), rows)
    value = np.where(point == "CH1", dice.integers(0, 2, rows).astype(float),
                     np.round(dice.uniform(40, 60, rows), 2))
    text = np.where(dice.random(rows) < 0.05, "Bad", value.astype(str))
    frame = pd.DataFrame({"Time": times, "Point": point, "Value": text})
    return frame.drop_duplicates(["Time", "Point"]).sort_values("Time", kind="stable")


def expected(samples: pd.DataFrame, name: str, index: pd.DatetimeIndex, rows: int) -> np.ndarray:
    """The plain loop: the last sample of each minute, held for so many rows."""
    mine = samples[samples["Point"] == name]
    last = {t.floor("min"): v for t, v in zip(mine["Time"] + pd.Timedelta(seconds=3),
                                              mine["Value"], strict=True)}
    out, value, age = [], np.nan, rows
    for time in index.tz_localize(None):
        if time in last:
            value, age = (np.nan if last[time] == "Bad" else float(last[time])), 0
        out.append(value if age < rows else np.nan)
        age += 1
    return np.array(out)


def read(folder: Path, samples: pd.DataFrame, hold: float) -> Grid:
    samples.to_csv(folder / "log.csv", index=False)
    return read_trends(folder, PointMap.from_answers({
        "site": {"time_zone": "America/Denver"},
        "files": {"log.csv": {"form": "long", "hold": hold}},
        "points": {point: {"file": "log.csv", "column": name, "unit": "on/off" if name == "CH1"
                           else "degF"} for name, point in NAMES.items()},
    }))


@pytest.mark.parametrize("order", ["by time", "by point", "shuffled", "newest first"])
@pytest.mark.parametrize("piece", [2_000, 1 << 22])
def test_any_order(order: str, piece: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(long, "_PIECE", piece)
    samples = log(7)
    written = {
        "by time": samples,
        "by point": samples.sort_values("Point", kind="stable"),
        "shuffled": samples.sample(frac=1.0, random_state=1),
        "newest first": samples.iloc[::-1],
    }[order]
    trends = read(tmp_path, written, hold=0.5)
    for name, point in NAMES.items():
        wanted = expected(samples, name, trends.frame.index, 30)
        np.testing.assert_array_equal(trends.frame[point].to_numpy(), wanted)
    said = " ".join(remark.text for remark in trends.remarks)
    assert ("out of order" in said) == (order in ("shuffled", "newest first"))


def test_alarm_of_seconds_is_not_lost(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("""Time,Point,Value
2026-01-05 10:00:00,ALM,Normal
2026-01-05 10:02:10,ALM,High head pressure
2026-01-05 10:02:40,ALM,Normal
2026-01-05 10:05:00,ALM,Normal
""")
    trends = read_trends(tmp_path, PointMap.from_answers({
        "site": {"time_zone": "America/Denver"},
        "files": {"log.csv": {"form": "long", "hold": 1}},
        "points": {"chiller_1_alarm": {"file": "log.csv", "column": "ALM"}}}))
    assert trends.frame["chiller_1_alarm"].iloc[2] == 1.0
    assert [(f"{a.time:%H:%M:%S}", a.text) for a in trends.alarms] == [
        ("10:02:10", "High head pressure")]


def test_the_repeated_hour_across_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(long, "_PIECE", 120)
    utc = pd.date_range("2025-11-02 06:00", "2025-11-02 10:00", freq="5min", tz="UTC")
    local = utc.tz_convert("America/Denver")
    rows = [f"{t:%Y-%m-%d %H:%M:%S},CHWS,{44 + i / 10:.1f}" for i, t in enumerate(local)]
    (tmp_path / "log.csv").write_text("Time,Point,Value\n" + "\n".join(rows) + "\n")
    trends = read_trends(tmp_path, PointMap.from_answers({
        "site": {"time_zone": "America/Denver"}, "files": {"log.csv": {"form": "long"}},
        "points": {"chw_supply_temp": {"file": "log.csv", "column": "CHWS", "unit": "degF"}}}))
    assert list(trends.frame.index) == list(local)
    assert np.allclose(trends.frame["chw_supply_temp"], 44 + np.arange(len(utc)) / 10)


def test_progress_runs_from_start_to_end(tmp_path: Path) -> None:
    shares: list[float] = []
    samples = log(1)
    samples.to_csv(tmp_path / "log.csv", index=False)
    read_trends(tmp_path, PointMap.from_answers({
        "site": {"time_zone": "America/Denver"},
        "files": {"log.csv": {"form": "long", "hold": 1}},
        "points": {"chw_supply_temp": {"file": "log.csv", "column": "CHWS", "unit": "degF"}},
    }), lambda share, text: shares.append(share))
    assert shares == sorted(shares) and shares[-1] == 1.0 and 0 <= shares[0] <= 1
