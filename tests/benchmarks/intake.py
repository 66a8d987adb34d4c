"""Speed and memory of intake against the fastest reader's own read of the same columns.

    python tests/benchmarks/intake.py            two plant-years and a log of 20 million rows
    python tests/benchmarks/intake.py --small    a twentieth of it, for every run of the tests

Every measurement is a process of its own, ours and the reader's in turn, so that the peak
memory is its own and a change of the machine's speed meets both. The reader is Arrow's CSV
reader with all threads, declared types and parsed timestamps; for the log with the point
column dictionary-typed. Ours is ``read_trends`` whole: SHA-256, reading, mapping, units,
alignment, plausible ranges and the doubts. ``proposed`` is a plant-year under a trade's own names
with nothing mapped: the point map is proposed, and what is ticked of it is read; the reader reads
every column.

Required: wide ratio <= 2.0 and <= 350 MB, long ratio <= 2.5 and <= 450 MB, proposed ratio <= 3.0
and <= 500 MB.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from csv import reader as reader_of
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from _measure import figure
from pyarrow import csv

ROOT = Path(__file__).resolve().parents[2]
POINTS = ["chw_supply_temp", "chw_return_temp", "cw_supply_temp", "cw_return_temp",
          "hx_chw_entering_temp", "hx_chw_leaving_temp", "hx_cw_entering_temp",
          "hx_cw_leaving_temp",
          *(f"chiller_{n}_cw_leaving_temp" for n in range(1, 28))]
STATUS = [f"chiller_{n}_running" for n in range(1, 6)]
NAMES = [*POINTS, *STATUS]
LIMITS = {"wide": (2.0, 350.0), "long": (2.5, 450.0), "proposed": (3.0, 500.0)}


def write_wide(path: Path, rows: int) -> None:
    """A plant-year of minutes: 35 temperatures with four decimals and five statuses."""
    dice, at = np.random.default_rng(1), np.arange(rows)
    times = np.datetime64("2025-01-01T00:00:00") + at.astype("timedelta64[m]")
    columns: dict[str, Any] = {"Time": pa.array(times.astype("datetime64[s]"))}
    for i, name in enumerate(NAMES):
        wave = np.sin(at / (300.0 + i))
        columns[name] = (pa.array((wave > 0).astype(np.int8)) if name in STATUS else
                         pa.array(np.round(55 + 8 * wave + dice.normal(0, 0.5, rows), 4)))
    csv.write_csv(pa.table(columns), path, csv.WriteOptions(quoting_style="none"))


def write_long(path: Path, rows: int) -> None:
    """A log of changes of 40 points over a year, in the order of time."""
    dice, parts = np.random.default_rng(2), 40
    names = pa.array([f"Plant/{name}.Value" for name in NAMES])
    with path.open("wb") as out:
        out.write(b"Time,Point,Value\n")
        for part in range(parts):
            length = 365 * 86_400 // parts
            second = np.sort(dice.integers(0, length, rows // parts)) + part * length
            code = dice.integers(0, len(NAMES), rows // parts).astype(np.int32)
            wave = 55 + 8 * np.sin(second / 3e4) + dice.normal(0, 0.3, len(code))
            value = np.where(code >= len(POINTS), code % 2, np.round(wave, 2))
            times = np.datetime64("2025-01-01T00:00:00") + second.astype("timedelta64[s]")
            point = pa.DictionaryArray.from_arrays(pa.array(code), names).dictionary_decode()
            csv.write_csv(pa.table({"Time": times, "Point": point, "Value": value}), out,
                          csv.WriteOptions(include_header=False, quoting_style="none"))


def write_proposed(path: Path, rows: int) -> None:
    """A plant-year of minutes in 59 columns named in words, from the invented plant's six days."""
    sys.path[:0] = [str(ROOT), *(str(ROOT / "tests" / name) for name in ("support", "faults"))]
    import naming

    with tempfile.TemporaryDirectory() as folder:
        naming.written("trade_4_words", Path(folder))
        days = csv.read_csv(Path(folder) / "plant.csv").drop_columns("Time")
    at = np.arange(rows)
    times = np.datetime64("2025-01-01T00:00:00") + at.astype("timedelta64[m]")
    whole = days.take(pa.array(at % len(days)))
    csv.write_csv(whole.add_column(0, "Time", pa.array(times.astype("datetime64[s]"))), path,
                  csv.WriteOptions(quoting_style="needed"))


def answers(kind: str) -> dict[str, Any]:
    """The job of one file."""
    if kind == "proposed":
        return site(kind, {"time_zone": "-07:00"})
    column = {"wide": "{}", "long": "Plant/{}.Value"}[kind]
    form = {"form": kind, "time_zone": "-07:00", **({"hold": 24.0} if kind == "long" else {})}
    return {
        **site(kind, form),
        "points": {name: {"file": f"{kind}.csv", "column": column.format(name),
                          "unit": "on/off" if name in STATUS else "degF"} for name in NAMES},
    }


