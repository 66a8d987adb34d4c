"""One plant-year: CSV to verdicts against the fastest reader, the plain way and the cache.

    python tests/benchmarks/one_plant.py [--small]

525,600 rows of 40 columns, of which the job maps twelve; 92 changeovers. Every line is a
whole process, interpreter and imports included, unless it says otherwise.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from functools import partial
from pathlib import Path

import _measure as measure

PLACE = Path(__file__).resolve().parent
SHARE = 0.02
# The columns that portfolio_plants.USUAL maps; not imported, to keep this process small.
USUAL = (
    "outdoor_dry_bulb", "outdoor_humidity", "chw_supply_temp", "chw_supply_setpoint",
    "chw_return_temp", "chw_flow", "cw_supply_temp", "economizer_command", "chiller_1_running",
    "chiller_2_running", "plant_power",
)


def main(small: bool) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        folder = measure.plant(Path(scratch) / "plant", days=14 if small else 365, missed=0.3,
                               usual=True, columns=40)
        file, rounds = folder / "trends" / "plant.csv", 1 if small else 7
        print(f"{file.stat().st_size / 1e6:.0f} MB")
        columns = [str(file), "Time", *USUAL]
        forget = partial(shutil.rmtree, folder / ".cache", ignore_errors=True)
        check = ["-m", "fptlib", "check", str(folder)]
        found = measure.side_by_side("CSV to verdicts, whole process", {
            "fastest reader, typed, needed columns": partial(
                measure.process, [str(PLACE / "_fastest_read.py"), *columns]),
            "the same, with digest and pandas imported": partial(
                measure.process, [str(PLACE / "_least.py"), *columns]),
            "CSV to verdicts": partial(measure.process, check, forget),
            "CSV to verdicts, from the cache": partial(measure.process, check),
        }, rounds)
        figures(found)
        plain_way(columns, found["CSV to verdicts"])
        in_process(folder, forget, rounds)
    sample(rounds)


def figures(found: dict) -> None:
    """The whole process beside its limits."""
    fastest, whole, cached = (found[name] for name in (
        "fastest reader, typed, needed columns", "CSV to verdicts",
        "CSV to verdicts, from the cache"))
    for what, limit in (("cpu", 1.7), ("wall", 2.4)):
        measure.figure(f"CSV to verdicts, {what} of the fastest read",
                       measure.ratio(whole, fastest, what), "x", limit)
    measure.figure("CSV to verdicts, peak memory", measure.median(whole, "peak"), "MB", 260)
    measure.figure("from the cache, wall of CSV to verdicts",
                   measure.ratio(cached, whole, "wall"), "x", 0.35)


def sample(rounds: int) -> None:
    """A check of the sample job, opened from the cache, as a whole process."""
    from fptlib.job.start import start_sample

    with tempfile.TemporaryDirectory() as scratch:
        check = ["-m", "fptlib", "check", str(start_sample(Path(scratch) / "job", "sound").folder)]
        measure.process(check)
        took = measure.median([measure.process(check) for _ in range(rounds)], "wall")
    measure.figure("check of the sample from the cache", took, "s", 0.6)


def plain_way(columns: list[str], ours: list[measure.Cost]) -> None:
    """The loop over a sample of rows, scaled to all of them."""
    done = subprocess.run(
        [sys.executable, str(PLACE / "_plain_way.py"), columns[0], str(SHARE), *columns[1:]],
        capture_output=True, text=True, check=True)
    read, loop = map(float, done.stdout.split())
    whole = read + loop / SHARE
    cpu = sorted(cost.cpu for cost in ours)[len(ours) // 2]
    print(f"pandas {read:.2f} s + psychrolib's loop {loop / SHARE:.1f} s of CPU = {whole:.1f} s: "
          f"{whole / cpu:.0f} times CSV to verdicts")
    measure.figure("pandas + psychrolib, CPU of CSV to verdicts", whole / cpu, "x", 18, least=True)


def in_process(folder: Path, forget: partial, rounds: int) -> None:
    """The same without interpreter and imports, as a running workbook sees it."""
    from fptlib.job.folder import Job
    from fptlib.procedure.assemble import assemble
    from fptlib.procedure.steps import all_checks

    job = Job(folder)

    def read() -> None:
        forget()
        assemble(job)

    def whole() -> None:
        forget()
        all_checks(assemble(job))

    found = measure.side_by_side("in a running process", {
        "CSV to verdicts": partial(measure.here, whole),
        "CSV to case (read, align, cache written)": partial(measure.here, read),
        "cache to case": partial(measure.here, partial(assemble, job)),
        "case to verdicts": verdicts(job, assemble, all_checks),
    }, rounds)
    measure.figure("case to verdicts, 92 changeovers",
                   measure.median(found["case to verdicts"], "wall"), "s", 0.10)
    measure.figure("cache to case", measure.median(found["cache to case"], "wall"), "s", 0.03)


def verdicts(job, assemble, all_checks):  # type: ignore[no-untyped-def]
    def timed() -> measure.Cost:
        case = assemble(job)
        return measure.here(partial(all_checks, case))

    return timed


if __name__ == "__main__":
    main(measure.small())
