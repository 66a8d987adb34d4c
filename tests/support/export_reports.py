"""Trend exports of report generators, loggers and query tools: what stands around the table, and
what a spreadsheet left of it."""

from __future__ import annotations

import numpy as np
from export_forms import (
    COLD,
    FULL,
    HEADS,
    ONE,
    STATUS,
    Export,
    Stamp,
    Truth,
    book,
    delimited,
    heads_of,
    iso,
    long_rows,
    packed,
    plain,
    points,
    rows_of,
    truth,
    wide,
)

AGAIN = {"t.csv": delimited([heads_of(COLD), *rows_of(COLD)])}
HOURLY = truth("2026-01-20 06:00", rows=60, minutes=60)
DAYS = [HOURLY.part(0, 18), HOURLY.part(18, 42), HOURLY.part(42, 60)]


def of(text: str) -> Stamp:
    return lambda at: at.strftime(text)


def again(name: str, rows: list[list[str]], delimiter: str = ",") -> Export:
    """A form of two temperatures that only another export helps."""
    return Export(name, {"t.csv": delimited(rows, delimiter)}, COLD, points(COLD.columns),
                  again=AGAIN)


def stamps() -> list[Export]:
    summer = truth("2026-07-01 06:00")
    return [
        wide("two-digit year in front", HOURLY, of("%y-%m-%d %H:%M")),
        wide("two-digit year in front, of one day", FULL, of("%y/%m/%d %H:%M"), answers=(
            'date_order = "year first"',)),
        wide("9:05a", FULL, lambda at: f"{at:%m/%d/%Y %I:%M}{'a' if at.hour < 12 else 'p'}"),
        wide("year behind the clock", FULL, of("%a %b %d %H:%M:%S MST %Y")),
        wide("zone as Windows names it", summer, of("%m/%d/%Y %H:%M"),
             time="Date (UTC-07:00) Mountain Time (US & Canada)",
             answers=('date_order = "month first"',)),
        wide("zone by a place", FULL, time="Date (UTC-07:00) The Plains",
             answers=('time_zone = "America/Denver"',)),
        again("a long number saved short", [
            heads_of(COLD), *rows_of(COLD, lambda at: f"{at.timestamp() * 1000:.5E}")]),
        again("minutes and seconds alone", [
            heads_of(COLD), *rows_of(COLD, lambda at: f"{at:%M:%S}.0")]),
        again("year, day of the year and minute apart", [
            ["Year", "Day", "HHMM", *heads_of(COLD)[1:]],
            *([f"{at:%Y}", f"{at:%j}", f"{at:%H%M}", *row[1:]]
              for at, row in zip(COLD.times(), rows_of(COLD), strict=True))]),
    ]


def around_the_table() -> list[Export]:
    rows, ends = rows_of(FULL), [*rows_of(FULL)[:30]]
    title = [["Page 2 of 2"], heads_of(FULL)]
    begin, end = (f"{at:%Y-%m-%dT%H:%M:%SZ}" for at in (FULL.times()[0], FULL.times()[-1]))
    queried = [["#group", "false", "true", "true", "false", "false", "true"],
               ["#datatype", "long", "dateTime:RFC3339", "dateTime:RFC3339", "dateTime:RFC3339",
                "double", "string"], ["#default", "", "", "", "", "", ""],
               ["", "table", "_start", "_stop", "_time", "_value", "_field"]]
    queried += [["", str(table), begin, end, iso(at), plain(name, values[row]), HEADS[name]]
                for table, (name, values) in enumerate(FULL.columns.items())
                for row, at in enumerate(FULL.times())]
    events = [[*heads_of(COLD), "Host Connected"], *([*row, ""] for row in rows_of(COLD))]
    events.insert(10, ["2026-01-20 06:41:10", "", "", "Logged"])
    events.append([f"{COLD.times()[-1]:%Y-%m-%d %H:%M}:45", "", "", "Logged"])
    below = [row for name in COLD.columns for row in (
        [f"Trend {HEADS[name]}"], ["Timestamp", "Value"], *rows_of(COLD.only(name)), [])]
    return [
        Export("pages with a title", {"t.csv": delimited([
            heads_of(FULL), *ends, *title, *rows[30:]])}, FULL, points(FULL.columns)),
        Export("files put one behind the other", {"t.csv": b"".join(
            delimited([heads_of(FULL), *part], encoding="utf-8-sig")
            for part in (rows[:30], rows[30:]))}, FULL, points(FULL.columns)),
        Export("a delimiter at the end of each row", {"t.csv": delimited([
            heads_of(FULL), *([*row, ""] for row in rows)])}, FULL, points(FULL.columns)),
        Export("comments and the query's times", {"t.csv": delimited(queried)}, FULL,
               points(FULL.columns)),
        Export("a logger's events between", {"t.csv": delimited(events)}, COLD,
               points(COLD.columns), said=("hold no value",)),
        Export("tables below one another", {"t.csv": delimited(below)}, ONE, {
            "chw_supply_temp": {"file": "t.csv", "column": "Value", "unit": "degF"}},
               again={"t.csv": delimited([["Time", "Value"], *rows_of(ONE)])}),
        again("times across", [["Point", *(iso(at) for at in COLD.times())], *(
            [HEADS[name], *(plain(name, value) for value in values)]
            for name, values in COLD.columns.items())]),
        again("a day in each row", [["Date", *(f"{hour:02d}:00" for hour in range(24))], *(
            [f"01/{day}/2026", *["45.12"] * 24] for day in (20, 21, 22))]),
        again("set apart by blanks", [["   ".join(row)] for row in (heads_of(COLD),
                                                                    *rows_of(COLD))]),
    ]


