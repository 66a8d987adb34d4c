"""Many plants: on worker processes, on a Dask scheduler, interrupted, killed."""

from __future__ import annotations

import csv
import io
import multiprocessing
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import portfolio_faults
import portfolio_plants as plants
import pytest

from fptlib.cli.commands import main
from fptlib.errors import JobError
from fptlib.portfolio import engine
from fptlib.portfolio.engine import Task
from fptlib.portfolio.result import Results, inputs_digest
from fptlib.portfolio.screening import screen_with_record

SRC = Path(__file__).resolve().parents[2]
unix = pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise on Windows")


@pytest.fixture(scope="module")
def portfolio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("portfolio")
    for n in range(4):
        plants.write_job(folder / f"plant {n}", days=2, missed=n / 4, seed=n)
    plants.write_job(folder / "north" / "<b>bold</b>", days=2, missed=1.0, seed=9)
    return folder


@pytest.fixture(scope="module")
def singles(portfolio: Path) -> dict:
    names = ["north/<b>bold</b>", *(f"plant {n}" for n in range(4))]
    return {name: screen_with_record(portfolio / name, name)[0] for name in names}


def tasks(portfolio: Path, results: Path, names: object) -> list[Task]:
    return [Task(portfolio, name, results) for name in names]


def test_results_of_two_workers_equal_single_runs_to_the_bit(
    portfolio: Path, singles: dict, tmp_path: Path
) -> None:
    found = {r.plant: r for r in engine.on_this_machine(tasks(portfolio, tmp_path, singles), 2)}
    assert found == singles


def test_a_killed_worker_costs_its_own_plant_a_second_attempt(
    portfolio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pools, made = [], engine._process

    def counted():  # type: ignore[no-untyped-def]
        pools.append(1)
        return made()

    monkeypatch.setattr(engine, "_process", counted)
    monkeypatch.setattr(engine, "screen_plant", portfolio_faults.slowly)
    found, wanted = [], [f"p{n}" for n in range(6)]
    for result in engine.on_this_machine(tasks(portfolio, tmp_path, wanted), 2):
        found.append(result)
        if len(found) == 1:
            time.sleep(0.3)
            victim = next(p for p in multiprocessing.active_children()
                          if str(p.pid) == result.title)
            victim.kill()
    assert sorted(r.plant for r in found) == wanted and not any(r.error for r in found)
    assert len(pools) == 3
    assert len({r.title for r in found}) == 3


def test_a_plant_that_always_ends_its_worker_is_reported_and_others_are_done(
    portfolio: Path, singles: dict, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "screen_plant", portfolio_faults.doomed_or_screened)
    names = ["plant 0", "doomed", "plant 1"]
    found = {r.plant: r for r in engine.on_this_machine(tasks(portfolio, tmp_path, names), 2)}
    assert "ended from outside 2 times" in found.pop("doomed").error
    assert found == {name: singles[name] for name in found} and len(found) == 2


def test_the_command_writes_table_page_and_records(
    portfolio: Path, singles: dict, capsys: pytest.CaptureFixture[str]
) -> None:
    (portfolio / "forgotten").mkdir(exist_ok=True)
    assert main(["screen", str(portfolio), "--workers", "2"]) == 1
    said = capsys.readouterr()
    assert "forgotten: COULD NOT BE SCREENED" in said.out and "plant" in said.err
    results = portfolio / "screening"
    table = (results / "portfolio.csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(table.splitlines()))
    lost = [float(row["lost_hours"]) for row in rows if row["lost_hours"]]
    assert lost == sorted(lost, reverse=True) and len(lost) == 5
    assert {row["plant"]: row["enable.missed"] for row in rows if row["lost_hours"]} == {
        name: next(r.verdict for r in one.rows if r.id == "enable.missed")
        for name, one in singles.items()}
    page = (results / "portfolio.html").read_text(encoding="utf-8")
    assert "<b>bold</b>" not in page and "&lt;b&gt;bold&lt;/b&gt;" in page
    assert not re.search(r"<script|src=|href=|url\(", page) and "unsigned" in page
    assert "has no job.toml" in page and page.count('<svg class="spark"') == 5
    assert len(list((results / "records").rglob("*.screening.json"))) == 5
    (portfolio / "forgotten").rmdir()


@pytest.mark.parametrize("title", ["=HYPERLINK(1)", "＝1+1", " =1+1", "\n=1", "@x"])
def test_a_formula_in_a_name_is_no_formula_in_the_table(singles: dict, title: str) -> None:
    from dataclasses import replace

    from fptlib.portfolio.page import table

    text = table([replace(singles["plant 0"], title=title)])
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert row["title"] == f"'{title}"


@unix
def test_an_interrupted_run_goes_on_where_it_stopped(tmp_path: Path) -> None:
    names = [f"p{n:02d}" for n in range(12)]
    for n, name in enumerate(names):
        plants.write_job(tmp_path / name, days=2, seed=n)
    command = [sys.executable, "-m", "fptlib", "screen", str(tmp_path), "--workers", "1"]
    results = Results(tmp_path / "screening")
    running = subprocess.Popen(command, cwd=SRC, stdout=subprocess.DEVNULL,
                               stderr=subprocess.DEVNULL, start_new_session=True)
    _wait(lambda: sum(results.file(name).exists() for name in names) >= 2)
    os.kill(running.pid, signal.SIGKILL)
    running.wait()
    _wait(lambda: not _alive_in_session(running.pid))
    done = {name: results.file(name).stat().st_mtime_ns for name in names
            if results.file(name).exists()}
    assert 2 <= len(done) < len(names)
    again = subprocess.run(command, cwd=SRC, capture_output=True, text=True, timeout=120)
    assert again.returncode == 0, again.stderr
    assert {name: results.file(name).stat().st_mtime_ns for name in done} == done
    assert all(results.read(name, inputs_digest(tmp_path / name)) for name in names)


@unix
def test_ctrl_c_says_one_line_and_leaves_no_process(tmp_path: Path) -> None:
    for n in range(8):
        plants.write_job(tmp_path / f"p{n}", days=2, seed=n)
    running = subprocess.Popen(
        [sys.executable, "-m", "fptlib", "screen", str(tmp_path), "--workers", "1"], cwd=SRC,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True)
    _wait(lambda: any((tmp_path / "screening").rglob("*.json")))
    os.killpg(running.pid, signal.SIGINT)
    _, said = running.communicate(timeout=60)
    assert running.returncode == 1 and "nothing saved is lost" in said
    assert "Traceback" not in said
    _wait(lambda: not _alive_in_session(running.pid))


def _alive_in_session(session: int) -> bool:
    listed = subprocess.run(["ps", "-o", "pid=", "-s", str(session)], capture_output=True)
    return bool(listed.stdout.strip())


def _wait(condition, seconds: float = 60.0) -> None:  # type: ignore[no-untyped-def]
    until = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < until, "it took too long"
        time.sleep(0.02)


def test_no_workers_and_no_scheduler_are_sentences(
    portfolio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(JobError, match="0 plants at a time"):
        engine.screen(portfolio, 0)
    monkeypatch.setitem(sys.modules, "dask.distributed", None)
    with pytest.raises(JobError, match=r"fptlib\[portfolio\]"):
        list(engine.on_scheduler(tasks(portfolio, tmp_path, ["plant 0"]), "tcp://127.0.0.1:1"))
