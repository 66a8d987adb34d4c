"""The answers that a retest starts with, taken over from the record of the earlier test."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE, Job, now
from fptlib.job.start import start_with
from fptlib.record import restore, retest, schema
from fptlib.record.report import whole

# What belongs to plant, site and the agreed way of testing; all else is of the test as made.
_KEPT = ("job", "site", "plant", "files", "points", "sensors", "limits", "people", "instruments",
         "abort")
_SIGNED_OFF = ("done", "by")
_SUFFIX = ", retest"


def start_retest(folder: Path | str, record: bytes, title: str = "") -> Job:
    """A new job folder that repeats an earlier test after correction.

    It has the plant, site, points, limits and people of the earlier test's record and refers
    to it; what was found, marked and signed off then is left out.

    Raises:
        RecordError: the record is damaged or of an unknown kind.
        JobError: the folder is there already and not empty.
    """
    return start_with(folder, answers(record, title))


def answers(record: bytes, title: str = "") -> str:
    """The text of the retest's ``job.toml``; comments of what is taken over stay.

    Args:
        record: the earlier test's record; its signatures must match.
        title: title of the retest; the earlier one's with a word added where left out.

    Raises:
        RecordError: the record is damaged or of an unknown kind.
    """
    content = schema.current(whole(record).payload)
    document = _earlier(content)
    for name in [name for name in document if name not in _KEPT]:
        document.remove(name)
    document["job"] = _job(content["job"], title)
    if content["prerequisites"]:
        document["prerequisites"] = _to_sign_off_again(content["prerequisites"])
    document["retest"] = retest.reference(record)
    return tomlkit.dumps(document)


def _earlier(content: dict[str, Any]) -> tomlkit.TOMLDocument:
    text = restore.text_of(JOB_FILE, content["inputs"][JOB_FILE])
    try:
        return tomlkit.parse(text)
    except TOMLKitError as error:
        raise RecordError(f"the record's text of {JOB_FILE} cannot be read: {error}; take another "
                          "record of that job") from error


def _job(earlier: dict[str, Any], title: str) -> dict[str, Any]:
    made = {"title": title or earlier["title"].removesuffix(_SUFFIX) + _SUFFIX,
            "condition": "natural", "created": now().isoformat()}
    # An invented plant stays one, and every page says so.
    return {**made, "invented": True} if earlier["invented"] else made


def _to_sign_off_again(rows: list[dict[str, Any]]) -> Any:
    listed = tomlkit.aot()
    for row in rows:
        listed.append(tomlkit.item({k: v for k, v in row.items() if k not in _SIGNED_OFF}))
    return listed