def cells() -> list[Export]:
    cold = Truth(FULL.start, 5, {"chw_supply_temp": COLD.columns["chw_supply_temp"],
                                 "outdoor_wet_bulb": COLD.columns["chw_return_temp"] - 55.0})
    mapped = {**points(["chw_supply_temp"]), "outdoor_wet_bulb": {
        "file": "t.csv", "column": "WB", "unit": "degF"}}

    def bookkept(shape: str) -> Export:
        def rows(below: str) -> bytes:
            return delimited([["Time", "CHWS", "WB"], *(
                [row[0], row[1], below.format(row[2][1:]) if row[2][0] == "-" else row[2]]
                for row in rows_of(cold))])
        return Export(f"below zero as {shape}", {"t.csv": rows(shape)}, cold, mapped,
                      again={"t.csv": rows("-{}")})

    def power(head: str, by: float) -> Export:
        unitless = {"file": "t.csv", "column": head}
        only = FULL.only("chiller_1_power")
        return Export(f"power headed {head}", {"t.csv": delimited([["Time", head], *(
            [row[0], f"{float(row[1]) * by:.4f}"] for row in rows_of(only))])}, only,
            {"chiller_1_power": unitless}, again={"t.csv": delimited([
                ["Time", f"{head} (kW)"], *rows_of(only)])})

    def in_thousands(name: str, value: float) -> str:
        return f"{value / 1000:.5f} K" if name == "chw_flow" and value > 900 else plain(name, value)

    states = [["PointName", "Timestamp", "NumericValue", "StringValue"]]
    states += [[row[1], row[0], *(["", "On" if row[2] == "1" else "Off"] if row[1] == "CH1" else
                                  [row[2], ""])] for row in long_rows(STATUS)]
    empty = Truth(FULL.start, 5, {**ONE.columns, "chw_return_temp": np.full(60, np.nan)})
    return [
        bookkept("({})"), bookkept("{}-"), power("CH1 Energy (kWh)", 100.0),
        power("CH1 kW x10", 0.1), power("CH1 (100 kW)", 0.01),
        wide("numbers with K behind", FULL, cell=in_thousands,
             again=wide("x", FULL).files),
        wide("cells kept as text", FULL, cell=lambda name, value: f'="{plain(name, value)}"'),
        Export("states in a column of their own", {"t.csv": delimited(states)}, STATUS,
               points(STATUS.columns)),
        wide("a column without a value", empty, doubted=("chw_return_temp",)),
    ]


def in_parts() -> list[Export]:
    names = ["trend 2026-01-20.csv", "trend 2026-01-21.csv", "trend 2026-01-22.csv"]
    tables = [[heads_of(day), *rows_of(day)] for day in DAYS]
    days = packed(dict(zip(names, map(delimited, tables), strict=True)))
    sheets = book({name[11:16]: table for name, table in zip(names, tables, strict=True)})
    listed = ", ".join(f'"{name}"' for name in names)
    own = {name: {**table, "member": names} for name, table in
           points(HOURLY.columns, "t.zip").items()}
    first = Truth(HOURLY.start, 60, {n: v[:18] for n, v in HOURLY.columns.items()})
    celsius = [["Time", *(f"{HEADS[n]} (°C)" for n in COLD.columns)], *(
        [row[0], *(f"{(float(cell) - 32) / 1.8:.7f}" for cell in row[1:])]
        for row in rows_of(COLD.part(30, 60)))]
    fahrenheit = [["Time", *(f"{HEADS[n]} (°F)" for n in COLD.columns)], *rows_of(
        COLD.part(0, 30))]
    return [
        Export("a zip of days", {"t.zip": days}, HOURLY, points(HOURLY.columns, "t.zip"),
               answers=(f"member = [{listed}]",)),
        Export("a zip of days, as each point states", {"t.zip": days}, HOURLY, own),
        Export("a zip of days, the first mapped", {"t.zip": days}, first,
               points(HOURLY.columns, "t.zip"), stated={"t.zip": {"member": names[0]}},
               said=(f'member = ["{names[0]}", "{names[1]}"]',)),
        Export("a sheet of each day", {"t.xlsx": sheets}, HOURLY, points(HOURLY.columns, "t.xlsx"),
               answers=('sheet = ["01-20", "01-21", "01-22"]',)),
        Export("the second file in another unit", {
            "a.csv": delimited(fahrenheit), "b.csv": delimited(celsius)}, COLD, {
                name: {"file": ["a.csv", "b.csv"], "column": HEADS[name]}
                for name in COLD.columns}),
    ]


def report_forms() -> list[Export]:
    return [*stamps(), *around_the_table(), *cells(), *in_parts()]
