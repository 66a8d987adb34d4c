"""Any frame written in any form that is read comes back equal."""

from __future__ import annotations

import gzip
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_cases import ZONE, parquet_bytes, workbook, zipped

from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends

POINTS = {"chw_supply_temp": "degF", "outdoor_humidity": "%RH", "chiller_1_running": "on/off"}
STAMPS: dict[str, Callable[[pd.Timestamp], str]] = {
    "year first": lambda t: t.strftime("%Y-%m-%d %H:%M:%S"),
    "month first": lambda t: t.strftime("%m/%d/%Y %I:%M:%S %p"),
    "day first": lambda t: t.strftime("%d.%m.%Y %H:%M:%S"),
    "word": lambda t: t.strftime("%d-%b-%y %H:%M:%S"),
    "zoned": lambda t: t.strftime("%Y-%m-%dT%H:%M:%S-07:00"),
}


@st.composite
def frames(draw: st.DrawFn) -> pd.DataFrame:
    """Two measured columns and a status, with gaps, on the clock of -07:00."""
    rows = draw(st.integers(3, 25))
    minutes = draw(st.sampled_from([1, 5, 10, 15, 60]))
    start = pd.Timestamp("2026-01-01") + pd.Timedelta(hours=draw(st.integers(0, 8000)))
    number = st.one_of(st.floats(32.0, 88.0).map(lambda x: round(x, 4)), st.just(float("nan")))
    status = st.sampled_from([0.0, 1.0, float("nan")])
    values = {
        name: draw(st.lists(status if unit == "on/off" else number, min_size=rows, max_size=rows))
        for name, unit in POINTS.items()
    }
    return pd.DataFrame(values, index=pd.date_range(start, periods=rows, freq=f"{minutes}min"))


def cell(value: float, decimal: str) -> str:
    return "" if np.isnan(value) else repr(float(value)).replace(".", decimal)


def delimited(frame: pd.DataFrame, stamp: str, delimiter: str, decimal: str, title: str) -> str:
    lines = [delimiter.join(["Time", *frame.columns])]
    for time, row in zip(frame.index, frame.to_numpy(), strict=True):
        lines.append(delimiter.join([STAMPS[stamp](time), *(cell(v, decimal) for v in row)]))
    return title + "\n".join(lines) + "\n"


def long(frame: pd.DataFrame, stamp: str) -> str:
    lines = ["Time,Point,Value"]
    for time, row in zip(frame.index, frame.to_numpy(), strict=True):
        lines += [f"{STAMPS[stamp](time)},{name},{cell(v, '.')}"
                  for name, v in zip(frame.columns, row, strict=True)]
    return "\n".join(lines) + "\n"


def written(frame: pd.DataFrame, form: str, stamp: str, title: str) -> tuple[str, bytes]:
    """File name and bytes."""
    comma = delimited(frame, stamp, ",", ".", title)
    if form == "workbook":
        rows = [[t.to_pydatetime(), *(None if np.isnan(v) else float(v) for v in row)]
                for t, row in zip(frame.index, frame.to_numpy(), strict=True)]
        return "t.xlsx", workbook([["Time", *frame.columns], *rows])
    if form == "parquet":
        columns = {name: pa.array(frame[name].to_numpy(), from_pandas=True) for name in frame}
        return "t.parquet", parquet_bytes({"Time": pa.array(frame.index.to_numpy()), **columns})
    content = {
        "comma": lambda: comma.encode(),
        "semicolon": lambda: delimited(frame, stamp, ";", ",", title).encode(),
        "tab": lambda: delimited(frame, stamp, "\t", ".", title).encode("utf-8-sig"),
        "utf-16": lambda: comma.encode("utf-16"),
        "gzip": lambda: gzip.compress(comma.encode()),
        "zip": lambda: zipped({"in/t.csv": comma.replace("\n", "\r\n").encode()}),
        "long": lambda: long(frame, stamp).encode(),
    }[form]()
    return "t.csv", content


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(frame=frames(), stamp=st.sampled_from(list(STAMPS)), title=st.sampled_from(["", "Export\n"]),
       form=st.sampled_from(["comma", "semicolon", "tab", "utf-16", "gzip", "zip", "long",
                             "workbook", "parquet"]))
def test_round_trip(frame: pd.DataFrame, form: str, stamp: str, title: str) -> None:
    file, data = written(frame, form, stamp, title)
    stated = {"time_zone": "-07:00"}
    if stamp in ("day first", "month first"):
        stated["date_order"] = stamp
    if form == "semicolon":
        stated["decimal"] = ","
    if form == "long":
        stated |= {"form": "long", "point_column": "Point", "value_column": "Value"}
    minutes = (frame.index[1] - frame.index[0]).total_seconds() / 60.0
    answers = {
        "site": {"time_zone": ZONE, "step_minutes": minutes},
        "points": {name: {"file": file, "column": name, "unit": unit}
                   for name, unit in POINTS.items()},
        "files": {file: stated},
    }
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / file).write_bytes(data)
        trends = read_trends(Path(folder), PointMap.from_answers(answers))
    expected = frame.set_axis(
        (frame.index.tz_localize("UTC") + pd.Timedelta(hours=7)).tz_convert(ZONE).as_unit("ns"))
    pd.testing.assert_frame_equal(trends.frame, expected, check_freq=False, rtol=1e-12)
