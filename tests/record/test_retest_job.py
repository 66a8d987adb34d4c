"""What a retest takes over from the record of the earlier test, and what it leaves behind."""

from __future__ import annotations

import tomllib
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import record_support as support

from fptlib.errors import JobError, RecordError
from fptlib.record import canonical, retest
from fptlib.record.retest import start_retest

KEYS = support.make_keys()
# Tables out of their order, as hand and forms leave them, and what only the old test had.
MORE = """\
[limits."lift.offset"]
value = 4.5  # from the maker
reason = "cold sump"
author = "Blair Senior"
date = "2026-01-05"
[frozen]
limits = "x"
[[marks]]
time = "2026-01-10T22:17:00-07:00"
what = "request seen"
[state.plan]
inputs = "x"
[plant.chiller_2]
tag = "CH-2"
[answers.lift]
by = "Avery Field"
[deficiencies."recovery.rate"]
severity = "minor"
"""


def record(folder: Path, toml: str = support.JOB_TOML + MORE) -> bytes:
    job = support.make_job(folder, toml)
    return support.signed(support.make_payload(job), KEYS, ("technician",))


def started(made: bytes, title: str = "") -> dict[str, Any]:
    return tomllib.loads(retest.answers(made, title))


def test_plant_site_limits_and_people_are_those_of_the_record(tmp_path: Path) -> None:
    found, earlier = started(record(tmp_path / "job")), tomllib.loads(support.JOB_TOML + MORE)
    assert set(found) == {"job", "site", "plant", "people", "limits", "abort", "prerequisites",
                          "test", "deficiencies", "retest"}
    for name in ("site", "plant", "people", "limits", "abort", "deficiencies"):
        assert found[name] == earlier[name], name
    # Of the test its plan stays; what was written down after it is of that test.
    later = ("weather", "returned_to_normal")
    assert found["test"] == {name: text for name, text in earlier["test"].items()
                             if name not in later}


def test_a_comment_of_what_is_taken_over_stays(tmp_path: Path) -> None:
    assert "value = 4.5  # from the maker" in retest.answers(record(tmp_path / "job"))


def test_the_new_job_has_its_own_head(tmp_path: Path) -> None:
    earlier = support.JOB_TOML.replace('"natural"', '"forced"')
    head = started(record(tmp_path / "job", earlier))["job"]
    created = datetime.fromisoformat(head.pop("created"))
    assert created > support.MOMENT
    assert head == {"title": "Changeover test, invented plant, retest", "condition": "natural",
                    "invented": True}


def test_a_title_may_be_given_and_a_retest_of_a_retest_keeps_it(tmp_path: Path) -> None:
    assert started(record(tmp_path / "one"), "Second try")["job"]["title"] == "Second try"
    again = support.JOB_TOML.replace('invented plant"', 'invented plant, retest"')
    title = started(record(tmp_path / "two", again))["job"]["title"]
    assert title == "Changeover test, invented plant, retest"


def test_every_prerequisite_is_to_be_signed_off_again(tmp_path: Path) -> None:
    found = started(record(tmp_path / "job"))["prerequisites"]
    assert found == [{"text": "Trends set up at one minute"}]


def test_it_refers_to_its_record_alone(tmp_path: Path) -> None:
    made = record(tmp_path / "job", support.JOB_TOML + "[retest]\nof_record = 'older'\n")
    assert started(made)["retest"] == retest.reference(made)


@pytest.mark.parametrize(("text", "said"), [
    ("[job\n", "job.toml cannot be read"),
    (None, "does not have the digest it states"),
])
def test_a_record_with_another_text_starts_nothing(
    tmp_path: Path, text: str | None, said: str
) -> None:
    content = support.make_payload(support.make_job(tmp_path / "job"))
    stated = content["inputs"]["job.toml"]
    stated["text"] = stated["text"] + " " if text is None else text
    if text:
        stated["sha256"] = canonical.digest(text.encode())
    with pytest.raises(RecordError, match=said):
        start_retest(tmp_path / "new", support.signed(content, KEYS, ("technician",)))
    assert not (tmp_path / "new").exists()


def test_a_folder_in_use_is_refused(tmp_path: Path) -> None:
    made = record(tmp_path / "job")
    with pytest.raises(JobError, match="not empty"):
        start_retest(tmp_path / "job", made)
