"""Trend exports that went through several hands: a locale of its own, two exports in one file, sums
between the rows, lines that contradict one another, another unit from a day on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from export_forms import (
    COLD,
    FULL,
    HEADS,
    ONE,
    STATUS,
    Export,
    Truth,
    book,
    delimited,
    heads_of,
    plain,
    points,
    rows_of,
    wide,
    words,
)

COLD_AGAIN = {"t.csv": delimited([heads_of(COLD), *rows_of(COLD)])}
WARM = Truth(FULL.start, 5, {
    "chw_supply_temp": FULL.columns["chw_supply_temp"],
    "outdoor_dry_bulb": np.round(30 + 8 * np.sin(np.arange(60) / 20), 2)})
WARM_MAP = {**points(["chw_supply_temp"]), "outdoor_dry_bulb": {
    "file": "t.csv", "column": "OAT", "unit": "degF"}}
_ON_OFF = {
    "Italian": ("Acceso", "Spento"), "Portuguese": ("Ligado", "Desligado"), "Dutch": ("Aan", "Uit"),
    "Swedish": ("Till", "Från"), "Polish": ("Włączony", "Wyłączony"),
    "French": ("En service", "Hors service"), "German": ("läuft", "steht"),
    "Spanish": ("En marcha", "Parado"), "a proof": ("Proven", "Not Proven")}


def locales() -> list[Export]:
    whole = Truth(FULL.start, 5, {"chw_flow": np.round(FULL.columns["chw_flow"]) + 1000})
    below = Truth(FULL.start, 5, {**WARM.columns, "outdoor_dry_bulb":
                                  WARM.columns["outdoor_dry_bulb"] - 60})
    cold = [["Time", "CHWS", "OAT"], *rows_of(
        below, cell=lambda name, value: plain(name, value).replace("-", "\u2212"))]
    return [
        wide("a narrow blank before PM", FULL,
             lambda at: f"{at.month}/{at.day}/{at.year} {at:%I:%M:%S}\u202f{at:%p}"),
        wide("points between thousands alone", whole, delimiter=";", cell=lambda _, value:
             f"{value:,.0f}".replace(",", "."), answers=('decimal = ","',)),
        wide("a typographer's apostrophe between thousands", whole, delimiter=";",
             cell=lambda _, value: f"{value:,.1f}".replace(",", "\u2019")),
        Export("a typographer's minus", {"t.csv": delimited(cold)}, below, WARM_MAP),
        *(wide(f"on and off of {tongue}", STATUS, cell=words(*pair))
          for tongue, pair in _ON_OFF.items()),
        Export("operating states of an alarm", {"t.csv": delimited([
            ["Time", "CHWS", "CH1 Alarm"], *([*row[:2], "Running" if row[2] == "1" else "Stopped"]
                                             for row in rows_of(STATUS))])},
            Truth(FULL.start, 5, {**ONE.columns, "chiller_1_alarm": np.zeros(60)}),
            {**points(ONE.columns), "chiller_1_alarm": {"file": "t.csv", "column": "CH1 Alarm"}},
            answers=('off = ["Running", "Stopped"]',)),
    ]


def around() -> list[Export]:
    rows, heads = rows_of(COLD), heads_of(COLD)
    celsius = [["Time", *(f"{HEADS[n]} (°C)" for n in COLD.columns)], *rows_of(
        COLD, cell=lambda _, value: f"{(value - 32) / 1.8:.3f}")]
    other = rows_of(FULL.only("chw_flow", "chiller_1_power"))
    summed = [row for at, row in enumerate(rows) for row in (
        [row, ["Hourly avg", "45.1", "55.2"]] if at % 12 == 11 else [row])]
    remarks = [[*row, 'he said:\n"ok", then left' if at % 7 == 3 else ""]
               for at, row in enumerate(rows)]
    groups = [[None, "Chilled water", None, "Weather"], ["Time", "CHWS", "CHWR", "OA Temp"]]

    def again(name: str, *parts: list[list[str]]) -> Export:
        lines = [row for part in parts for row in part]
        return Export(name, {"t.csv": delimited(lines)}, COLD, points(COLD.columns),
                      again=COLD_AGAIN)

    return [
        Export("a delimiter at the header's end", {"t.csv": delimited([[*heads, ""], *rows])},
               COLD, points(COLD.columns)),
        Export("remarks of two lines", {"t.csv": delimited([[*heads, "Remark"], *remarks])},
               COLD, points(COLD.columns)),
        again("the header again, its columns changed places", [heads, *rows[:30]], [
            [heads[0], *heads[:0:-1]], *([row[0], *row[:0:-1]] for row in rows[30:])]),
        again("the header again in another unit", [
            [heads[0], *(f"{head} (°F)" for head in heads[1:])], *rows[:30]],
            [celsius[0], *celsius[31:]]),
        again("other points from a row on", [heads, *rows[:30]], [
            ["Time", "CHW Flow", "CH1 kW"], *other[30:]]),
        again("a narrower table below", [heads, *rows], [
            ["Time", "CHW Flow"], *(row[:2] for row in other)]),
        Export("averages between the rows", {"t.csv": delimited([heads, *summed])}, COLD,
               points(COLD.columns), said=("4 rows of sums", "1 last rows")),
        Export("groups above names", {"t.xlsx": book({"S": [*groups, *(
            [at.replace(tzinfo=None), *map(float, row[1:]), 40.0]
            for at, row in zip(COLD.times(), rows, strict=True))]})}, COLD,
            points(COLD.columns, "t.xlsx", {n: f"Chilled water {h}" for n, h in HEADS.items()})),
    ]


def contradictions() -> list[Export]:
    rows, heads = rows_of(COLD), heads_of(COLD)
    marked = [["Time", "CHWS", "Status", "CHWR", "Status"], *(
        [row[0], "50.00" if at in (5, 6) else row[1], "{fault}" if at in (5, 6) else "{ok}",
         row[2], "{ok,unacked}" if at == 9 else "{ok}"] for at, row in enumerate(rows))]
    halves = [half for row in rows for half in ([row[0], row[1], ""], [row[0], "", row[2]])]
    twice = [*rows[:20], [rows[19][0], "51.00", rows[19][2]], *rows[20:]]
    often = [copy for at, row in enumerate(rows) for copy in (
        [row, [row[0], "51.00", row[2]]] if at % 12 == 3 else [row])]
    poor = COLD.without("chw_supply_temp", (5, 6)).without("chw_return_temp", (9,))
    return [
        Export("marks of a quality in braces", {"t.csv": delimited(marked)}, poor,
               points(COLD.columns)),
        Export("each moment in two lines", {"t.csv": delimited([heads, *halves])}, COLD,
               points(COLD.columns)),
        Export("a moment twice, with other values", {"t.csv": delimited([heads, *twice])},
               COLD.without("chw_supply_temp", (19,)), points(COLD.columns),
               said=("1 rows repeat a moment with other values",),
               doubted=("chw_supply_temp",)),
        Export("moments often twice, with other values", {"t.csv": delimited([heads, *often])},
               COLD.without("chw_supply_temp", range(3, 60, 12)), points(COLD.columns),
               doubted=("chw_supply_temp",)),
    ]


def units_that_change() -> list[Export]:
    """Values are read as the map says; that they are not in its unit must be said."""
    def changed(name: str, point: str, of: Callable[[float], float], unit: str) -> Export:
        found = WARM if point == "outdoor_dry_bulb" else FULL.only("chw_supply_temp", point)
        mapped = WARM_MAP if found is WARM else points(found.columns)
        cells = np.array([value if at < 30 else round(of(value), 2)
                          for at, value in enumerate(found.columns[point])])
        file = [["Time", *(mapped[n]["column"] for n in found.columns)], *rows_of(
            replace(found, columns={**found.columns, point: cells}))]
        return Export(name, {"t.csv": delimited(file)}, replace(found, columns={
            **found.columns, point: cells}), mapped, doubted=(point,),
            said=(f'"{unit}"]] under [points.{point}]',))

    signals = {"chw_supply_temp": np.round(COLD.columns["chw_supply_temp"] / 20, 1) + 30,
               "tower_1_fan_speed": np.linspace(2, 9, 60).round(2)}
    volts = Truth(FULL.start, 5, signals)
    january, february = COLD.part(0, 30), COLD.part(30, 60)
    metric = [["Time", *(f"{HEADS[n]} (°C)" for n in COLD.columns)], *rows_of(
        february, cell=lambda _, value: f"{(value - 32) / 1.8:.3f}")]
    return [
        changed("Celsius from a day on, outdoors", "outdoor_dry_bulb",
                lambda value: (value - 32) / 1.8, "degC"),
        changed("litres per second from a day on", "chw_flow", lambda value: value / 15.850323,
                "L/s"),
        Export("signals in volts", {"t.csv": delimited([
            ["Time", "CHWS (V)", "CT1 Speed"], *([row[0], row[1], f"{speed:.2f}"] for row, speed in
                                                 zip(rows_of(volts), volts.columns[
                                                     "tower_1_fan_speed"], strict=True))])},
            volts, {"chw_supply_temp": {"file": "t.csv", "column": "CHWS (V)", "unit": "degF"},
                    "tower_1_fan_speed": {"file": "t.csv", "column": "CT1 Speed", "unit": "%"}},
            doubted=("chw_supply_temp", "tower_1_fan_speed")),
        Export("a month in another unit, not mapped", {
            "t 2026-01.csv": delimited([["Time", *(f"{HEADS[n]} (°F)" for n in COLD.columns)],
                                        *rows_of(january)]),
            "t 2026-02.csv": delimited(metric)}, january, {
                name: {"file": "t 2026-01.csv", "column": f"{HEADS[name]} (°F)", "unit": "degF"}
                for name in COLD.columns},
            said=("has the columns of 't 2026-01.csv' in other units",)),
    ]


def leftover_forms() -> list[Export]:
    return [*locales(), *around(), *contradictions(), *units_that_change()]

