"""A record named by its job folder or its file."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
import record_support as support

from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.record import store
from fptlib.record.keys import load_key
from fptlib.record.locate import locate

KEYS = support.make_keys()
RECORDS = [support.signed({"text": text}, KEYS, ("technician",)) for text in ("old", "new")]


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return support.make_job(tmp_path / "job")


def test_a_job_folder_names_its_latest_record(job: Job) -> None:
    paths = [store.save(job, record) for record in RECORDS]
    found = locate(job.folder)
    assert (found.record, found.path) == (RECORDS[-1], paths[-1])
    assert found.job is not None and found.job.folder == job.folder


def test_a_file_in_a_jobs_record_folder_knows_its_job(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    old, _ = [store.save(job, record) for record in RECORDS]
    monkeypatch.chdir(old.parent)
    found = locate(Path(old.name))
    assert found.record == RECORDS[0]
    assert found.job is not None and found.job.folder == job.folder


def test_a_file_elsewhere_has_no_job(job: Job, tmp_path: Path) -> None:
    copy = shutil.copyfile(store.save(job, RECORDS[0]), tmp_path / "copy.json")
    found = locate(copy)
    assert (found.record, found.job) == (RECORDS[0], None)


def test_a_job_without_a_record_is_a_sentence(job: Job) -> None:
    with pytest.raises(RecordError, match="job 'job' has no record yet; sign one"):
        locate(job.folder)


def test_a_file_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match=r"'no\.json' cannot be read"):
        locate(tmp_path / "no.json")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are not made here")
def test_a_pipe_or_a_device_is_a_sentence(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", Path("/dev/zero")):
        with pytest.raises(RecordError, match="is a pipe, a device or larger than any record"):
            locate(path)
    with pytest.raises(RecordError, match="is no file"):
        load_key(tmp_path / "pipe", "any passphrase")
