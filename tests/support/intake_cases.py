"""Small trend files of every kind, each with its expected frame or its expected sentence."""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
from pyarrow import parquet

NAN = float("nan")
ZONE = "America/Denver"


@dataclass(frozen=True)
class Case:
    """Files, what the job states, and what must come out.

    ``expected`` is a frame as columns of values from ``start`` in steps of ``minutes``, or the
    sentence (or a part of it) that must be said.
    """

    name: str
    files: Mapping[str, bytes]
    points: Mapping[str, Mapping[str, Any]]
    expected: Mapping[str, Sequence[float]] | str
    stated: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    site: Mapping[str, Any] = field(default_factory=dict)
    start: str = "2026-01-05 10:00"
    minutes: float = 1.0
    said: tuple[str, ...] = ()

    @property
    def answers(self) -> dict[str, Any]:
        site = {"time_zone": ZONE, "altitude": 5000.0, **self.site}
        return {"site": site, "points": dict(self.points), "files": dict(self.stated)}

    def write(self, folder: Path) -> None:
        for name, data in self.files.items():
            (folder / name).write_bytes(data)

    def frame(self) -> pd.DataFrame:
        assert not isinstance(self.expected, str)
        length = len(next(iter(self.expected.values())))
        step = pd.Timedelta(minutes=self.minutes)
        begin = pd.Timestamp(self.start, tz=ZONE).tz_convert("UTC")
        index = pd.DatetimeIndex([begin + i * step for i in range(length)]).tz_convert(ZONE)
        index = index.as_unit("ns")
        return pd.DataFrame({k: np.array(v, float) for k, v in self.expected.items()}, index=index)


SUPPLY = {"file": "t.csv", "column": "CHWS", "unit": "degF"}
RETURN = {"file": "t.csv", "column": "CHWR", "unit": "degF"}
RUNNING = {"file": "t.csv", "column": "CH1"}
BOTH = {"chw_supply_temp": SUPPLY, "chiller_1_running": RUNNING}
GOOD = {"chw_supply_temp": [44.0, 44.5, 45.0], "chiller_1_running": [1.0, 1.0, 0.0]}
PLAIN = """Time,CHWS,CH1
2026-01-05 10:00:00,44,1
2026-01-05 10:01:00,44.5,1
2026-01-05 10:02:00,45,0
"""


def text(name: str, content: str, expected: Any = None, encoding: str = "utf-8",
         points: Mapping[str, Any] | None = None, **more: Any) -> Case:
    """A case of one delimited file ``t.csv``."""
    return Case(name, {"t.csv": content.encode(encoding)}, points or BOTH,
                GOOD if expected is None else expected, **more)


def one(name: str, rows: Sequence[str], expected: Any, unit: str = "degF",
        point: str = "chw_supply_temp", header: str = "Time,X", **more: Any) -> Case:
    """A case of one column ``X``; ``rows`` are the lines below the header."""
    source = {"file": "t.csv", "column": "X", **({"unit": unit} if unit else {})}
    source.update(more.pop("source", {}))
    content = "\n".join([header, *rows]) + "\n"
    if not isinstance(expected, str):
        expected = {point: expected}
    return Case(name, {"t.csv": content.encode()}, {point: source}, expected, **more)


def cells(values: Sequence[str], quote: bool = False) -> list[str]:
    """Lines at 10:00, 10:01 and on."""
    mark = '"' if quote else ""
    return [f"2026-01-05 10:{at:02d},{mark}{value}{mark}" for at, value in enumerate(values)]


def times(stamps: Sequence[str], quote: bool = False) -> list[str]:
    """Lines with values 44, 45 and on at these times."""
    mark = '"' if quote else ""
    return [f"{mark}{stamp}{mark},{44 + at}" for at, stamp in enumerate(stamps)]


