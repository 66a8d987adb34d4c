"""Where a point comes from and how a file is written, as the job states them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from fptlib import points

_WORDLESS = (points.STATUS, points.ALARM)


@dataclass(frozen=True)
class PointSource:
    """Where one point comes from; ``unit`` is empty where the file must state it.

    ``more`` are the same column in further files, which continue the first.
    """

    point: points.Point
    file: str
    column: str
    unit: str = ""
    shared: bool = False
    on: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    on_above: float | None = None
    quality_column: str = ""
    unit_changes: tuple[tuple[str, str], ...] = ()
    more: tuple[PointSource, ...] = ()
    second: PointSource | None = None
    unusable: str = ""

    @property
    def name(self) -> str:
        return self.point.name

    @property
    def wordy(self) -> bool:
        """Whether the column holds words: a status or alarm not read from a measured value."""
        return self.point.kind in _WORDLESS and self.on_above is None


@dataclass(frozen=True)
class FileForm:
    """How one file is written, as far as the job states it."""

    name: str
    zone: tzinfo
    form: str = ""
    time_column: tuple[str, ...] = ()
    date_order: str = ""
    clock_offset_s: float = 0.0
    stamps: str = "begin"
    interval_minutes: float | None = None
    hold: float | None = None
    delimiter: str = ""
    decimal: str = ""
    encoding: str = ""
    header_row: int | None = None
    sheet: str = ""
    member: str = ""
    point_column: str = ""
    value_column: str = ""
    unit_column: str = ""
    quality_column: str = ""
    bad: tuple[str, ...] = ()
    good: tuple[str, ...] = ()
