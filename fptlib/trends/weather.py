"""Hourly weather of a typical year from an EPW file (an open format)."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from pyarrow import csv as arrow_csv

from fptlib import units
from fptlib.errors import IntakeError
from fptlib.trends import safe
from fptlib.trends.arrow import array
from fptlib.trends.grid import Remark

if TYPE_CHECKING:
    import pandas as pd

_HEADER_LINES, _FIELDS = 8, 35
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
        columns: outdoor_dry_bulb [degF], outdoor_dew_point [degF], outdoor_humidity [%RH],
            station_pressure [psia]; NaN where the file has no value.
        hours: when each row's hour begins, local standard time of the station without a zone; a
            typical year is put together from several, so the calendar year is nominal.
        file, sha256: of the file read.
        remarks: what was found.
    """

    name: str
    altitude: float
    columns: dict[str, np.ndarray]
    hours: np.ndarray
    file: str = ""
    sha256: str = ""
    remarks: tuple[Remark, ...] = ()

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The columns as a table over the hours."""
        import pandas as pd

        return pd.DataFrame(self.columns, index=pd.DatetimeIndex(self.hours, freq="h"))


def read_weather(path: Path) -> Weather:
    """The hourly weather in an EPW file.

    Raises:
        IntakeError: the file is missing, cut off, or no EPW file.
    """
    path = Path(path)
    if not path.is_file():
        raise IntakeError(f"weather file '{path.name}' is not there; put the EPW file into trends/")
    where = f"weather file '{path.name}'"
    if path.stat().st_size > _LARGEST:
        raise IntakeError(f"{where} is too large for one year of hours")
    lines = path.read_bytes().decode("utf-8", "replace").splitlines()
    place, altitude = _location(lines, where)
    columns, hours = _hours([line for line in lines[_HEADER_LINES:] if line.strip()], where)
    remarks = tuple(Remark("note", f"{missing} hours without {name}", path.name, name)
                    for name, values in columns.items()
                    if (missing := int(np.count_nonzero(np.isnan(values)))))
    return Weather(place, altitude, columns, hours, path.name, safe.digest(path), remarks)


def _location(lines: list[str], where: str) -> tuple[str, float]:
    """Name and altitude [ft] of the station."""
    cells = next(csv.reader(lines[:1]), [])
    if len(cells) < 10 or cells[0].strip().upper() != "LOCATION":
        raise IntakeError(f"{where}, row 1: a line that begins with LOCATION was expected; "
                          "this is no EPW file")
    try:
        altitude = units.scale("m", "ft", where)(float(cells[9]))
    except ValueError as error:
        raise IntakeError(f"{where}, row 1: elevation '{cells[9]}' is no number; get the "
                          "file again") from error
    return ", ".join(c.strip() for c in cells[1:4] if c.strip()), altitude


def _hours(rows: list[str], where: str) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """The quantities of a whole year, hour after hour, and the hours."""
    for row, line in enumerate(rows, _HEADER_LINES + 1):
        if line.count(",") < _FIELDS - 6:
            raise IntakeError(
                f"{where}, row {row}: {line.count(',') + 1} fields where {_FIELDS} were expected; "
                "the file is cut off, get it again")
    if len(rows) not in (8760, 8784):
        raise IntakeError(f"{where}: {len(rows)} hours where a year of 8760 was expected; "
                          "get the file again")
    names = [f"f{at}" for at in range(rows[0].count(",") + 1)]
    wanted = [f"f{at}" for at in (1, 2, 3, *(column[0] for column in _COLUMNS.values()))]
    try:
        table = arrow_csv.read_csv(
            io.BytesIO("\n".join(rows).encode()), arrow_csv.ReadOptions(column_names=names),
            convert_options=arrow_csv.ConvertOptions(
                include_columns=wanted, column_types=dict.fromkeys(wanted, pa.float64())))
    except pa.ArrowInvalid as error:
        raise IntakeError(f"{where} holds a value that is no number "
                          f"({str(error).splitlines()[0][:100]}); get the file again") from error
    month, day, hour, *values = (array(table.column(name).combine_chunks()) for name in wanted)
    hours = np.datetime64("2001-01-01T00" if len(rows) == 8760 else "2000-01-01T00") + np.arange(
        len(rows)).astype("m8[h]")
    days, months = hours.astype("M8[D]"), hours.astype("M8[M]")
    expected = (months.astype(int) % 12 + 1, (days - months.astype("M8[D]")).astype(int) + 1,
                (hours - days).astype(int) + 1)
    wrong = (month != expected[0]) | (day != expected[1]) | (hour != expected[2])
    if wrong.any():
        at = int(np.argmax(wrong))
        raise IntakeError(
            f"{where}, row {at + _HEADER_LINES + 1}: found month {month[at]:g}, day {day[at]:g}, "
            f"hour {hour[at]:g} where {expected[0][at]:02d}-{expected[1][at]:02d}, hour "
            f"{expected[2][at]} was expected; get the file again")
    columns = {}
    for found, (name, (_, stated, wanted_unit, low, high)) in zip(values, _COLUMNS.items(),
                                                                  strict=True):
        kept = np.where((found >= low) & (found <= high), found, np.nan)
        columns[name] = units.scale(stated, wanted_unit, name)(kept)
    return columns, hours
