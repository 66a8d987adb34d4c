"""The unit of one point's column: settled from map and header, changed at stated moments."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from fptlib import units
from fptlib.errors import IntakeError
from fptlib.physics.atmosphere import pressure_at
from fptlib.physics.errors import ImpossibleState
from fptlib.trends.forms import PointSource
from fptlib.trends.notes import Notes
from fptlib.units import Scale


class PointUnits:
    """Converts one point's numbers to the glossary's unit.

    Args:
        source: what the job states.
        written: the unit that the file states for the column, or ``""``.
        altitude: of the site [ft], for gauge pressures, or None.
        where: opens the error sentences.
    """

    def __init__(
        self, source: PointSource, written: str, altitude: float | None, where: str, notes: Notes
    ) -> None:
        self._source, self._altitude, self._where = source, altitude, where
        self._scales: dict[str, Scale] = {}
        self.usual = self._settled(written, notes)

    def _settled(self, written: str, notes: Notes) -> str:
        """The unit to read the column in: the map's, else the file's own."""
        point, stated = self._source.point, self._source.unit
        if self._source.on_above is not None or self._source.wordy:
            return point.unit
        own = units.alias(written, point.unit)
        if stated and own and own != stated:
            notes.doubt(
                f"column '{self._source.column}' is headed {written.strip()}, the point map says "
                f"{stated}; read as {stated}, as the map says", self._source.file, point.name,
            )
        return stated or own

    def convert(self, values: np.ndarray, unit: str, local: np.ndarray | None) -> np.ndarray:
        """Numbers in ``unit`` (or the usual one), unless ``local`` times say another."""
        converted = self.scale(unit or self.usual)(values)
        if local is None or unit:
            return np.asarray(converted)
        for text, changed in self._source.unit_changes:
            since = local >= _nanoseconds(text, self._where)
            converted = np.where(since, self.scale(changed)(values), converted)
        return np.asarray(converted)

    def scale(self, unit: str) -> Scale:
        """The conversion from a unit.

        Raises:
            IntakeError: no unit is stated anywhere, or it needs an altitude that is not there.
        """
        if unit not in self._scales:
            self._scales[unit] = self._new_scale(unit)
        return self._scales[unit]

    def _new_scale(self, unit: str) -> Scale:
        point = self._source.point
        if not unit:
            raise IntakeError(
                f"{self._where}: neither the point map nor the file says the unit; state unit "
                f"under [points.{point.name}], one of: {', '.join(units.offered(point.unit))}"
            )
        gauge = units.is_gauge(unit, point.unit)
        return units.scale(unit, point.unit, self._where, self._atmosphere() if gauge else None)

    def _atmosphere(self) -> float | None:
        """Pressure of the air at the site [psia]."""
        if self._altitude is None:
            return None
        try:
            return float(pressure_at(self._altitude))
        except ImpossibleState as error:
            raise IntakeError(f"{self._where}: {error}; mend altitude under [site]") from error

    def of_text(self, text: str, row: int, cell: str) -> str:
        """The unit that a cell or a unit column states.

        Raises:
            IntakeError: it cannot be turned into the point's.
        """
        point = self._source.point
        if unit := units.alias(text, point.unit):
            return unit
        raise IntakeError(
            f"{self._where}, row {row}: unit '{text}'{cell} cannot be turned into {point.unit}; "
            f"expected one of: {', '.join(units.offered(point.unit))}"
        )

    def hint(self, outside: np.ndarray) -> str:
        """The unit in which most of the implausible values would be plausible."""
        point = self._source.point
        if not self.usual or not len(outside):
            return ""
        raw = self.scale(self.usual).back(outside)
        raw = raw[np.isfinite(raw)]
        for unit in units.choices(point.unit):
            if unit == self.usual or not len(raw):
                continue
            meant = units.scale(unit, point.unit, self._where)(raw)
            if np.mean((meant >= point.low) & (meant <= point.high)) > 0.9:
                return (f"; they would be plausible as {unit}: mend unit under "
                        f"[points.{point.name}], or state unit_changes if only a part is so")
        return ""


def _nanoseconds(text: str, where: str) -> int:
    try:
        return int(np.datetime64(datetime.fromisoformat(text).replace(tzinfo=None), "ns")
                   .astype(np.int64))
    except ValueError as error:
        raise IntakeError(f"{where}: unit_changes from '{text}' is no time; "
                          "write it as 2026-01-05T10:00") from error
