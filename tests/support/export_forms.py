"""Trend exports as control systems and spreadsheets write them, from one table of truth.

The writer is the tests' own: plain strings, the standard library and openpyxl, nothing of the
reader. Every cell that is written is known, so that a reading can be held against it to the
last one. Where the reader stops, ``Export.answers`` are the advice that a technician would
follow: each must stand in the sentence as it is written here.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import openpyxl

from fptlib.trends.grid import Grid

NAN = float("nan")
ZONE = ZoneInfo("America/Denver")
HEADS = {"chw_supply_temp": "CHWS", "chw_return_temp": "CHWR", "chw_flow": "CHW Flow",
         "chiller_1_power": "CH1 kW", "chiller_1_running": "CH1"}
UNITS = {"chw_supply_temp": "degF", "chw_return_temp": "degF", "chw_flow": "gpm",
         "chiller_1_power": "kW"}


@dataclass(frozen=True)
class Truth:
    """What the plant did: values in the glossary's unit, as written, every ``minutes``."""

    start: datetime
    minutes: int
    columns: Mapping[str, np.ndarray]

    def __len__(self) -> int:
        return len(next(iter(self.columns.values())))

    def times(self, zone: Any = ZONE) -> list[datetime]:
        begin = self.start.astimezone(UTC)
        return [(begin + timedelta(minutes=self.minutes * at)).astimezone(zone)
                for at in range(len(self))]

    def only(self, *names: str) -> Truth:
        return Truth(self.start, self.minutes, {name: self.columns[name] for name in names})

    def without(self, name: str, rows: Iterable[int]) -> Truth:
        """The same with unknown cells."""
        values = self.columns[name].astype(float)
        values[list(rows)] = NAN
        return Truth(self.start, self.minutes, {**self.columns, name: values})

    def part(self, begin: int, end: int) -> Truth:
        return Truth(self.times(UTC)[begin], self.minutes,
                     {name: values[begin:end] for name, values in self.columns.items()})


