"""Saves of the job folder: two programs at once and a kill in the middle lose nothing."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fptlib.errors import JobError
from fptlib.job.folder import Job, write_atomically
from fptlib.job.start import start

WRITER = """
import sys
from fptlib.job.folder import Job
job, name, count = Job(sys.argv[1]), sys.argv[2], int(sys.argv[3])
for n in range(count):
    job.put(f"answers.{name}.n{n}", n)
"""


def writer(job: Job, name: str, count: int) -> subprocess.Popen:
    return subprocess.Popen([sys.executable, "-c", WRITER, str(job.folder), name, str(count)])


def test_two_programs_lose_no_answer(tmp_path: Path) -> None:
    job = start(tmp_path / "job", "Plant")
    running = [writer(job, name, 25) for name in ("one", "two")]
    assert [program.wait(60) for program in running] == [0, 0]
    answers = job.get("answers")
    assert {name: len(answers[name]) for name in ("one", "two")} == {"one": 25, "two": 25}


@pytest.mark.parametrize("after", [0.0, 0.05, 0.15])
def test_kill_in_the_middle_leaves_whole_answers(tmp_path: Path, after: float) -> None:
    job = start(tmp_path / "job", "Plant")
    program = writer(job, "one", 10_000)
    while not job.get("answers.one"):
        time.sleep(0.01)
    time.sleep(after)
    program.kill()
    program.wait(10)
    kept = job.get("answers.one")
    assert list(kept.values()) == list(range(len(kept)))
    job.put("answers.two", 1)
    assert job.get("answers.two") == 1


def test_failed_save_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "file"
    write_atomically(file, b"old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_atomically(file, b"new")
    assert file.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_lock_held_by_another_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = start(tmp_path / "job", "Plant")
    monkeypatch.setattr("fptlib.job.folder._LOCK_SECONDS", 0.1)
    with job.locked(), pytest.raises(JobError, match="another program holds"):
        Job(job.folder).put("site.altitude", 1)


def test_what_a_killed_save_left_is_taken_away_by_a_later_one(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    old, young = (tmp_path / f".a.toml.{name}.part" for name in ("x1", "y2"))
    other = tmp_path / ".b.toml.z3.part"
    for left in (old, young, other):
        left.write_bytes(b"half")
    for left in (old, other):
        os.utime(left, (0, 0))
    write_atomically(file, b"whole")
    assert not old.exists() and young.exists() and other.exists()