def site(kind: str, form: dict[str, Any]) -> dict[str, Any]:
    """The job before any point is mapped."""
    return {"site": {"time_zone": "America/Denver", "altitude": 5280.0, "step_minutes": 1.0},
            "files": {f"{kind}.csv": form}}


def ours(path: Path, kind: str) -> tuple[int, int]:
    """Shape of the aligned frame."""
    from fptlib.trends.mapping import PointMap
    from fptlib.trends.reading import read_trends
    from fptlib.trends.suggest import propose

    stated = answers(kind)
    if kind == "proposed":
        stated["points"] = {one.point: {"file": path.name, "column": one.column, "unit": one.unit}
                            for one in propose(path.parent, stated).chosen.values() if one.ticked}
    rows, columns = read_trends(path.parent, PointMap.from_answers(stated)).frame.shape
    return rows, columns


def reader(path: Path, kind: str) -> tuple[int, int]:
    """Shape of the table as the fastest reader gives it."""
    types: dict[str, Any] = {"Time": pa.timestamp("ns"), "Value": pa.float64(),
                             "Point": pa.dictionary(pa.int32(), pa.string())}
    if kind != "long":
        with path.open(encoding="utf-8") as file:
            names = next(reader_of(file))
        types = {"Time": pa.timestamp("ns"), **dict.fromkeys(names[1:], pa.float64())}
    rows, columns = csv.read_csv(
        path, convert_options=csv.ConvertOptions(column_types=types)).shape
    return rows, columns


def measure(path: Path, kind: str, who: str) -> None:
    """One run in this process: seconds of the read alone, peak memory of the process [MB]."""
    import resource

    import pandas  # noqa: F401  (both sides pay for it before the clock starts)

    import fptlib.trends  # noqa: F401

    begin = time.perf_counter()
    shape = {"ours": ours, "reader": reader}[who](path, kind)
    seconds = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024.0 / 1e6
    print(f"{seconds:.4f} {peak:.0f} {shape[0]}x{shape[1]}")


def run(path: Path, kind: str, who: str) -> tuple[float, float, str]:
    done = subprocess.run([sys.executable, __file__, "--measure", str(path), kind, who],
                          capture_output=True, text=True, check=True, env=_environment())
    seconds, peak, shape = done.stdout.split()
    return float(seconds), float(peak), shape


def _environment() -> dict[str, str]:
    import os

    return {**os.environ, "PYTHONPATH": str(ROOT)}


def compare(path: Path, kind: str, runs: int) -> bool:
    """Print medians and the ratio; whether the limits are kept."""
    run(path, kind, "reader")
    found: dict[str, list[tuple[float, float, str]]] = {"ours": [], "reader": []}
    for _ in range(runs):
        for who, results in found.items():
            results.append(run(path, kind, who))
    medians = {who: statistics.median(r[0] for r in results) for who, results in found.items()}
    peaks = {who: max(r[1] for r in results) for who, results in found.items()}
    pairs = [a[0] / b[0] for a, b in zip(found["ours"], found["reader"], strict=True)]
    ratio, (most, memory) = medians["ours"] / medians["reader"], LIMITS[kind]
    print(f"{kind}: {path.stat().st_size / 1e6:,.0f} MB, frame {found['ours'][0][2]}")
    for who in found:
        times = " ".join(f"{r[0]:.2f}" for r in found[who])
        print(f"  {who:7} median {medians[who]:7.2f} s   peak {peaks[who]:5.0f} MB   ({times})")
    print(f"  ratio of medians {ratio:.2f} (pairs {min(pairs):.2f} to {max(pairs):.2f}), required "
          f"<= {most:g}; peak {peaks['ours']:.0f} MB, required <= {memory:g} MB")
    figure(f"intake, {kind}: wall of the fastest read", ratio, "x", most)
    figure(f"intake, {kind}: peak memory", peaks["ours"], "MB", memory)
    return ratio <= most and peaks["ours"] <= memory


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="a twentieth of the rows")
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--only", choices=list(LIMITS))
    parser.add_argument("--measure", nargs=3, metavar=("FILE", "KIND", "WHO"))
    chosen = parser.parse_args(arguments)
    if chosen.measure:
        measure(Path(chosen.measure[0]), chosen.measure[1], chosen.measure[2])
        return 0
    share, kept = (20 if chosen.small else 1), True
    chosen.runs = 1 if chosen.small else chosen.runs
    with tempfile.TemporaryDirectory() as folder:
        for kind, write, rows in (("wide", write_wide, 525_600), ("long", write_long, 20_000_000),
                                  ("proposed", write_proposed, 525_600)):
            if chosen.only in (None, kind):
                path = Path(folder) / f"{kind}.csv"
                write(path, rows // share)
                kept &= compare(path, kind, chosen.runs)
                path.unlink()
    if chosen.small:
        print("small: fixed costs weigh more than at full size; the limits are not judged")
        return 0
    return 0 if kept else 1


if __name__ == "__main__":
    raise SystemExit(main())
