"""Features of exports shuffled: whatever comes together, no cell is silently wrong.

A seed chooses a form of table, stamps, zone, header, words, units, marks and faults. The reader may
read it right, or stop; its advice is then followed where the writer knows the answer. What is read
must be the truth, or missing with a remark that says so.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from export_forms import (
    HEADS,
    ZONE,
    Export,
    Truth,
    beside,
    book,
    delimited,
    follow,
    from_si,
    heads_of,
    long_rows,
    no_units,
    packed,
    plain,
    points,
    rows_of,
    to_si,
    truth,
    wrong,
)

from fptlib.errors import IntakeError
from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends

STARTS = ("2026-01-20 06:00", "2026-02-03 22:00", "2026-03-07 23:00", "2025-11-01 23:00",
          "2026-07-04 12:00", "2025-12-31 20:00", "2026-10-09 00:00")
# Name of the stamp's form, how it is written, zone of the clock, what the header says.
Stamp = tuple[str, Callable[[datetime], str], Any, str]
NEW_YORK, DAY = ZoneInfo("America/New_York"), timedelta(days=1)
STAMPS: tuple[Stamp, ...] = (
    ("iso", lambda at: f"{at:%Y-%m-%d %H:%M:%S}", ZONE, "Time"),
    ("month first", lambda at: f"{at:%m/%d/%Y %H:%M}", ZONE, "Date Time"),
    ("AM and PM", lambda at: f"{at:%m/%d/%Y %I:%M:%S %p}", ZONE, "Timestamp"),
    ("day first", lambda at: f"{at:%d.%m.%Y %H:%M}", ZONE, "Zeit"),
    ("two-digit year", lambda at: f"{at:%d-%b-%y %H:%M}", ZONE, "Time"),
    ("offset", lambda at: at.isoformat(), ZONE, "Time"),
    ("offset behind", lambda at: f"{at:%Y-%m-%d %H:%M:%S} GMT{at:%z}", NEW_YORK, "Time"),
    ("word", lambda at: f"{at:%d-%b-%Y %H:%M:%S %Z}", ZONE, "Time"),
    ("word of elsewhere", lambda at: f"{at:%d-%b-%Y %H:%M:%S %Z}", NEW_YORK, "Time"),
    ("UTC in the header", lambda at: f"{at:%Y-%m-%d %H:%M}", UTC, "Time (UTC)"),
    ("offset in the header", lambda at: f"{at:%m/%d/%y %H:%M:%S}", ZoneInfo("Etc/GMT+7"),
     "Date Time, GMT-07:00"),
    ("seconds", lambda at: f"{at.timestamp():.0f}", UTC, "Time"),
    ("two-digit year in front", lambda at: f"{at:%y-%m-%d %H:%M}", ZONE, "Time"),
    ("a or p", lambda at: f"{at:%m/%d/%Y %I:%M}{at:%p}"[:-1].lower(), ZONE, "Time"),
    ("year behind the clock", lambda at: f"{at:%a %b %d %H:%M:%S %Z %Y}", ZONE, "Time"),
    ("as Windows names it", lambda at: f"{at:%Y-%m-%d %H:%M}", ZONE,
     "Date (UTC-07:00) Mountain Time (US & Canada)"),
    ("milliseconds", lambda at: f"{at.timestamp() * 1000:.0f}", UTC, "Time"),
    ("serial", lambda at: f"{(at.replace(tzinfo=None) - datetime(1899, 12, 30)) / DAY:.6f}", ZONE,
     "Time"),
    ("unmarked standard time", lambda at: f"{at:%Y-%m-%d %H:%M:%S}", ZoneInfo("Etc/GMT+7"), "Time"),
)
ON_OFF = (("1", "0"), ("On", "Off"), ("Running", "Stopped"), ("Closed", "Open"), ("2", "0"),
          ("true", "false"), ("Occ", "Unocc"), ("1 (On)", "0 (Off)"), ("255", "0"), ("-1", "0"))
PLACES = ("", "", "#N/A", "---", "9999", "-9999", "32767", "??? {}", "{} {{zz}}", "{} {{down}}",
          "inf", "NULL", "Comm Fail", "-0.0 {{down}}")


def _changes(times: list[datetime]) -> bool:
    """Whether the clocks change well inside these times."""
    return times[5].utcoffset() != times[-6].utcoffset()


class Shuffled:
    """One export of a seed, with what its writer knows."""

    def __init__(self, seed: int) -> None:
        dice = self.dice = np.random.default_rng(seed)
        self.minutes = int(dice.choice([1, 5, 15, 30, 60]))
        rows = int(dice.integers(30, 90)) if self.minutes < 60 else int(dice.integers(14, 60))
        whole = truth(str(dice.choice(STARTS)), rows, self.minutes, seed)
        self.stamp, self.write, self.zone, self.head = STAMPS[dice.integers(len(STAMPS))]
        if self.stamp.startswith("unmarked") and not _changes(whole.times()):
            # Nobody can tell a clock on standard time from one that was never changed.
            self.stamp, self.write, self.zone, self.head = STAMPS[0]
        self.on, self.off = ON_OFF[dice.integers(len(ON_OFF))]
        self.si = bool(dice.integers(2))
        self.lost = {int(row) for row in dice.integers(0, rows, int(dice.integers(0, 4)))}
        self.place = str(dice.choice(PLACES))
        self.spoilt = str(dice.choice(["chw_supply_temp", "chw_flow", "chiller_1_power"]))
        self.known: dict[str, set[str]] = {
            "time_zone": {'"-07:00"' if "GMT+7" in str(self.zone) else f'"{self.zone}"'},
            "date_order": {{"day first": '"day first"', "two-digit year in front":
                            '"year first"'}.get(self.stamp, '"month first"')},
            "on": {f'["{self.on}"]'}, "off": {f'["{self.off}"]'}, "hold": {""},
            "bad": {'["??? *"]', '["* {zz}"]'},
            "member": {'["t 2026-01.csv", "t 2026-02.csv", "t 2026-03.csv"]'},
            "sheet": {'["Jan", "Feb", "Mar"]'},
        }
        self.truth = self._known(whole)
        self._counts: Counter[str] = Counter()
        self.export = self._made()

    def _known(self, whole: Truth) -> Truth:
        columns = {name: np.array([from_si(name, float(to_si(name, v))) for v in values])
                   if self.si else values for name, values in whole.columns.items()}
        found = Truth(whole.start, whole.minutes, columns)
        return found.without(self.spoilt, self.lost) if self.lost else found

    def cell(self, name: str, value: float) -> str:
        at, self._counts[name] = self._counts[name], self._counts[name] + 1
        if name == "chiller_1_running":
            return self.on if value else self.off
        if name == self.spoilt and at in self.lost:
            return self.place.format("45.00") if "{" in self.place else self.place
        # The truth is in the trade's units already.
        return to_si(name, value) if self.si else plain(name, value)

    def _made(self) -> Export:
        names = (no_units if self.si else points)(self.truth.columns)
        units = {"chw_supply_temp": "°C", "chw_return_temp": "°C", "chw_flow": "L/s",
                 "chiller_1_power": "kW", "chiller_1_running": ""} if self.si else {
                     name: table.get("unit", "") for name, table in names.items()}
        form = str(self.dice.choice(["wide", "wide", "beside", "long", "files", "book", "zip",
                                     "zip of months", "sheets", "states apart"]))
        data = rows_of(self.truth, self.write, self.zone, self.cell)
        heads, column = heads_of(self.truth, self.head), list(self.truth.columns)
        units_row = [["", *units.values()]]
        before = [["Trend report"], ["Plant", "4"], []] if self.dice.integers(2) else []
        after = [["Total", *["1"] * len(column)]] if self.dice.integers(3) == 0 else []
        if form == "beside":
            half = [[heads[0], *heads[1:3]], *([["", *units_row[0][1:3]]] if self.si else []),
                    *([row[0], *row[1:3]] for row in data)]
            other = [[heads[0], *heads[3:]], *([["", *units_row[0][3:]]] if self.si else []),
                     *([row[0], *row[3:]] for row in data)]
            return Export(form, {"t.csv": delimited(beside(half, other))}, self.truth, names)
        if form == "long":
            self._counts.clear()
            rows = long_rows(Truth(self.truth.start, self.truth.minutes, self.truth.columns),
                             lambda at: self.write(at.astimezone(self.zone)),
                             lambda name, value: [units[name]], self.cell)
            return Export(form, {"t.csv": delimited([[self.head, "Point", "Value", "Units"],
                                                     *rows])}, self.truth, names)
        if form == "files":
            files = {f"{HEADS[name]}.csv": delimited(
                [[self.head, f"Value ({units[name]})" if units[name] else "Value"],
                 *([row[0], row[at]] for row in data)]) for at, name in enumerate(column, 1)}
            mapped = {name: {**table, "file": f"{HEADS[name]}.csv", "column": "Value"}
                      for name, table in names.items()}
            return Export(form, files, self.truth, mapped)
        if form == "states apart":
            self._counts.clear()
            rows = [[point, at, *(["", cell] if point == "CH1" else [cell, ""]), unit]
                    for at, point, cell, unit in long_rows(
                        self.truth, lambda at: self.write(at.astimezone(self.zone)),
                        lambda name, value: [units[name]], self.cell)]
            return Export(form, {"t.csv": delimited([
                ["Point Name", self.head, "Numeric Value", "String Value", "Units"], *rows])},
                self.truth, names)
        top = [heads, *(units_row if self.si else [])]
        if form in ("zip of months", "sheets"):
            third = len(data) // 3
            parts = [[*before, *top, *data[begin:end]] for begin, end in (
                (0, third), (third, 2 * third), (2 * third, None))]
            if form == "sheets":
                pages = dict(zip(("Jan", "Feb", "Mar"), parts, strict=True))
                return Export(form, {"t.xlsx": book(pages)}, self.truth, {
                    name: {**each, "file": "t.xlsx"} for name, each in names.items()})
            months = {f"t 2026-0{at}.csv": delimited(part) for at, part in enumerate(parts, 1)}
            return Export(form, {"t.zip": packed(months)}, self.truth, {
                name: {**each, "file": "t.zip"} for name, each in names.items()})
        page = int(self.dice.integers(5, len(data))) if self.dice.integers(3) == 0 else 0
        if page:
            # A report's next page, with its title and its header.
            data[page:page] = [["Page 2"], heads]
        if self.dice.integers(4) == 0:
            top, data = top[:1], [[*row, ""] for row in (*top[1:], *data)]
        table = [*before, *top, *data, *after]
        if form == "book":
            return Export(form, {"t.xlsx": book({"Trend": table})}, self.truth,
                          {name: {**each, "file": "t.xlsx"} for name, each in names.items()})
        delimiter = str(self.dice.choice([",", ";", "\t"]))
        encoding = str(self.dice.choice(["utf-8", "latin-1", "utf-16", "utf-8-sig"]))
        text = delimited(table, delimiter, encoding)
        if form == "zip":
            return Export(form, {"t.zip": packed({"a/t.csv": text})}, self.truth,
                          {name: {**each, "file": "t.zip"} for name, each in names.items()})
        return Export(form, {"t.csv": text}, self.truth, names)

    def answer(self, sentence: str, job: dict[str, Any]) -> bool:
        """Follow what the sentence asks, where the writer knows it."""
        followed = False
        for key, values in self.known.items():
            for value in sorted(values):
                advice = f"{key} = {value}" if value else f"{key} = "
                if advice.strip() in sentence or f"{key} = [...]" in sentence:
                    follow(sentence, advice if value else key, job)
                    followed = True
        return followed


def outcome(seed: int, folder: Path) -> str:
    """Right, or stopped because only another export would help; anything else is an error."""
    made = Shuffled(seed)
    made.export.write(folder)
    job = made.export.job()
    told = f"seed {seed}: {made.export.name}, {made.stamp}, {made.on}, {made.place!r}, {made.si}"
    # Each of five files may ask for its own.
    for _ in range(20):
        try:
            grid = read_trends(folder, PointMap.from_answers(job))
            break
        except IntakeError as error:
            sentence = str(error)
            before = repr(job)
            if made.answer(sentence, job) and repr(job) != before:
                continue
            assert re.search(r"export|open the workbook|rename", sentence), (told, sentence)
            return "stopped"
    else:
        raise AssertionError((told, "asks again and again", sentence))
    remarked = {remark.point for remark in grid.remarks if remark.severity != "note"}
    files = {remark.file for remark in grid.remarks if remark.severity != "note"}
    for line in wrong(made.export, grid):
        name = line.split()[0].rstrip(":")
        missing = ": nan for" in line or "is not on the grid" in line
        assert missing and (name in remarked or files), (told, line, grid.remarks)
    return "right"


@pytest.mark.parametrize("part", range(6))
def test_nothing_is_silently_wrong(part: int, tmp_path: Path) -> None:
    count = int(os.environ.get("FPTLIB_FUZZ", "120")) // 6
    found: Counter[str] = Counter()
    for seed in range(part * count, (part + 1) * count):
        folder = tmp_path / str(seed)
        folder.mkdir()
        found[outcome(seed, folder)] += 1
    # A reader that stops at everything would be silent too.
    assert found["right"] > 0.7 * count, found


def test_the_writer_is_not_the_reader() -> None:
    """The truth stands where its stamps say: the first of a July day in two zones."""
    one = truth("2026-07-04 12:00", 3, 60)
    assert one.times(UTC)[0] == datetime(2026, 7, 4, 18, tzinfo=UTC)
    assert one.times(ZONE)[2] - one.times(UTC)[0] == timedelta(hours=2)
