"""A file opened with its map, about to be read into a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fptlib.trends import safe
from fptlib.trends.batches import Reader
from fptlib.trends.delimited import DelimitedReader
from fptlib.trends.forms import FileForm, PointSource
from fptlib.trends.headers import resolve
from fptlib.trends.long_form import is_long
from fptlib.trends.mapping import PointMap
from fptlib.trends.notes import Notes
from fptlib.trends.stamps import StampReader
from fptlib.trends.values import PointReader

SECOND_TREND = " (second)"


def open_reader(path: Path, form: FileForm, wanted: Sequence[str] = ()) -> Reader:
    """The reader that fits a file's content; ``wanted`` are headers that it should have.

    Raises:
        IntakeError: none does.
    """
    kind = safe.form_of(path)
    # Imported only where such a file lies there: they take a quarter of a second and 40 MB.
    if kind == "workbook":
        from fptlib.trends.workbook_file import WorkbookReader

        return WorkbookReader(path, form, wanted)
    if kind == "parquet":
        from fptlib.trends.parquet import ParquetReader

        return ParquetReader(path, form)
    return DelimitedReader(path, form, wanted)


@dataclass(frozen=True, slots=True)
class OpenedFile:
    """A file with what the job states of it.

    Attributes:
        sources: by key: a point's name, or its second trend.
        long: whether points stand in rows rather than in columns.
    """

    form: FileForm
    reader: Reader
    stamps: StampReader
    sources: dict[str, PointSource]
    long: bool
    altitude: float | None
    notes: Notes

    @classmethod
    def of(cls, path: Path, point_map: PointMap, notes: Notes) -> OpenedFile:
        """Open one file of a map.

        Raises:
            IntakeError: it cannot be read, or its time column cannot be found.
        """
        form, sources = point_map.files[path.name], _sources(point_map, path.name)
        mapped = [source.column for source in sources.values()]
        own = [form.point_column, form.value_column]
        wanted = [column for column in (*form.time_column, *own, *mapped) if column]
        reader = open_reader(path, form, wanted)
        stamps = StampReader(reader, form, notes)
        long = is_long(reader, form, mapped)
        return cls(form, reader, stamps, sources, long, point_map.altitude, notes)

    @property
    def mapped(self) -> list[str]:
        """Columns, or names in the point column, that points are read from."""
        return [source.column for source in self.sources.values()]

    def header(self, source: PointSource, column: str) -> str:
        """The header that a point's ``column`` names.

        Raises:
            IntakeError: there is none, or more than one.
        """
        return resolve(self.reader, column, f"point {source.name}")

    def point_reader(self, source: PointSource, header: str) -> PointReader:
        """What turns the cells of a column into the point's unit."""
        return PointReader(source, self.form, self.reader.unit_of(header), self.reader.decimal,
                           self.altitude, self.notes)


def _sources(point_map: PointMap, file: str) -> dict[str, PointSource]:
    """The sources of one file; a second trend has a key of its own."""
    keyed = {
        name: one for name, source in point_map.sources.items()
        for one in (source, *source.more) if one.file == file
    }
    for name, source in point_map.sources.items():
        if source.second and source.second.file == file:
            keyed[name + SECOND_TREND] = source.second
    return keyed
