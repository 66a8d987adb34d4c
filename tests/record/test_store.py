"""Saving records: numbered, whole, never overwritten, whatever happens."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest
import record_support as support

from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.procedure.steps import step
from fptlib.record import files, signing, store
from fptlib.workbook import state

KEYS = support.make_keys()
RECORD = support.signed({"text": "x" * 20_000}, KEYS, ("technician",))


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return support.make_job(tmp_path / "job")


def names(job: Job) -> list[str]:
    return sorted(path.name for path in job.record_folder.iterdir())


def test_records_are_numbered_and_kept(job: Job) -> None:
    assert store.latest(job) is None
    paths = [store.save(job, RECORD) for _ in range(3)]
    assert [path.name for path in paths] == ["0001.json", "0002.json", "0003.json"]
    assert store.latest(job) == paths[-1]
    assert all(path.read_bytes() == RECORD for path in paths)
    assert names(job) == [path.name for path in paths]


def test_a_number_left_out_is_not_taken_again_and_strange_files_do_not_count(job: Job) -> None:
    for _ in range(3):
        store.save(job, RECORD)
    (job.record_folder / "0002.json").unlink()
    (job.record_folder / "notes.json").write_text("{}")
    assert store.save(job, RECORD).name == "0004.json"


def test_what_is_no_record_is_not_saved(job: Job) -> None:
    with pytest.raises(RecordError):
        store.save(job, b"{}")
    assert not job.record_folder.exists()


@pytest.mark.parametrize("without_links", [False, True])
def test_a_name_that_appears_meanwhile_is_not_overwritten(
    job: Job, monkeypatch: pytest.MonkeyPatch, without_links: bool
) -> None:
    """Another program that knows no lock takes the number in the last moment."""
    store.save(job, RECORD)
    other = support.signed({"text": "other"}, KEYS, ("technician",))
    (job.record_folder / "0002.json").write_bytes(other)
    monkeypatch.setattr(store, "_next_number", lambda folder: 2)
    if without_links:
        monkeypatch.setattr(files.os, "link", _no_links)
    with pytest.raises(RecordError, match="exists"):
        store.save(job, RECORD)
    assert (job.record_folder / "0002.json").read_bytes() == other
    assert names(job) == ["0001.json", "0002.json"]


def _no_links(*_: object) -> None:
    raise OSError(1, "Operation not permitted")


def test_a_file_system_without_links_works_too(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files.os, "link", _no_links)
    assert store.save(job, RECORD).read_bytes() == RECORD
    assert names(job) == ["0001.json"]


# What a child process does to a job; the parent kills it or watches.
CHILD = """
import os, signal, sys, tempfile
sys.path[:0] = {paths!r}
import record_support as support
from pathlib import Path
from fptlib.job.folder import Job
from fptlib.record import files, store
job, record = Job(sys.argv[1]), Path(sys.argv[2]).read_bytes()
{body}
"""


def child(body: str, job: Job, record: Path) -> list[str]:
    paths = [path for path in sys.path if path]
    code = CHILD.format(paths=paths, body=textwrap.dedent(body))
    return [sys.executable, "-c", code, str(job.folder), str(record)]


@pytest.fixture
def record_file(tmp_path: Path) -> Path:
    (tmp_path / "signed.json").write_bytes(RECORD)
    return tmp_path / "signed.json"


needs_posix = pytest.mark.skipif(os.name == "nt", reason="needs POSIX signals and limits")


@needs_posix
@pytest.mark.parametrize("step", ["mkstemp", "fsync", "link", "unlink"])
def test_a_kill_at_any_write_leaves_whole_records(
    job: Job, record_file: Path, step: str
) -> None:
    store.save(job, RECORD)
    module = {"mkstemp": "tempfile", "unlink": "Path"}.get(step, "files.os")
    body = f"""
    {module}.{step} = lambda *a, **k: os.kill(os.getpid(), signal.SIGKILL)
    store.save(job, record)
    """
    done = subprocess.run(child(body, job, record_file), capture_output=True, timeout=60)
    assert done.returncode == -signal.SIGKILL
    for path in store.records(job):
        assert path.read_bytes() == RECORD
    assert store.latest(job) is not None
    # The dead program's lock and its piece hinder nobody.
    before = len(store.records(job))
    assert store.save(job, RECORD).read_bytes() == RECORD
    assert len(store.records(job)) == before + 1


@needs_posix
def test_a_kill_at_any_moment_leaves_whole_records(job: Job, record_file: Path) -> None:
    body = """
    print("ready", flush=True)
    while True:
        store.save(job, record)
    """
    with subprocess.Popen(child(body, job, record_file), stdout=subprocess.PIPE) as process:
        assert process.stdout and process.stdout.readline() == b"ready\n"
        time.sleep(0.25)
        process.kill()
    found = store.records(job)
    assert found
    assert all(signing.read(path.read_bytes()).payload for path in found)
    assert [int(path.stem) for path in found] == list(range(1, len(found) + 1))


@needs_posix
def test_a_full_disk_is_told_and_loses_nothing(job: Job, record_file: Path) -> None:
    store.save(job, RECORD)
    body = """
    import resource
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (8192, 8192))
    from fptlib.errors import RecordError
    try:
        store.save(job, record)
    except RecordError as error:
        print(error)
    """
    done = subprocess.run(child(body, job, record_file), capture_output=True, timeout=60)
    assert b"the record cannot be saved" in done.stdout, done.stderr
    assert names(job) == ["0001.json"]
    assert (job.record_folder / "0001.json").read_bytes() == RECORD


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0,
                    reason="needs a user whom a read-only folder stops")
def test_a_read_only_folder_is_told(job: Job) -> None:
    store.save(job, RECORD)
    job.record_folder.chmod(0o500)
    try:
        with pytest.raises(RecordError, match="cannot be saved"):
            store.save(job, RECORD)
    finally:
        job.record_folder.chmod(0o700)
    assert names(job) == ["0001.json"]


def test_a_folder_that_refuses_is_told(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same for a user whom nothing stops: the system's answer is put in by hand."""
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    with pytest.raises(RecordError, match="Permission denied"):
        store.save(job, RECORD)


def test_two_processes_share_the_numbers(job: Job, record_file: Path) -> None:
    body = "for _ in range(4): store.save(job, record)"
    command = child(body, job, record_file)
    running = [subprocess.Popen(command) for _ in range(2)]
    assert [process.wait(timeout=60) for process in running] == [0, 0]
    assert names(job) == [f"{n:04d}.json" for n in range(1, 9)]
    assert all(path.read_bytes() == RECORD for path in store.records(job))


@pytest.mark.parametrize("name", ["findings", "review"])
def test_a_signed_step_says_that_answers_were_changed_since(tmp_path: Path, name: str) -> None:
    job = support.make_job(tmp_path / "job")
    store.save(job, support.signed(support.make_payload(job), KEYS, ("technician", "engineer")))
    assert state.standing(job, step(name)).state == state.DONE
    job.put("site.altitude", 1234.0)
    now = state.standing(job, step(name))
    assert now.state == state.INCOMPLETE and "sign it again" in now.reason


def test_a_reason_that_ends_its_sentence_gets_no_second_full_stop(tmp_path: Path) -> None:
    job = support.make_job(tmp_path / "job")
    record = support.signed(support.make_payload(job), KEYS, ("technician",))
    store.save(job, signing.countersign(record, KEYS["engineer"], "engineer", "Blair Senior",
                                        support.MOMENT, signing.SEND_BACK, "Read it again."))
    assert state.standing(job, step("findings")).reason.endswith(": Read it again")