def workbook(rows: Sequence[Sequence[Any]], sheets: Mapping[str, Sequence[Sequence[Any]]] | None
             = None) -> bytes:
    """An XLSX file with one sheet, or several."""
    book = openpyxl.Workbook()
    first = book.active
    assert first is not None
    for row in rows:
        first.append(list(row))
    for name, content in (sheets or {}).items():
        sheet = book.create_sheet(name)
        for row in content:
            sheet.append(list(row))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def zipped(members: Mapping[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", how) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def damaged(data: bytes, member: str) -> bytes:
    """A zip file with zeros over the last bytes of what it packs of one member."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        entry = archive.getinfo(member)
    end = entry.header_offset + 30 + len(member) + entry.compress_size
    return data[: end - 8] + b"\0" * 8 + data[end:]


def parquet_bytes(columns: Mapping[str, Any], names: Sequence[str] | None = None) -> bytes:
    """A Parquet file; ``names`` where some columns shall have the same."""
    out = io.BytesIO()
    parquet.write_table(pa.table(dict(columns)).rename_columns(names or list(columns)), out)
    return out.getvalue()


_AT = [datetime(2026, 1, 5, 10, minute) for minute in range(3)]
_LATER = [datetime(2026, 1, 5, 11) + timedelta(minutes=at) for at in range(2000)]
_SHEET = [["Time", "CHWS", "CH1"], *zip(_AT, (44.0, 44.5, 45.0), ("On", "On", "Off"), strict=True)]
_PARQUET = {"Time": pa.array(_AT), "CHWS": [44.0, 44.5, 45.0], "CH1": [True, True, False]}
_LONG_POINTS = {"chw_supply_temp": {"file": "t.csv", "column": "CHWS", "unit": "degF"},
                "chiller_1_running": {"file": "t.csv", "column": "CH1"}}
_LONG = """Time,Point,Value
2026-01-05 10:00,CHWS,44
2026-01-05 10:00,CH1,1
2026-01-05 10:01,CHWS,44.5
2026-01-05 10:01,CH1,1
2026-01-05 10:02,CHWS,45
2026-01-05 10:02,CH1,0
"""


def named(file: str) -> dict[str, dict[str, Any]]:
    """The two usual points in another file."""
    return {name: {**source, "file": file} for name, source in BOTH.items()}


FORMS = [
    text("plain comma", PLAIN),
    text("semicolon", PLAIN.replace(",", ";"), said=("delimiter semicolon",)),
    text("tab", PLAIN.replace(",", "\t"), said=("delimiter tab",)),
    text("pipe", PLAIN.replace(",", "|")),
    text("decimal comma", PLAIN.replace(",", ";").replace(".", ","), said=("decimal comma",)),
    text("decimal comma quoted", 'Time,CHWS,CH1\n2026-01-05 10:00,"44,0",1\n'
         '2026-01-05 10:01,"44,5",1\n2026-01-05 10:02,"45,0",0\n'),
    text("utf-8 with mark", PLAIN, encoding="utf-8-sig"),
    text("utf-16 with mark", PLAIN, encoding="utf-16", said=("encoding utf-16",)),
    text("utf-16 little endian without mark", PLAIN, encoding="utf-16-le"),
    text("utf-16 big endian without mark", PLAIN, encoding="utf-16-be"),
    text("windows-1252", PLAIN.replace("CHWS", "CHWS °F"), encoding="cp1252",
         points={**BOTH, "chw_supply_temp": {**SUPPLY, "column": "CHWS °F"}},
         said=("encoding cp1252",)),
    text("windows-1252 after a long plain part", "Time,CHWS,CH1,Remark\n" + "".join(
        f"2026-01-05 {10 + at // 60}:{at % 60:02d}:00,44,1,{'x' * 3000}\n" for at in range(100))
        + "2026-01-05 11:40:00,45,0,\u00fc\n2026-01-05 11:41:00,45,\u00fc\n",
        {"chw_supply_temp": [44.0] * 100 + [45.0], "chiller_1_running": [1.0] * 100 + [0.0]},
        encoding="cp1252", said=("read as windows-1252", "1 last lines")),
    text("windows line ends", PLAIN.replace("\n", "\r\n")),
    text("old line ends", PLAIN.replace("\n", "\r")),
    text("no last line end", PLAIN.rstrip("\n")),
    text("blank lines", PLAIN.replace("\n", "\n\n")),
    text("title lines", "Trend export\nCreated 2026-01-06\n\n" + PLAIN, said=("header in row 4",)),
    text("units in the header", PLAIN.replace("CHWS", "CHWS (°F)")),
    text("unit only in the header", PLAIN.replace("CHWS", "CHWS [degC]").replace("44,", "7,")
         .replace("44.5,", "7.5,").replace("45,", "8,"),
         {"chw_supply_temp": [44.6, 45.5, 46.4], "chiller_1_running": [1.0, 1.0, 0.0]},
         points={**BOTH, "chw_supply_temp": {"file": "t.csv", "column": "CHWS"}}),
    text("units in a second header line", PLAIN.replace("CH1\n", "CH1\n,°F,\n", 1),
         said=("units in row 2",)),
    text("header and map disagree", PLAIN.replace("CHWS", "CHWS (°C)"),
         said=("headed °C, the point map says degF",)),
    text("trailing totals", PLAIN + "Total,133.5,2\nAverage,44.5,0.67\n",
         said=("2 last rows ('Total') are no trend and were left out",)),
    text("trailing remark line", PLAIN + "End of report\n", said=("1 last lines",)),
    text("repeated header", PLAIN + "Time,CHWS,CH1\n2026-01-05 10:03:00,46,0\n",
         {"chw_supply_temp": [44.0, 44.5, 45.0, 46.0], "chiller_1_running": [1.0, 1.0, 0.0, 0.0]},
         said=("1 repeated header rows",)),
    text("empty rows of cells", PLAIN + ",,\n,,\n", said=("2 rows without a time",)),
    text("cut last line", PLAIN + "2026-01-05 10:0", said=("1 last lines",)),
    text("column of another name in other case", PLAIN.replace("CHWS", "chws")),
    Case("gzip", {"t.csv.gz": gzip.compress(PLAIN.encode())}, named("t.csv.gz"), GOOD),
    Case("zip", {"t.zip": zipped({"folder/t.csv": PLAIN.encode()})}, named("t.zip"), GOOD),
    Case("zip with two files", {"t.zip": zipped({"a.csv": PLAIN.encode(), "b.csv": b"x"})},
         named("t.zip"), 'file \'t.zip\' holds a.csv, b.csv; state the one to read as member'),
    Case("zip with the file stated", {"t.zip": zipped({"a.csv": PLAIN.encode(), "b.csv": b"x"})},
         named("t.zip"), GOOD, stated={"t.zip": {"member": "a.csv"}}),
    Case("workbook", {"t.xlsx": workbook(_SHEET)}, named("t.xlsx"), GOOD, said=("sheet 'Sheet'",)),
    Case("workbook with title lines", {"t.xlsx": workbook([["Trend export"], [], *_SHEET])},
         named("t.xlsx"), GOOD, said=("header in row 3",)),
    Case("workbook with serial dates", {"t.xlsx": workbook(
        [["Time", "CHWS", "CH1"], *[(46027.0 + 600 / 1440 + i / 1440, 44 + i / 2, int(i < 2))
                                    for i in range(3)]])}, named("t.xlsx"), GOOD,
         said=("spreadsheet serial",)),
    Case("workbook with two sheets", {"t.xlsx": workbook(_SHEET, {"Other": [["x", 1]]})},
         named("t.xlsx"), "workbook 't.xlsx' has 2 sheets with cells: Sheet, Other; state the one"),
    Case("workbook with the sheet stated", {"t.xlsx": workbook(_SHEET, {"Other": [["x", 1]]})},
         named("t.xlsx"), GOOD, stated={"t.xlsx": {"sheet": "Sheet"}}),
    Case("workbook with an error cell", {"t.xlsx": workbook(
        [*_SHEET[:2], (_AT[1], "#N/A", "On"), _SHEET[3]])}, named("t.xlsx"),
        {**GOOD, "chw_supply_temp": [44.0, NAN, 45.0]}, said=("1 cells hold an error",)),
    Case("workbook with formulas never calculated", {"t.xlsx": workbook(
        [*_SHEET[:2], (_AT[1], "=B2+0.5", "On"), _SHEET[3]])}, named("t.xlsx"),
        {**GOOD, "chw_supply_temp": [44.0, NAN, 45.0]},
        said=("1 formula cells hold no saved result",)),
    Case("parquet", {"t.parquet": parquet_bytes(_PARQUET)}, named("t.parquet"), GOOD),
    Case("parquet with zoned times and words", {"t.parquet": parquet_bytes(
        {"Time": pa.array([t + timedelta(hours=7) for t in _AT], pa.timestamp("ms", tz="UTC")),
         "CHWS": pa.array([44, 44.5, 45], pa.float32()),
         "CH1": pa.array(["On", "On", "Off"]).dictionary_encode()})}, named("t.parquet"), GOOD),
    Case("parquet with bytes before the time", {"t.parquet": parquet_bytes(
        {"Raw": [b"\xff\xfe", b"b", b"c"], **_PARQUET, "More": [{"a": 1}] * 3})},
        named("t.parquet"), GOOD,
        said=("2 columns hold neither text, numbers nor times and were left out ('Raw')",)),
    Case("parquet with two columns of a name that nothing reads", {"t.parquet": parquet_bytes(
        {"a": pa.array(_AT), **_PARQUET, "c": [1, 2, 3], "d": [1, 2, 3]},
        ["Time", "Time", "CHWS", "CH1", "X", "X"])}, named("t.parquet"), GOOD),
    Case("parquet with a column of bytes named as a point's", {"t.parquet": parquet_bytes(
        {"a": [b"\xff"] * 3, **_PARQUET}, ["CHWS", "Time", "CHWS", "CH1"])},
        named("t.parquet"), GOOD),
    Case("parquet with date and time in two columns", {"t.parquet": parquet_bytes(
        {"Day": [at.date() for at in _AT], "Clock": [at.time() for at in _AT],
         "CHWS": _PARQUET["CHWS"], "CH1": _PARQUET["CH1"]})}, named("t.parquet"), GOOD),
    Case("parquet with counts beyond what a float holds", {"t.parquet": parquet_bytes(
        {**_PARQUET, "CHWS": pa.array([44, 2**63, 45], pa.uint64())})}, named("t.parquet"),
        {**GOOD, "chw_supply_temp": [44.0, NAN, 45.0]}, said=("1 values outside",)),
    text("long", _LONG, points=_LONG_POINTS),
    text("long, grouped by point", "Time,Point,Value\n" + "\n".join(
        sorted(_LONG.splitlines()[1:], key=lambda line: line.split(",")[1])) + "\n",
        points=_LONG_POINTS),
    text("long with words", _LONG.replace("CH1,1", "CH1,Running").replace("CH1,0", "CH1,Stopped"),
         points=_LONG_POINTS),
    text("long with units", _LONG.replace("Value\n", "Value,Units\n").replace("44\n", "44,°F\n")
         .replace("44.5\n", "44.5,°F\n").replace("45\n", "7.5,°C\n").replace(",1\n", ",1,\n")
         .replace("CH1,0\n", "CH1,0,\n"),
         {**GOOD, "chw_supply_temp": [44.0, 44.5, 45.5]}, points=_LONG_POINTS,
         stated={"t.csv": {"unit_column": "Units"}}, said=("1 cells state degC",)),
    text("long with quality", _LONG.replace("Value\n", "Value,Quality\n").replace("44.5\n",
         "44.5,Uncertain\n").replace("44\n", "44,Good\n").replace("45\n", "45,Good\n")
         .replace(",1\n", ",1,Good\n").replace("CH1,0\n", "CH1,0,Good\n"),
         {**GOOD, "chw_supply_temp": [44.0, NAN, 45.0]}, points=_LONG_POINTS,
         stated={"t.csv": {"quality_column": "Quality"}}, said=("1 values are not of good",)),
    text("long without a mapped point", _LONG.replace("CHWS", "OAT"),
         "file 't.csv' has no sample of 'CHWS'; its point column 'Point' names OAT, CH1",
         points=_LONG_POINTS, stated={"t.csv": {"form": "long"}}),
]

TIMES = [
    one("iso with T", times(["2026-01-05T10:00:00", "2026-01-05T10:01:00"]), [44, 45]),
    one("iso without seconds", times(["2026-01-05 10:00", "2026-01-05 10:01"]), [44, 45]),
    one("iso with parts of a second", times(["2026-01-05 10:00:00.250", "2026-01-05 10:01:00.250"]),
        [44, 45]),
    one("iso with Z", times(["2026-01-05T17:00:00Z", "2026-01-05T17:01:00Z"]), [44, 45]),
    one("iso with offset", times(["2026-01-05T12:00:00-05:00", "2026-01-05T12:01:00-05:00"]),
        [44, 45]),
    one("year first with slashes", times(["2026/01/05 10:00", "2026/01/05 10:01"]), [44, 45]),
    one("compact", times(["20260105T100000", "20260105T100100"]), [44, 45]),
    one("month first, afternoon", times(["1/25/2026 1:59:00 PM", "1/25/2026 2:00:00 PM"]),
        [44, 45], start="2026-01-25 13:59", said=("dates are month first",)),
    one("midnight and noon", times(["1/25/2026 11:59 AM", "1/25/2026 12:00 PM"]),
        [44, 45], start="2026-01-25 11:59"),
    one("day first with dots", times(["25.01.2026 10:00", "25.01.2026 10:01"]), [44, 45],
        start="2026-01-25 10:00", said=("dates are day first",)),
    one("two-digit year", times(["31/01/26 23:59", "01/02/26 00:00"]), [44, 45],
        start="2026-01-31 23:59"),
    one("two-digit year in front", times(["25-12-31 23:59", "26-01-01 00:00"]), [44, 45],
        start="2025-12-31 23:59"),
    one("two-digit year of one day", times(["25/01/26 10:00", "25/01/26 10:01"]),
        "dates like '25/01/26 10:00' may be day first or year first; state "
        'date_order = "day first" or date_order = "year first" under [files."t.csv"]'),
    one("month as a word", times(["05-Jan-26 10:00:00", "05-Jan-26 10:01:00"]), [44, 45]),
    one("month as a word first", times(["Jan 5, 2026 10:00", "Jan 5, 2026 10:01"], quote=True),
        [44, 45]),
    one("German month", times(["5. März 2026 10:00", "5. März 2026 10:01"]), [44, 45],
        start="2026-03-05 10:00"),
    one("weekday and zone letters", times(["Mon 05-Jan-2026 10:00:00 AM MST",
                                           "Mon 05-Jan-2026 10:01:00 AM MST"]), [44, 45]),
    one("zone letters of another zone", times(["05-Jan-2026 12:00 EST", "05-Jan-2026 12:01 EST"]),
        [44, 45]),
    one("unknown zone letters", times(["05-Jan-2026 10:00 IST", "05-Jan-2026 10:01 IST"]),
        "row 2: '05-Jan-2026 10:00 IST' in column 'Time' cannot be read as a date and time; the "
        "zone 'IST' is not known here; state time_zone"),
    one("date and time in two columns", ["05/01/2026,10:00,44", "13/01/2026,10:00,45"],
        "the times span", header="Date,Time,X", site={"step_minutes": 0.001}),
    one("two time columns", ["2026-01-05,10:00,44", "2026-01-05,10:01,45"], [44, 45],
        header="Date,Clock,X"),
    one("two time columns as stated", ["44,10:00,2026-01-05", "45,10:01,2026-01-05"], [44, 45],
        header="X,Clock,Day", stated={"t.csv": {"time_column": ["Day", "Clock"]}}),
    one("spreadsheet serial", times([str(46027 + 600 / 1440), str(46027 + 601 / 1440)]), [44, 45]),
    one("seconds since 1970", times(["1767632400", "1767632460"]), [44, 45]),
    one("milliseconds since 1970", times(["1767632400000", "1767632460000"]), [44, 45]),
    one("24:00 is the next midnight", times(["2026/01/05 23:59", "2026/01/05 24:00"]), [44, 45],
        start="2026-01-05 23:59"),
    one("ambiguous day and month", times(["05/01/2026 10:00", "05/01/2026 10:01"]),
        "dates like '05/01/2026 10:00' may be day first or month first; state date_order"),
    one("ambiguous, stated", times(["05/01/2026 10:00", "05/01/2026 10:01"]), [44, 45],
        stated={"t.csv": {"date_order": "day first"}}),
    one("settled by days that follow one another",
        times([f"{day:02d}/01/2026 10:00" for day in range(3, 8)]), [44, 45, 46, 47, 48],
        start="2026-01-03 10:00", minutes=1440.0, said=("dates are day first",)),
    one("settled at the end of the file only",
        times([f"{day:02d}/{month:02d}/2026 10:00" for month, day in
               [(1, d) for d in range(1, 14)]]), [44.0 + i for i in range(13)],
        start="2026-01-01 10:00", minutes=1440.0),
    one("impossible date", times(["2026-01-05 10:00", "2026-02-30 10:01", "2026-01-05 10:02"]),
        "file 't.csv', row 3: '2026-02-30 10:01' in column 'Time' cannot be read as a date"),
    one("no time at all", ["a,44", "b,45"], "'a' cannot be read as a date and time",
        stated={"t.csv": {"time_column": "Time"}}),
    one("file zone", times(["2026-01-05 12:00", "2026-01-05 12:01"]), [44, 45],
        stated={"t.csv": {"time_zone": "America/New_York"}}),
    one("offset as zone", times(["2026-01-05 12:00", "2026-01-05 12:01"]), [44, 45],
        stated={"t.csv": {"time_zone": "-05:00"}}),
    one("clock ahead of true time", times(["2026-01-05 10:04", "2026-01-05 10:05"]), [44, 45],
        stated={"t.csv": {"clock_offset_s": 240}}, said=("240 s ahead of true time",)),
    one("stamps at the end", times(["2026-01-05 10:01", "2026-01-05 10:02"]), [44, 45],
        stated={"t.csv": {"stamps": "end"}}),
    one("the hour that is read twice", times(
        ["2025-11-02 00:30", "2025-11-02 01:00", "2025-11-02 01:30", "2025-11-02 01:00",
         "2025-11-02 01:30", "2025-11-02 02:00"]), [44, 45, 46, 47, 48, 49],
        start="2025-11-02 00:30", minutes=30.0, said=("is read twice",)),
    one("the hour that is read twice, newest first", list(reversed(times(
        ["2025-11-02 00:30", "2025-11-02 01:00", "2025-11-02 01:30", "2025-11-02 01:00",
         "2025-11-02 01:30", "2025-11-02 02:00"]))), [44, 45, 46, 47, 48, 49],
        start="2025-11-02 00:30", minutes=30.0, said=("out of order",)),
    one("the hour that is left out", times(
        ["2026-03-08 01:30", "2026-03-08 03:00", "2026-03-08 03:30"]), [44, 45, 46],
        start="2026-03-08 01:30", minutes=30.0),
    one("a time that does not exist", times(["2026-03-08 01:30", "2026-03-08 02:30"]),
        'row 3: 2026-03-08 02:30 does not exist in zone America/Denver, the clocks go forward '
        'over it; if the file\'s clock stays on standard time, state time_zone = "-07:00"'),
    one("newest first", list(reversed(times(["2026-01-05 10:00", "2026-01-05 10:01"]))), [44, 45]),
    one("out of order", times(["2026-01-05 10:00", "2026-01-05 10:02", "2026-01-05 10:01",
                               "2026-01-05 10:03"]), [44, 46, 45, 47],
        said=("1 rows stood out of order",)),
    one("repeated row", [*times(["2026-01-05 10:00", "2026-01-05 10:01"]),
                         "2026-01-05 10:01,45"], [44, 45],
        said=("1 rows repeat a moment with the same values",)),
    one("repeated moment with another value", [*times(["2026-01-05 10:00", "2026-01-05 10:01"]),
                                               "2026-01-05 10:01,50"], [44, NAN],
        said=("1 rows repeat a moment with other values",)),
    one("gap", times(["2026-01-05 10:00", "2026-01-05 10:01", "2026-01-05 10:04"]),
        [44, 45, NAN, NAN, 46]),
    one("jitter of seconds", times(["2026-01-05 10:00:01", "2026-01-05 10:00:59",
                                    "2026-01-05 10:02:02", "2026-01-05 10:02:58"]),
        [44, 45, 46, 47]),
]

VALUES = [
    one("celsius", cells(["7", "7.5"]), [44.6, 45.5], unit="degC"),
    one("kelvin", cells(["280.15", "281.15"]), [44.6, 46.4], unit="K"),
    one("litres per second", cells(["100", "200"]), [1585.032314, 3170.064628], unit="L/s",
        point="chw_flow"),
    one("kilopascal", cells(["100", "101.325"]), [14.503773773, 14.695948775], unit="kPa",
        point="station_pressure"),
    one("gauge pressure at altitude", cells(["40", "41"]), [52.227831, 53.227831], unit="psig",
        point="chiller_1_evaporator_pressure"),
    one("gauge pressure without altitude", cells(["40", "41"]), "needs the site's altitude",
        unit="psig", point="chiller_1_evaporator_pressure", site={"altitude": None}),
    one("pressure that may be gauge or absolute", cells(["40", "41"]),
        "state unit under [points.chiller_1_evaporator_pressure], one of: psia, kPa, Pa, bar, hPa, "
        "inHg, psig, kPag, barg", unit="", point="chiller_1_evaporator_pressure",
        header="Time,X (psi)", source={"column": "X (psi)"}),
    one("gauge pressure above all air", cells(["40", "41"]),
        "point chiller_1_evaporator_pressure: altitude 100000.0 ft is outside -16000 to 36000 ft; "
        "correct altitude under [site]",
        unit="psig", point="chiller_1_evaporator_pressure", site={"altitude": 100_000}),
    one("share as humidity", cells(["0.45", "0.5"]), [45, 50], unit="fraction",
        point="outdoor_humidity"),
    one("watts", cells(["250000", "251000"]), [250, 251], unit="W", point="chiller_1_power"),
    one("unit in the cell", cells(["44.0 °F", "44.5 °F"]), [44, 44.5]),
    one("unit in the cell changes", cells(["44.0 °F", "7.5 °C"]), [44, 45.5],
        said=("1 cells state degC and were read so",)),
    one("unit in the cell means nothing", cells(["44.0 °F", "7.5 bananas"]),
        "row 3: '7.5 bananas' is no number; if it stands for a bad value, state bad = "
        '["* bananas"], or good = ["* bananas"] if the values are good, under [files."t.csv"]'),
    one("a unit of something else in the cell", cells(["44.0 °F", "7.5 gpm"]),
        "row 3: unit 'gpm' in the cell '7.5 gpm' cannot be turned into degF"),
    one("unit changes as stated", cells(["44", "45", "7.5", "8"]), [44, 45, 45.5, 46.4],
        source={"unit_changes": [{"from": "2026-01-05T10:02", "unit": "degC"}]}),
    one("unit changes unsaid", cells(["44", "45", "7.5", "8"]), [44, 45, NAN, NAN],
        said=("2 values outside 30 to 90 degF are missing; they would be plausible as degC",)),
    one("thousands in quotes", cells(["1,200", "1,250.5"], quote=True), [1200, 1250.5], unit="gpm",
        point="chw_flow"),
    one("thousands by blanks", cells(["1 200", "1 250.5"]), [1200, 1250.5], unit="gpm",
        point="chw_flow"),
    one("thousands with decimal comma", [line.replace(",", ";", 1) for line in
                                         cells(["1.200,5", "12.250,0"])], [1200.5, 12250],
        unit="gpm", point="chw_flow", header="Time;X"),
    one("comma that may be either", [line.replace(",", ";", 1) for line in cells(["1,200",
        "1,250"])], "in numbers like '1,200' the comma may be the decimal sign or part thousands",
        unit="gpm", point="chw_flow", header="Time;X"),
    one("comma stated", [line.replace(",", ";", 1) for line in cells(["1,200", "1,250"])],
        [1.2, 1.25], unit="gpm", point="chw_flow", header="Time;X",
        stated={"t.csv": {"decimal": ","}}),
    one("exponent", cells(["4.4e1", "4.5E+01"]), [44, 45]),
    one("plus sign and blanks", cells([" +44", "45 "]), [44, 45]),
    one("placeholders", cells(["44", "N/A", "--", "Bad", "45"]), [44, NAN, NAN, NAN, 45],
        said=("1 cells 'N/A' stand for a bad value", "1 cells '--'", "1 cells 'Bad'")),
    one("own placeholder", cells(["44", "ausgefallen", "45"]), [44, NAN, 45],
        stated={"t.csv": {"bad": ["ausgefallen"]}}),
    one("empty cells are gaps", cells(["44", "", "45"]), [44, NAN, 45]),
    one("not a number", cells(["44", "abc", "45"]),
        "file 't.csv', column 'X', point chw_supply_temp, row 3: 'abc' is no number; if it "
        "stands for a bad value, state bad = [\"abc\"], under [files.\"t.csv\"]"),
    one("sentinel", cells(["44", "-9999", "45"]), [44, NAN, 45],
        said=("1 values outside 30 to 90 degF are missing",)),
    one("infinity", cells(["44", "inf", "45"]), [44, NAN, 45]),
    one("no unit anywhere", cells(["44", "45"]), "neither the point map nor the file says the unit",
        unit=""),
    *[one(f"status {on}/{off}", cells([on, off, on]), [1, 0, 1], unit="", point="chiller_1_running")
      for on, off in (("On", "Off"), ("ACTIVE", "INACTIVE"), ("1", "0"),
                      ("true", "false"), ("Running", "Stopped"), ("1.0", "0.0"))],
    one("status in own words", cells(["Läuft", "Steht"]), [1, 0], unit="",
        point="chiller_1_running", source={"on": ["Läuft"], "off": ["Steht"]}),
    one("status in unknown words", cells(["On", "Maybe"]),
        'row 3: \'Maybe\' is neither on nor off; state on = [...] and off = [...] with each of '
        '"Maybe" in one of them, under [points.chiller_1_running]',
        unit="", point="chiller_1_running"),
    one("status in percent", cells(["0", "85"]), "row 3: found 85 where 0 or 1 was expected",
        unit="", point="chiller_1_running"),
    one("status from power", cells(["0.2", "85"]), [0, 1], unit="kW", point="chiller_1_running",
        source={"on_above": 5}),
    one("alarm texts", cells(["Normal", "Low oil pressure", "Low oil pressure", "Normal"]),
        [0, 1, 1, 0], unit="", point="chiller_1_alarm"),
    one("quality column", ["2026-01-05 10:00,44,Good", "2026-01-05 10:01,45,Bad",
                           "2026-01-05 10:02,46,Good"], [44, NAN, 46], header="Time,X,Q",
        source={"quality_column": "Q"}),
    one("declared unusable", cells(["44", "45"]), [], source={"unusable": "sensor removed"},
        said=("not used in any check, as the job says: sensor removed",)),
]

MERGED = [
    Case("two steps", {
        "a.csv": b"Time,CHWS\n" + "\n".join(cells(["44", "45", "46", "47", "48", "49"])).encode(),
        "b.csv": b"Time,OAT\n2026-01-05 10:00,30\n2026-01-05 10:05,31\n",
    }, {"chw_supply_temp": {"file": "a.csv", "column": "CHWS", "unit": "degF"},
        "outdoor_dry_bulb": {"file": "b.csv", "column": "OAT", "unit": "degF"}},
        {"chw_supply_temp": [44, 45, 46, 47, 48, 49, NAN, NAN, NAN, NAN][:6],
         "outdoor_dry_bulb": [30, 30, 30, 30, 30, 31]}),
    Case("a missing line of the slower file is a gap", {
        "a.csv": b"Time,CHWS\n" + "\n".join(cells([str(44 + i / 10) for i in range(13)])).encode(),
        "b.csv": b"Time,OAT\n2026-01-05 10:00,30\n2026-01-05 10:03,31\n2026-01-05 10:06,32\n"
                 b"2026-01-05 10:12,33\n",
    }, {"chw_supply_temp": {"file": "a.csv", "column": "CHWS", "unit": "degF"},
        "outdoor_dry_bulb": {"file": "b.csv", "column": "OAT", "unit": "degF"}},
        {"chw_supply_temp": [44 + i / 10 for i in range(13)],
         "outdoor_dry_bulb": [30] * 3 + [31] * 3 + [32] * 3 + [NAN] * 3 + [33]}),
    Case("two zones and two scales", {
        "a.csv": b"Time,CHWS\n" + "\n".join(cells(["44", "45"])).encode(),
        "b.csv": b"Time;OAT\n05.01.2026 18:00;-1,5\n05.01.2026 18:01;-1,0\n",
    }, {"chw_supply_temp": {"file": "a.csv", "column": "CHWS", "unit": "degF"},
        "outdoor_dry_bulb": {"file": "b.csv", "column": "OAT", "unit": "degC"}},
        {"chw_supply_temp": [44, 45], "outdoor_dry_bulb": [29.3, 30.2]},
        stated={"b.csv": {"date_order": "day first", "time_zone": "Europe/Berlin"}}, start=
        "2026-01-05 10:00"),
    one("log of changes", times(["2026-01-05 10:00:20", "2026-01-05 10:03:10",
                                 "2026-01-05 10:04:00"]), [44, 44, 44, 45, 46],
        stated={"t.csv": {"hold": 1}}),
    one("log of changes, longest hold", times(["2026-01-05 10:00", "2026-01-05 10:05"]),
        [44, 44, 44, NAN, NAN, 45], stated={"t.csv": {"hold": 0.05}}, site={"step_minutes": 1}),
    one("log with empty cells holds", ["2026-01-05 10:00,44", "2026-01-05 10:01,",
                                       "2026-01-05 10:02,46"], [44, 44, 46],
        stated={"t.csv": {"hold": 1}}),
    one("log with a bad value does not hold over it", [
        "2026-01-05 10:00,44", "2026-01-05 10:01,Bad", "2026-01-05 10:02,", "2026-01-05 10:03,46"],
        [44, NAN, NAN, 46], stated={"t.csv": {"hold": 1}}),
    text("long log of changes", """Time,Point,Value
2026-01-05 10:00:10,CHWS,44
2026-01-05 10:00:30,CH1,On
2026-01-05 10:03:05,CHWS,46
2026-01-05 10:04:40,CH1,Off
""", {"chw_supply_temp": [44, 44, 44, 46, 46], "chiller_1_running": [1, 1, 1, 1, 0]},
         points=_LONG_POINTS, stated={"t.csv": {"form": "long", "hold": 24}}),
    text("long log without a hold", """Time,Point,Value
2026-01-05 10:00:10,CHWS,44
2026-01-05 10:00:30,CH1,On
2026-01-05 10:02:05,CHWS,46
2026-01-05 10:03:05,CHWS,47
2026-01-05 10:08:40,CHWS,48
""", {"chw_supply_temp": [44, 44, 46, 47, 47, NAN, NAN, NAN, 48],
      "chiller_1_running": [1] + [NAN] * 8},
         points=_LONG_POINTS, stated={"t.csv": {"form": "long"}}, said=("state hold (hours)",)),
]


def _map_case(name: str, expected: str, points: Mapping[str, Any], **more: Any) -> Case:
    return Case(name, {"t.csv": PLAIN.encode()}, points, expected, **more)


_MONTHS = {"chw_supply_temp": {"file": ["a.csv", "b.csv"], "column": "CHWS", "unit": "degF"}}
MERGED += [
    Case("files that continue one another", {
        "a.csv": b"Time,CHWS\n" + "\n".join(cells(["44", "45", "46"])).encode(),
        "b.csv": b"Time;CHWS\n2026-01-05 10:02;46\n2026-01-05 10:03;47\n2026-01-05 10:04;48\n",
    }, _MONTHS, {"chw_supply_temp": [44, 45, 46, 47, 48]}),
    Case("files that overlap and differ", {
        "a.csv": b"Time,CHWS\n" + "\n".join(cells(["44", "45", "46"])).encode(),
        "b.csv": b"Time;CHWS\n2026-01-05 10:01;50\n2026-01-05 10:02;46\n2026-01-05 10:03;47\n",
    }, _MONTHS, {"chw_supply_temp": [44, 45, 46, 47]},
        said=("1 of 2 rows that this file shares with the one before differ",)),
]

FAULTS = [
    Case("missing file", {"other.csv": PLAIN.encode()}, BOTH,
         "file 't.csv' is not in trends/; found there: other.csv"),
    Case("empty file", {"t.csv": b""}, BOTH, "file 't.csv' is empty; export the trend again"),
    text("header only", "Time,CHWS,CH1\n", "no data below the header"),
    text("missing column", PLAIN.replace("CHWS", "CHWST"),
         "point chw_supply_temp: file 't.csv' has no column 'CHWS'; nearest are 'CHWST'"),
    text("two columns of one name", PLAIN.replace("CH1", "CHWS"),
         "point chw_supply_temp: file 't.csv' has 2 columns named 'CHWS'"),
    Case("old workbook", {"t.csv": b"\xd0\xcf\x11\xe0" + b"\0" * 600}, BOTH,
         "file 't.csv' is an old binary workbook (.xls); export the trends as CSV"),
    Case("picture", {"t.csv": b"\x89PNG\r\n\x1a\n" + bytes(range(256))}, BOTH, "is a picture"),
    Case("binary", {"t.csv": bytes(range(256)) * 20}, BOTH, "file 't.csv' is not a text file"),
    Case("damaged gzip", {"t.csv": gzip.compress(PLAIN.encode())[:-20]}, BOTH,
         "file 't.csv' is damaged or cut off"),
    Case("damaged zip", {"t.csv": zipped({"a": PLAIN.encode()})[:-30]}, BOTH,
         "file 't.csv' is a damaged or locked zip file"),
    Case("damaged lzma zip", {"t.zip": damaged(
        zipped({"a": PLAIN.encode()}, zipfile.ZIP_LZMA), "a")}, named("t.zip"),
        "file 't.zip' is damaged or cut off"),
    Case("damaged tail of a sheet", {"t.xlsx": damaged(
        workbook([*_SHEET, *[[at, 44 + at.minute / 7, "On"] for at in _LATER]]),
        "xl/worksheets/sheet1.xml")}, named("t.xlsx"),
        "file 't.xlsx' is a damaged or locked zip file"),
    Case("damaged workbook", {"t.xlsx": zipped({"xl/workbook.xml": b"<broken"})}, named("t.xlsx"),
         "workbook 't.xlsx' is damaged"),
    Case("damaged parquet", {"t.parquet": b"PAR1" + b"\0" * 100 + b"PAR1"}, named("t.parquet"),
         "file 't.parquet' is a damaged Parquet file"),
    Case("parquet without a trend", {"t.parquet": parquet_bytes({"Raw": [b"\xff"]})},
         named("t.parquet"), "file 't.parquet' has no column of text, numbers or times"),
    Case("parquet with a time beyond reason", {"t.parquet": parquet_bytes(
        {**_PARQUET, "Time": pa.array([*_AT[:2], datetime(9999, 1, 1)], pa.timestamp("us"))})},
        named("t.parquet"), "file 't.parquet', from row 1: column 'Time' holds a time that cannot"),
    text("lines of other widths", PLAIN + "2026-01-05 10:03:00,46\n" * 3 +
         "2026-01-05 10:04:00,46,1\n", "row 5: 3 lines have another number of cells"),
    _map_case("unknown point", "[points.chw_suply_temp]: 'chw_suply_temp' is not a point of the "
              "glossary; did you mean chw_supply_temp", {"chw_suply_temp": SUPPLY}),
    _map_case("unknown unit", "[points.chw_supply_temp]: unit 'gpm' cannot be turned into degF; "
              "state one of: degF, degC, K", {"chw_supply_temp": {**SUPPLY, "unit": "gpm"}}),
    _map_case("one column for two points", "points chw_supply_temp and chw_return_temp are both "
              "read from column 'CHWS' of 't.csv'", {"chw_supply_temp": SUPPLY,
                                                    "chw_return_temp": SUPPLY}),
    _map_case("unknown key", "[points.chw_supply_temp]: key 'colum' is not known",
              {"chw_supply_temp": {**SUPPLY, "colum": "x"}}),
    _map_case("no column stated", "[points.chw_supply_temp]: state both 'file' and 'column'",
              {"chw_supply_temp": {"file": "t.csv"}}),
    _map_case("folder in the file's name", "should be the bare name of a file in trends/",
              {"chw_supply_temp": {**SUPPLY, "file": "../t.csv"}}),
    _map_case("drive in the file's name", "should be the bare name of a file",
              {"chw_supply_temp": {**SUPPLY, "file": "C:\\t.csv"}}),
    _map_case("unknown file key", "[files.\"t.csv\"]: key 'zone' is not known", BOTH,
              stated={"t.csv": {"zone": "x"}}),
    _map_case("unknown choice", "date_order = 'dayfirst' is not known; state one of: year first, "
              "day first, month first", BOTH, stated={"t.csv": {"date_order": "dayfirst"}}),
    _map_case("unknown file zone", "time_zone 'Mountain' is not known", BOTH,
              stated={"t.csv": {"time_zone": "Mountain"}}),
    _map_case("no site zone", "[site]: 'time_zone' is missing", BOTH, site={"time_zone": ""}),
    _map_case("offset as site zone", "[site]: time_zone '-07:00' is an offset", BOTH,
              site={"time_zone": "-07:00"}),
    _map_case("no points", "the point map is empty", {}),
    _map_case("text where a number belongs", "clock_offset_s = '4 min' should be a number", BOTH,
              stated={"t.csv": {"clock_offset_s": "4 min"}}),
    _map_case("no number for the clock", "clock_offset_s = nan should be a number between", BOTH,
              stated={"t.csv": {"clock_offset_s": NAN}}),
    _map_case("a clock beyond all times", "clock_offset_s = 1000000000000.0 should be a",
              BOTH, stated={"t.csv": {"clock_offset_s": 1e12}}),
    _map_case("a number where changes of unit belong", "[points.chw_supply_temp]: unit_changes "
              "holds '3' where entries as", {"chw_supply_temp": {**SUPPLY, "unit_changes": 3}}),
    one("a stray year", times(["2026-01-05 10:00", "2026-01-05 10:01", "2126-01-05 10:02"]),
        "the times span 36,"),
]

CASES = [*FORMS, *TIMES, *VALUES, *MERGED, *FAULTS]
Check = Callable[[Case], None]
