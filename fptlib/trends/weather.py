"""Hourly weather of a typical year from an EPW file (an open format)."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv as arrow_csv

from fptlib import units
from fptlib.errors import IntakeError
from fptlib.trends import safe
from fptlib.trends.grid import Remark

_HEADER_LINES = 8
_FIELDS = 35
_LARGEST = 40 * safe.MIB
# Point or quantity: field (from 0), its unit there, the glossary's unit, low, high. Values
# outside are the format's codes for a missing value.
_COLUMNS = {
    "outdoor_dry_bulb": (6, "degC", "degF", -70.0, 70.0),
    "outdoor_dew_point": (7, "degC", "degF", -70.0, 70.0),
    "outdoor_humidity": (8, "%RH", "%RH", 0.0, 110.0),
    "station_pressure": (9, "Pa", "psia", 31_000.0, 120_000.0),
}


@dataclass(frozen=True)
class Weather:
    """Hourly weather of one place and year.

    Attributes:
        name: of the station, as the file gives it.
        altitude: of the station [ft].
        frame: a row per hour, standing for the hour that begins at its time, local standard
            time of the station without a zone; a typical year is put together from several,
            so the calendar year is nominal. Columns outdoor_dry_bulb [degF],
            outdoor_dew_point [degF], outdoor_humidity [%RH], station_pressure [psia];
            NaN where the file has no value.
        file, sha256: of the file read.
        remarks: what was found.
    """

    name: str
    altitude: float
    frame: pd.DataFrame
    file: str = ""
    sha256: str = ""
    remarks: tuple[Remark, ...] = ()


def read_weather(path: Path) -> Weather:
    """The hourly weather in an EPW file.

    Raises:
        IntakeError: the file is missing, cut off, or no EPW file.
    """
    path = Path(path)
    if not path.is_file():
        raise IntakeError(f"weather file '{path.name}' is not there; put the EPW file into trends/")
    if path.stat().st_size > _LARGEST:
        raise IntakeError(f"weather file '{path.name}' is too large for one year of hours")
    lines = path.read_bytes().decode("utf-8", "replace").splitlines()
    place, altitude = _location(lines, path.name)
    frame = _hours(lines[_HEADER_LINES:], path.name)
    remarks = tuple(
        Remark("note", f"{int(n)} hours without {name}", path.name, name)
        for name, n in frame.isna().sum().items() if n
    )
    return Weather(place, altitude, frame, path.name, safe.Hash(path).result(), remarks)


def _location(lines: list[str], file: str) -> tuple[str, float]:
    """Name and altitude [ft] of the station."""
    cells = next(csv.reader(lines[:1]), [])
    if len(cells) < 10 or cells[0].strip().upper() != "LOCATION":
        raise IntakeError(
            f"weather file '{file}', row 1: a line that begins with LOCATION was expected; "
            "this is no EPW file"
        )
    try:
        altitude = units.scale("m", "ft", file)(float(cells[9]))
    except ValueError as error:
        raise IntakeError(
            f"weather file '{file}', row 1: elevation '{cells[9]}' is no number; get the "
            "file again"
        ) from error
    return ", ".join(c.strip() for c in cells[1:4] if c.strip()), altitude


def _hours(lines: list[str], file: str) -> pd.DataFrame:
    rows = [line for line in lines if line.strip()]
    for at, line in enumerate(rows):
        if line.count(",") < _FIELDS - 6:
            raise IntakeError(
                f"weather file '{file}', row {at + _HEADER_LINES + 1}: {line.count(',') + 1} "
                f"fields where {_FIELDS} were expected; the file is cut off, get it again"
            )
    if len(rows) not in (8760, 8784):
        raise IntakeError(
            f"weather file '{file}': {len(rows)} hours where a year of 8760 was expected; "
            "get the file again"
        )
    table = _parsed(rows, file)
    year = 2001 if len(rows) == 8760 else 2000
    _check_order(table, year, file)
    index = pd.date_range(f"{year}-01-01", periods=len(rows), freq="h")
    return pd.DataFrame(
        {name: _quantity(table[f"f{column[0]}"], name) for name, column in _COLUMNS.items()},
        index=index,
    )


def _parsed(rows: list[str], file: str) -> dict[str, np.ndarray]:
    wanted = [1, 2, 3, *(column[0] for column in _COLUMNS.values())]
    width = rows[0].count(",") + 1
    try:
        table = arrow_csv.read_csv(
            io.BytesIO("\n".join(rows).encode()),
            arrow_csv.ReadOptions(column_names=[f"f{at}" for at in range(width)]),
            convert_options=arrow_csv.ConvertOptions(
                include_columns=[f"f{at}" for at in wanted],
                column_types={f"f{at}": pa.float64() for at in wanted},
            ),
        )
    except pa.ArrowInvalid as error:
        raise IntakeError(
            f"weather file '{file}' holds a value that is no number "
            f"({str(error).splitlines()[0][:100]}); get the file again"
        ) from error
    return {name: table.column(name).to_numpy() for name in table.column_names}


def _check_order(table: dict[str, np.ndarray], year: int, file: str) -> None:
    expected = pd.date_range(f"{year}-01-01", periods=len(table["f1"]), freq="h")
    wrong = (table["f1"] != expected.month) | (table["f2"] != expected.day) | (
        table["f3"] != expected.hour + 1)
    if wrong.any():
        at = int(np.argmax(wrong))
        raise IntakeError(
            f"weather file '{file}', row {at + _HEADER_LINES + 1}: found month "
            f"{table['f1'][at]:g}, day {table['f2'][at]:g}, hour {table['f3'][at]:g} where "
            f"{expected[at]:%m-%d}, hour {expected[at].hour + 1} was expected; get the file again"
        )


def _quantity(values: np.ndarray, name: str) -> np.ndarray:
    _, stated, wanted, low, high = _COLUMNS[name]
    kept = np.where((values >= low) & (values <= high), values, np.nan)
    return units.scale(stated, wanted, name)(kept)
