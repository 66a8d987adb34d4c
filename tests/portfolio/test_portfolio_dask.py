"""The same function per plant on the workers of a Dask scheduler."""

from __future__ import annotations

import socket
from pathlib import Path

import portfolio_plants as plants
import pytest

from fptlib.errors import JobError
from fptlib.portfolio import engine
from fptlib.portfolio.engine import Task
from fptlib.portfolio.screening import screen_with_record

distributed = pytest.importorskip(
    "dask.distributed", reason="Dask is not installed; it comes with fptlib[portfolio]")


def test_results_of_dask_workers_equal_single_runs(tmp_path: Path) -> None:
    names = [f"plant {n}" for n in range(3)]
    for n, name in enumerate(names):
        plants.write_job(tmp_path / name, days=2, missed=n / 2, seed=n)
    tasks = [Task(tmp_path, name, tmp_path / "screening") for name in [*names, "absent"]]
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None,
                                  ) as cluster:
        found = {r.plant: r for r in engine.on_scheduler(tasks, cluster.scheduler_address)}
    assert "no job.toml" in found.pop("absent").error
    assert found == {name: screen_with_record(tmp_path / name)[0] for name in names}


def test_a_scheduler_that_does_not_answer_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "PATIENCE_SECONDS", 1)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    with pytest.raises(JobError, match="no Dask scheduler answers"):
        list(engine.on_scheduler([Task(tmp_path, "p", tmp_path)], address))