def truth(start: str = "2026-01-20 06:00", rows: int = 60, minutes: int = 5, seed: int = 1
          ) -> Truth:
    """Five points on the site's clock from ``start``; two decimals, never a round number."""
    dice, at = np.random.default_rng(seed), np.arange(rows)

    def wave(level: float, swing: float) -> np.ndarray:
        values = np.round(level + swing * np.sin(at / 9.0) + dice.normal(0, swing / 20, rows), 2)
        return np.where(values * 10 % 1 == 0, values + 0.01, values).round(2)

    return Truth(datetime.fromisoformat(start).replace(tzinfo=ZONE), minutes, {
        "chw_supply_temp": wave(45.0, 1.5), "chw_return_temp": wave(55.0, 2.0),
        "chw_flow": wave(930.0, 60.0), "chiller_1_power": wave(210.0, 30.0),
        "chiller_1_running": np.isin(at % 60 // 4, (1, 2, 3, 6, 7, 8, 9, 10, 13)).astype(float)})


@dataclass(frozen=True)
class Export:
    """Files, what the job states, the truth, and what is to be said.

    Attributes:
        answers: advice as it stands in a sentence, followed in this order.
        again: the files as exported again where a sentence asks for that.
        said: parts of remarks that must be there; ``doubted`` of doubts of a point.
    """

    name: str
    files: Mapping[str, bytes]
    truth: Truth
    points: Mapping[str, Mapping[str, Any]]
    stated: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    answers: Sequence[str] = ()
    again: Mapping[str, bytes] = field(default_factory=dict)
    said: Sequence[str] = ()
    doubted: Sequence[str] = ()
    site: Mapping[str, Any] = field(default_factory=dict)

    def job(self) -> dict[str, Any]:
        site = {"time_zone": "America/Denver", "altitude": 5280.0, **self.site}
        return {"site": site, "points": {k: dict(v) for k, v in self.points.items()},
                "files": {k: dict(v) for k, v in self.stated.items()}}

    def write(self, folder: Path, again: bool = False) -> None:
        for name, data in (self.again if again else self.files).items():
            (folder / name).write_bytes(data)


def follow(sentence: str, advice: str, job: dict[str, Any]) -> None:
    """Write a piece of advice into the job, at the place that the sentence names."""
    key, _, value = advice.partition(" =")
    value = value.strip()
    if not value:
        # A number that the sentence works out.
        advice = re.search(rf"{key} = \d+", sentence)[0]  # type: ignore[index]
    elif advice not in sentence:
        # What is which only the technician knows; the sentence lists what there is.
        assert all(each in sentence for each in re.findall(r'"[^"]+"', value)), sentence
        key = f"{key} = [...]"
    place = re.search(r"under \[(files|points)\.(\"[^\"]+\"|\w+)\]",
                      sentence[sentence.index(advice if advice in sentence else key):])
    assert place, sentence
    table = job[place[1]].setdefault(place[2].strip('"'), {})
    table.update(tomllib.loads(advice))


def wrong(export: Export, grid: Grid) -> list[str]:
    """Cells that are neither the truth's nor missing with it."""
    found = []
    begin, truth = export.truth.start.astimezone(UTC), export.truth
    step = timedelta(minutes=truth.minutes)
    for name, values in truth.columns.items():
        column = grid.columns[name]
        seen = set()
        for row in range(len(grid)):
            at = (grid.start.astimezone(UTC) + row * grid.step - begin) // step
            wanted = values[at] if 0 <= at < len(values) else np.nan
            seen.add(at)
            if not np.isclose(column[row], wanted, rtol=1e-6, atol=1e-6, equal_nan=True):
                found.append(f"{name} row {row}: {column[row]:g} for {wanted:g}")
        lost = [at for at in range(len(values)) if not np.isnan(values[at]) and at not in seen]
        found += [f"{name}: sample {at} is not on the grid" for at in lost]
    return found


# -- writing ---------------------------------------------------------------------------------------

def points(names: Iterable[str], file: str = "t.csv", heads: Mapping[str, str] = HEADS,
           **more: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """A point map of these points; ``more`` adds to one point's table or changes it."""
    found = {name: {"file": file, "column": heads[name],
                    **({"unit": UNITS[name]} if name in UNITS else {})} for name in names}
    return {name: {**table, **more.get(name, {})} for name, table in found.items()}


def plain(name: str, value: float) -> str:
    if np.isnan(value):
        return ""
    return f"{value:.0f}" if name == "chiller_1_running" else f"{value:.2f}"


def iso(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M:%S}"


Stamp = Callable[[datetime], str]


def rows_of(found: Truth, stamp: Stamp = iso, zone: Any = ZONE,
            cell: Callable[[str, float], str] = plain) -> list[list[str]]:
    """Time and cells of every row."""
    return [[stamp(at), *(cell(name, values[row]) for name, values in found.columns.items())]
            for row, at in enumerate(found.times(zone))]


def heads_of(found: Truth, time: str = "Time") -> list[str]:
    return [time, *(HEADS[name] for name in found.columns)]


def delimited(rows: Iterable[Sequence[str]], delimiter: str = ",", encoding: str = "utf-8"
              ) -> bytes:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\r\n").writerows(rows)
    return out.getvalue().encode(encoding)


def book(sheets: Mapping[str, Iterable[Sequence[Any]]]) -> bytes:
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def packed(members: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def wide(name: str, found: Truth | None = None, stamp: Stamp = iso, zone: Any = ZONE,
         cell: Callable[[str, float], str] = plain, time: str = "Time", delimiter: str = ",",
         encoding: str = "utf-8", before: Sequence[Sequence[str]] = (),
         after: Sequence[Sequence[str]] = (), **more: Any) -> Export:
    """A file ``t.csv`` of a column a point, with lines before and behind."""
    found = found or truth()
    rows = [*before, heads_of(found, time), *rows_of(found, stamp, zone, cell), *after]
    expected = more.pop("expected", found)
    return Export(name, {"t.csv": delimited(rows, delimiter, encoding)}, expected,
                  more.pop("points", points(found.columns)), **more)


def long_rows(found: Truth, stamp: Stamp = iso, extra: Callable[[str, float], Sequence[str]] =
              lambda name, value: (), cell: Callable[[str, float], str] = plain) -> list[list[str]]:
    return [[stamp(at), HEADS[name], cell(name, values[row]), *extra(name, values[row])]
            for row, at in enumerate(found.times()) for name, values in found.columns.items()]


def beside(*tables: Sequence[Sequence[str]]) -> list[list[str]]:
    """Tables side by side, the shorter ones filled with empty cells."""
    height = max(map(len, tables))
    return [[cell for table in tables
             for cell in (table[row] if row < len(table) else [""] * len(table[0]))]
            for row in range(height)]


FULL = truth()
COLD = FULL.only("chw_supply_temp", "chw_return_temp")
ONE = FULL.only("chw_supply_temp")
STATUS = FULL.only("chw_supply_temp", "chiller_1_running")
SI = {"chw_supply_temp": "°C", "chw_return_temp": "°C", "chw_flow": "L/s", "chiller_1_power": "kW",
      "chiller_1_running": ""}


def rounded_si(found: Truth) -> Truth:
    """The truth as far as three decimals of SI carry it."""
    return Truth(found.start, found.minutes, {
        name: np.array([from_si(name, float(to_si(name, v))) for v in values])
        for name, values in found.columns.items()})


def to_si(name: str, value: float) -> str:
    if name.endswith("temp"):
        return f"{(value - 32) / 1.8:.3f}"
    # 15.850323 gpm in a litre per second (231 in3 to the US gallon, 25.4 mm to the inch).
    return f"{value / 15.850323141489:.3f}" if name == "chw_flow" else plain(name, value)


def from_si(name: str, value: float) -> float:
    if name.endswith("temp"):
        return value * 1.8 + 32
    return value * 15.850323141489 if name == "chw_flow" else value


def no_units(found: Iterable[str]) -> dict[str, dict[str, Any]]:
    return {name: {k: v for k, v in table.items() if k != "unit"}
            for name, table in points(found).items()}


def words(on: str, off: str) -> Callable[[str, float], str]:
    return lambda name, value: ((on if value else off) if name == "chiller_1_running"
                                else plain(name, value))


# -- the forms -------------------------------------------------------------------------------------

def headers() -> list[Export]:
    data = rows_of(FULL)
    two_lines = [["", "Chilled Water", "", "Chiller 1", "", "Status"],
                 ["Time", "Supply", "Return", "Supply", "Power", "On"]]
    names = ("Chilled Water Supply", "Chilled Water Return", "Chiller 1 Supply", "Power", "On")
    two_names = {name: {**table, "column": column} for (name, table), column in
                 zip(points(FULL.columns).items(), names, strict=True)}
    above = [["", *HEADS.values()], ["Time", *["Value"] * 5]]
    below = [heads_of(FULL), ["", *["present value"] * 5]]
    units_row = [heads_of(FULL), ["", *SI.values()]]
    si_rows = rows_of(FULL, cell=to_si)
    si_heads = ["Time", *(f"{HEADS[n]} ({u})" if u else HEADS[n] for n, u in SI.items())]
    preamble = [["Trend report"], ["Site", "Plant 4"], ["From", "2026-01-20", "to", "2026-01-21"],
                []]
    return [
        wide("plain"),
        Export("two-line names", {"t.csv": delimited([*two_lines, *data])}, FULL, two_names),
        Export("points above equal names", {"t.csv": delimited([*above, *data])}, FULL,
               points(FULL.columns)),
        Export("descriptions below the names", {"t.csv": delimited([*below, *data])}, FULL,
               points(FULL.columns)),
        Export("units row", {"t.csv": delimited([*units_row, *si_rows])}, rounded_si(FULL),
               no_units(FULL.columns)),
        Export("units in the names", {"t.csv": delimited([si_heads, *si_rows])}, rounded_si(FULL),
               no_units(FULL.columns)),
        Export("units row and names in two lines",
               {"t.csv": delimited([heads_of(FULL), ["", *["value"] * 5], ["", *SI.values()],
                                    *si_rows])}, rounded_si(FULL), no_units(FULL.columns)),
        wide("preamble", before=preamble),
        wide("preamble that states the zone", zone=UTC,
             before=[["Trend report"], ["Time zone: UTC"], []]),
        wide("footer of totals", after=[["Minimum", "1", "2", "3", "4", "0"],
                                        ["Average", "1", "2", "3", "4", "0"], ["End of report"]]),
    ]


def side_by_side() -> list[Export]:
    cold, power = FULL.only("chw_supply_temp", "chw_return_temp"), FULL.only(
        "chw_flow", "chiller_1_power", "chiller_1_running")
    late = power.part(3, 50)
    both = Truth(FULL.start, 5, {**cold.columns, **{
        name: np.array([NAN] * 3 + list(v[3:50]) + [NAN] * 10)
        for name, v in power.columns.items()}})
    pairs = [FULL.only(name) for name in HEADS]
    shifted = [one.part(at, 60 - at) for at, one in enumerate(pairs)]
    pair_truth = Truth(FULL.start, 5, {
        name: np.array([NAN] * at + list(values[at : 60 - at]) + [NAN] * at)
        for at, (name, values) in enumerate(FULL.columns.items())})
    named_pairs = beside(*([heads_of(one), *rows_of(one)] for one in shifted))
    above = beside(*([[HEADS[next(iter(one.columns))], ""], ["Timestamp", "Value"], *rows_of(one)]
                     for one in shifted))
    gap = beside(*([[*heads_of(one), ""], *([*row, ""] for row in rows_of(one))]
                   for one in (cold, late)))
    two = beside([heads_of(cold), *rows_of(cold)], [heads_of(late), *rows_of(late)])
    return [
        Export("two tables side by side", {"t.csv": delimited(two)}, both, points(FULL.columns)),
        Export("two tables with an empty column between", {"t.csv": delimited(gap)}, both,
               points(FULL.columns)),
        Export("a time column to each value", {"t.csv": delimited(named_pairs)}, pair_truth,
               points(FULL.columns)),
        Export("time and value below the point", {"t.csv": delimited(above)}, pair_truth,
               points(FULL.columns)),
        Export("tables side by side in a workbook", {"t.xlsx": book({"Data": named_pairs})},
               pair_truth, points(FULL.columns, "t.xlsx")),
        Export("UTC beside local", {"t.csv": delimited(
            [["Local", "UTC", "CHWS"], *([row[0], iso(at), row[1]] for row, at in
                                         zip(rows_of(ONE), ONE.times(UTC), strict=True))])},
            ONE, points(ONE.columns)),
        Export("local beside UTC", {"t.csv": delimited(
            [["Time (UTC)", "Time (local)", "CHWS"], *(
                [iso(at), *row] for row, at in zip(rows_of(ONE), ONE.times(UTC), strict=True))])},
            ONE, points(ONE.columns)),
    ]


def many_files() -> list[Export]:
    each = {name: delimited([["Timestamp", "Value"], *rows_of(FULL.only(name))]) for name in HEADS}
    files = {f"{HEADS[name]}.csv": data for name, data in each.items()}
    mapped = {name: {**table, "file": f"{HEADS[name]}.csv", "column": "Value"}
              for name, table in points(FULL.columns).items()}
    zips = {f"{HEADS[name]}.zip": packed({"x/trend.csv": data}) for name, data in each.items()}
    in_zips = {name: {**table, "file": f"{HEADS[name]}.zip"} for name, table in mapped.items()}
    one_zip = {name: {**table, "file": "t.zip", "member": f"{HEADS[name]}.csv"}
               for name, table in mapped.items()}
    sheets = {HEADS[name]: [["Timestamp", "Value"],
                            *([at.replace(tzinfo=None), float(v)] for at, v in
                              zip(FULL.times(), FULL.columns[name], strict=True))]
              for name in HEADS}
    in_sheets = {name: {**table, "file": "t.xlsx", "sheet": HEADS[name]}
                 for name, table in mapped.items()}
    weeks = [FULL.part(0, 20), FULL.part(20, 40), FULL.part(40, 60)]
    weekly = {f"w{at}.csv": delimited([heads_of(week), *rows_of(week)])
              for at, week in enumerate(weeks)}
    lost = Truth(FULL.start, 5, {n: v[:20] for n, v in FULL.columns.items()})
    utc = delimited([["Time", "CH1 kW"], *rows_of(FULL.only("chiller_1_power"), zone=UTC)])
    two = {"a.csv": delimited([heads_of(ONE), *rows_of(ONE)]), "b.csv": utc}
    of_two = {**points(["chw_supply_temp"], "a.csv"), **points(["chiller_1_power"], "b.csv")}
    return [
        Export("one file per point", files, FULL, mapped),
        Export("one zip per point", zips, FULL, in_zips),
        Export("one zip of a file per point", {"t.zip": packed(files)}, FULL, one_zip),
        Export("one sheet per point", {"t.xlsx": book(sheets)}, FULL, in_sheets),
        Export("a zip of two, not said which", {"t.zip": packed(
            {"a.csv": delimited([heads_of(ONE), *rows_of(ONE)]), "b.csv": b"x"})}, ONE,
            points(ONE.columns, "t.zip"), answers=('member = "a.csv"',)),
        Export("weekly files", weekly, FULL, points(
            FULL.columns, "w0.csv", **{n: {"file": list(weekly)} for n in FULL.columns})),
        Export("weekly files, the first mapped", weekly, lost, points(FULL.columns, "w0.csv"),
               said=("file = [\"w0.csv\", \"w1.csv\"]", "file = [\"w0.csv\", \"w2.csv\"]")),
        Export("a file that cannot be read", {"t.csv": delimited([heads_of(ONE), *rows_of(ONE)]),
                                              "x.csv": b"\0\1\2" * 50, "p.pdf": b"%PDF-1.4"},
               ONE, points(ONE.columns), said=("x.csv", "p.pdf")),
        Export("a file in UTC beside a local one", two, FULL.only(
            "chw_supply_temp", "chiller_1_power"), of_two, answers=('time_zone = "UTC"',)),
    ]


def long_files() -> list[Export]:
    quality = {1.0: "Good", 0.0: "Bad"}
    good = FULL.only("chw_supply_temp", "chw_flow")
    bad_rows = (5, 6, 20)
    counter = iter(range(10_000))

    def marks(name: str, value: float) -> list[str]:
        at = next(counter) // 2
        return [quality[0.0 if at in bad_rows and name == "chw_supply_temp" else 1.0]]

    changes: list[list[str]] = []
    last: dict[str, float] = {}
    for row, at in enumerate(FULL.times()):
        for name in ("chw_supply_temp", "chiller_1_running"):
            value = FULL.columns[name][row]
            if name == "chw_supply_temp" or value != last.get(name) or row % 36 == 0:
                changes.append([iso(at), HEADS[name], plain(name, value)])
            last[name] = value
    logged = truth(rows=240).only("chw_supply_temp", "chiller_1_running")
    blank = [[row[0], row[1], row[2] if not at or row[2] != before[2] else ""]
             for at, (row, before) in enumerate(zip(
                 rows_of(logged), [rows_of(logged)[0], *rows_of(logged)], strict=False))]
    return [
        Export("long", {"t.csv": delimited([["Time", "Point", "Value"], *long_rows(FULL)])}, FULL,
               points(FULL.columns)),
        Export("long with a column of units", {"t.csv": delimited(
            [["Time", "Point", "Value", "Units"],
             *long_rows(FULL, extra=lambda name, value: [SI[name]], cell=to_si)])},
            rounded_si(FULL), no_units(FULL.columns)),
        Export("long with a column of quality", {"t.csv": delimited(
            [["Time", "Point", "Value", "Quality"], *long_rows(good, extra=marks)])},
            good.without("chw_supply_temp", bad_rows), points(good.columns)),
        Export("log of changes with a heartbeat", {"t.csv": delimited(
            [["Time", "Point", "Value"], *changes])}, STATUS,
            points(STATUS.columns), answers=("hold = ",)),
        Export("wide log of changes", {"t.csv": delimited([heads_of(logged), *blank])}, logged,
               points(logged.columns), answers=("hold = ",)),
    ]


def qualities() -> list[Export]:
    bad = (5, 6, 20)
    known = ONE.without("chw_supply_temp", bad)

    def with_marks(good: str, poor: str, head: str) -> bytes:
        return delimited([["Time", "CHWS", head, "CHWR", head.replace("CHWS", "CHWR")], *(
            [row[0], row[1], poor if at in bad else good, row[2], good]
            for at, row in enumerate(rows_of(COLD)))])

    both = COLD.without("chw_supply_temp", bad)

    def tagged(good: str, poor: str) -> Callable[[str, float], str]:
        count = iter(range(10_000))
        return lambda name, value: (poor if next(count) in bad else good).format(value)

    return [
        Export("status beside each value", {"t.csv": with_marks("ok", "fault", "CHWS Status")},
               both, points(COLD.columns)),
        Export("quality beside each value", {"t.csv": with_marks("Good", "Bad", "Quality")}, both,
               points(COLD.columns)),
        Export("quality in numbers", {"t.csv": with_marks("192", "24", "Quality")}, both,
               points(COLD.columns)),
        Export("quality in numbers of another kind", {"t.csv": with_marks("0", "1", "Quality")},
               both, points(COLD.columns), answers=('good = ["0"]',)),
        wide("marks in the cells", ONE, cell=tagged("{:.2f} {{ok}}", "{:.2f} {{down}}"),
             expected=known),
        wide("unknown marks in the cells", ONE, cell=tagged("{:.2f} {{ok}}", "{:.2f} {{zz}}"),
             expected=known, answers=('bad = ["* {zz}"]',)),
        wide("question marks before the value", ONE, cell=tagged("{:.2f}", "??? {:.2f}"),
             expected=known, answers=('bad = ["??? *"]',)),
        wide("a flag behind the bad values", ONE, cell=tagged("{:.2f}", "{:.2f}!"),
             expected=known, answers=('bad = ["*!"]',)),
        wide("placeholders", ONE, cell=tagged("{:.2f}", "#N/A"), expected=known),
    ]


def statuses() -> list[Export]:
    mode = {"chiller_1_running": {"on": ["2", "3"], "off": ["0", "1"]}}
    count = iter(range(10_000))

    def modes(name: str, value: float) -> str:
        if name != "chiller_1_running":
            return plain(name, value)
        return str(int(2 * value) + next(count) % 2)

    inverse = {"chiller_1_running": {"on": ["0"], "off": ["1"]}}
    lost = (9, 10, 30)
    power = STATUS.columns["chiller_1_running"] * 200.0 + 3.0
    above = {"chiller_1_running": {"on_above": 50.0}}

    def sentinel(text: str) -> Callable[[str, float], str]:
        seen = iter(range(10_000))
        return lambda name, value: (plain(name, value) if name != "chiller_1_running" else
                                    text if next(seen) in lost else plain(name, value))

    alarm = Truth(FULL.start, 5, {"chiller_1_alarm": np.zeros(60), **ONE.columns})
    alarm_rows = [["Time", "Alarm", "CHWS"], *(
        [row[0], "-9999" if at in lost else "0", row[2]]
        for at, row in enumerate(rows_of(alarm)))]
    return [
        wide("words for on and off", STATUS, cell=words("Running", "Stopped")),
        wide("closed is running", STATUS, cell=words("Closed", "Open"),
             answers=('on = ["Closed"]', 'off = ["Open"]')),
        wide("open is running", STATUS, cell=words("Open", "Closed"),
             answers=('on = ["Open"]', 'off = ["Closed"]')),
        wide("mode numbers", STATUS, cell=modes, points=points(STATUS.columns, **mode)),
        wide("mode numbers not said", STATUS, cell=modes, answers=(
            'on = ["2", "3"]', 'off = ["0", "1"]')),
        wide("zero is on", STATUS, cell=lambda name, value: (
            plain(name, 1 - value) if name == "chiller_1_running" else plain(name, value)),
            points=points(STATUS.columns, **inverse)),
        wide("a threshold", Truth(FULL.start, 5, {**ONE.columns, "chiller_1_running": power}),
             expected=STATUS, points=points(STATUS.columns, **above),
             cell=lambda name, value: f"{value:.1f}" if name == "chiller_1_running"
             else plain(name, value)),
        wide("-9999 in a status", STATUS, cell=sentinel("-9999"),
             expected=STATUS.without("chiller_1_running", lost), said=("-9999",)),
        Export("-9999 in an alarm", {"t.csv": delimited(alarm_rows)},
               alarm.without("chiller_1_alarm", lost), {
                   **points(ONE.columns), "chiller_1_alarm": {"file": "t.csv", "column": "Alarm"}},
               said=("-9999",)),
        wide("infinity in a status", STATUS, cell=sentinel("1e999"),
             expected=STATUS.without("chiller_1_running", lost)),
    ]


def stamps() -> list[Export]:
    early = truth("2026-02-03 06:00", rows=48)
    days = truth("2026-02-01 00:00", rows=40, minutes=120)
    half = truth("2026-01-20 00:00", rows=288)

    def of(text: str) -> Stamp:
        return lambda at: at.strftime(text)

    def serial(at: datetime) -> str:
        days = at.replace(tzinfo=None) - datetime(1899, 12, 30)
        return f"{days / timedelta(days=1):.6f}"

    def offset(text: str) -> Stamp:
        return lambda at: f"{iso(at)}{text}"

    def apart(found: Truth, day: str, hour: str, last: bool = False) -> list[list[str]]:
        head = ["Date", *heads_of(found)[1:], "Time"] if last else ["Date", *heads_of(found)]
        return [head, *([at.strftime(day), *row[1:], at.strftime(hour)] if last else
                        [at.strftime(day), at.strftime(hour), *row[1:]]
                        for at, row in zip(found.times(), rows_of(found), strict=True))]

    once = apart(FULL, "%m/%d/%Y", "%H:%M")
    filled = [once[0], once[1], *(["", *row[1:]] for row in once[2:])]
    hourly = truth("2026-01-20 00:00", rows=48, minutes=60)
    in_hours = [["Date", "Hour", *heads_of(hourly)[1:]], *(
        [f"{at:%m/%d/%Y}", str(at.hour), *row[1:]]
        for at, row in zip(hourly.times(), rows_of(hourly), strict=True))]
    month_first = wide("x", half, of("%m/%d/%Y %I:%M %p")).files
    return [
        wide("AM and PM", half, of("%m/%d/%Y %I:%M:%S %p")),
        wide("twelve hours without AM and PM", half, of("%m/%d/%Y %I:%M"), again=month_first),
        wide("T and Z", stamp=of("%Y-%m-%dT%H:%M:%SZ"), zone=UTC),
        wide("day first, evident", stamp=of("%d.%m.%Y %H:%M")),
        wide("day first, asked", early, of("%d/%m/%Y %H:%M"), answers=(
            'date_order = "day first"',)),
        wide("month first, asked", early, of("%m/%d/%Y %H:%M"), answers=(
            'date_order = "month first"',)),
        wide("day first by the course of days", days, of("%d/%m/%Y %H:%M")),
        wide("month as a word", stamp=of("%d-%b-%y %I:%M:%S %p")),
        wide("seconds since 1970", stamp=lambda at: f"{at.timestamp():.0f}"),
        wide("milliseconds since 1970", stamp=lambda at: f"{at.timestamp() * 1000:.0f}"),
        wide("microseconds since 1970", stamp=lambda at: f"{at.timestamp() * 1e6:.0f}"),
        wide("spreadsheet serial", stamp=serial),
        wide("offset in the stamp", stamp=lambda at: at.isoformat()),
        wide("offset of another zone", stamp=lambda at: at.isoformat(),
             zone=ZoneInfo("America/New_York")),
        wide("UTC-7 behind the stamp", stamp=offset(" UTC-7")),
        wide("GMT-07:00 behind the stamp", stamp=offset(" GMT-07:00")),
        wide("zone in brackets", stamp=lambda at: f"{at.isoformat()}[America/Denver]"),
        wide("zone word", stamp=of("%d-%b-%Y %H:%M:%S MST")),
        wide("zone word of elsewhere", stamp=of("%d-%b-%Y %H:%M:%S %Z"),
             zone=ZoneInfo("America/New_York")),
        wide("zone word that could be many", stamp=offset(" IST"), zone=ZoneInfo("Asia/Kolkata"),
             stated={"t.csv": {"time_zone": "Asia/Kolkata"}}),
        wide("Time (UTC)", time="Time (UTC)", zone=UTC),
        wide("Timestamp [GMT]", time="Timestamp [GMT]", zone=UTC),
        wide("Time GMT-05:00", time="Date Time, GMT-05:00", zone=ZoneInfo("Etc/GMT+5")),
        wide("Time (EST)", time="Time (EST)", zone=ZoneInfo("Etc/GMT+5")),
        wide("Time [America/New_York]", time="Time [America/New_York]",
             zone=ZoneInfo("America/New_York")),
        Export("date and time apart", {"t.csv": delimited(apart(FULL, "%m/%d/%Y", "%H:%M"))},
               FULL, points(FULL.columns)),
        Export("date and afternoon apart", {"t.csv": delimited(apart(half, "%d %b %Y",
                                                                     "%I:%M %p"))},
               half, points(half.columns)),
        Export("time of day at the end", {"t.csv": delimited(apart(FULL, "%Y-%m-%d", "%H:%M:%S",
                                                                   True))},
               FULL, points(FULL.columns)),
        Export("the date once a day", {"t.csv": delimited(filled)}, FULL, points(FULL.columns)),
        Export("a column of hours", {"t.csv": delimited(in_hours)}, hourly,
               points(hourly.columns)),
    ]


def clock_changes() -> list[Export]:
    spring, autumn = truth("2026-03-07 22:00", 40, 15), truth("2025-11-01 22:00", 40, 15)
    hourly = truth("2025-11-01 18:00", 24, 60)
    standard = ZoneInfo("Etc/GMT+7")
    return [
        wide("clocks go forward", spring),
        wide("clocks go back", autumn),
        wide("clocks go back, newest first", autumn, expected=autumn,
             points=points(autumn.columns)),
        wide("clocks go back, hourly", hourly),
        wide("standard time in spring", spring, zone=standard, answers=('time_zone = "-07:00"',)),
        wide("standard time in autumn", autumn, zone=standard, answers=('time_zone = "-07:00"',)),
    ]


def spreadsheets() -> list[Export]:
    def typed(found: Truth, stamp: Callable[[datetime], Any] = lambda at: at.replace(tzinfo=None)
              ) -> list[list[Any]]:
        return [heads_of(found), *([stamp(at), *(float(v[row]) for v in found.columns.values())]
                                   for row, at in enumerate(found.times()))]

    days = truth("2026-01-01 00:00", rows=100, minutes=240)
    few = truth("2026-01-02 00:00", rows=54, minutes=240)

    def swapped(at: datetime) -> Any:
        """A day-first date as a month-first spreadsheet takes it."""
        if at.day > 12:
            return f"{at:%d/%m/%Y %H:%M}"
        return at.replace(tzinfo=None, month=at.day, day=at.month)

    comma = [[cell.replace(".", ",") for cell in row] for row in rows_of(FULL)]
    return [
        Export("workbook of dates and numbers", {"t.xlsx": book({"Trend": typed(FULL)})}, FULL,
               points(FULL.columns, "t.xlsx")),
        Export("workbook of text", {"t.xlsx": book({"Trend": [heads_of(FULL), *rows_of(FULL)]})},
               FULL, points(FULL.columns, "t.xlsx")),
        Export("workbook of text with decimal commas",
               {"t.xlsx": book({"Trend": [heads_of(FULL), *comma]})}, FULL,
               points(FULL.columns, "t.xlsx")),
        Export("workbook of some text, some numbers", {"t.xlsx": book({"Trend": [
            heads_of(FULL), *([row[0], *(cell.replace(".", ",") if at % 3 else float(cell)
                                         for cell in row[1:])]
                              for at, row in enumerate(rows_of(FULL)))]})}, FULL,
            points(FULL.columns, "t.xlsx")),
        Export("dates swapped, some left as text", {"t.xlsx": book({"Trend": typed(
            days, swapped)})}, days, points(days.columns, "t.xlsx"),
            answers=('date_order = "swapped"',)),
        Export("all dates swapped", {"t.xlsx": book({"Trend": typed(few, swapped)})}, few,
               points(few.columns, "t.xlsx"), answers=('date_order = "swapped"',)),
        wide("dates swapped, saved as text", few, lambda at: iso(swapped(at)),
             answers=('date_order = "swapped"',)),
    ]


def values() -> list[Export]:
    lost = (9, 10, 30)

    def stand_in(point: str, text: str) -> Callable[[str, float], str]:
        seen = iter(range(10_000))
        return lambda name, value: (plain(name, value) if name != point else
                                    text if next(seen) in lost else plain(name, value))

    si = rounded_si(COLD)
    zero_rows = [["Time", "CHWS (°C)", "CHWR (°C)"], *(
        [row[0], *(["0", "0"] if at in lost else row[1:])]
        for at, row in enumerate(rows_of(COLD, cell=to_si)))]
    zeros = si.without("chw_supply_temp", lost).without("chw_return_temp", lost)
    body = delimited([heads_of(ONE), *rows_of(ONE)])
    drives = [["Time", "Fan A kW", "Fan B kW", "Fan C kW"], *(
        [iso(at), "10.25", "11.50", "12.75"] for at in FULL.times())]
    summed = Truth(FULL.start, 5, {"tower_fan_power": np.full(60, 34.5)})
    european = wide("decimal comma", delimiter=";", cell=lambda n, v: plain(n, v).replace(".", ","))
    unquoted = b"\r\n".join([b"Time,CHWS,CHWR", *(
        ",".join([row[0], *(c.replace(".", ",") for c in row[1:])]).encode()
        for row in rows_of(COLD))]) + b"\r\n"
    return [
        european,
        Export("decimal comma between commas", {"t.csv": unquoted}, COLD, points(COLD.columns),
               again={"t.csv": delimited([heads_of(COLD), *rows_of(COLD)])}),
        wide("Latin-1", encoding="latin-1", before=[["Kältezentrale, Anlage 4 (°F)"]]),
        wide("UTF-16", encoding="utf-16", delimiter="\t"),
        Export("cut inside the last number", {"t.csv": body[:-4]},
               ONE.without("chw_supply_temp", [59]), points(ONE.columns), said=("cut",)),
        wide("9999 in a flow", FULL, cell=stand_in("chw_flow", "9999"), said=("9999",),
             expected=FULL.without("chw_flow", lost), doubted=("chw_flow",)),
        wide("32767 in a power", FULL, cell=stand_in("chiller_1_power", "32767"), said=("32767",),
             expected=FULL.without("chiller_1_power", lost), doubted=("chiller_1_power",)),
        wide("-9999 in a temperature", FULL, cell=stand_in("chw_supply_temp", "-9999"),
             expected=FULL.without("chw_supply_temp", lost)),
        Export("0 °C in every column", {"t.csv": delimited(zero_rows)}, zeros,
               no_units(COLD.columns), doubted=("chw_supply_temp", "chw_return_temp")),
        wide("a bad number as stated", FULL, cell=stand_in("chw_flow", "777"),
             expected=FULL.without("chw_flow", lost), stated={"t.csv": {"bad": ["777"]}}),
        wide("a number with a blank in it", ONE, cell=stand_in("chw_supply_temp", "3 8.2"),
             expected=ONE.without("chw_supply_temp", lost), answers=('bad = ["3 8.2"]',)),
        Export("power of each drive", {"t.csv": delimited(drives)}, summed, {"tower_fan_power": {
            "file": "t.csv", "column": "Fan A kW", "unit": "kW",
            "plus": ["Fan B kW", "Fan C kW"]}}),
    ]


def all_forms() -> list[Export]:
    return [*headers(), *side_by_side(), *many_files(), *long_files(), *qualities(), *statuses(),
            *stamps(), *clock_changes(), *spreadsheets(), *values()]
