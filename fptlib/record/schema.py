"""The JSON Schema of the payload, and the way older payloads are brought to it."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from functools import cache
from importlib import import_module
from importlib.resources import files
from threading import Lock
from typing import Any

from fptlib.errors import RecordError
from fptlib.procedure.verdict import step_of

NAME, VERSION = "changeover-test-record", 4
_LONGEST_PART = 60
_IMPORTING = Lock()


def _to_2(payload: dict[str, Any]) -> dict[str, Any]:
    """Version 1 stated an instrument's accuracy without its unit, and a reading only as it was
    converted."""
    return {
        **payload,
        "schema": {**payload["schema"], "version": 2},
        "instruments": [{**row, "accuracy_unit": ""} for row in payload["instruments"]],
        "readings": [{**row, "taken": "", "taken_unit": ""} for row in payload["readings"]],
    }


def _to_3(payload: dict[str, Any]) -> dict[str, Any]:
    """Version 2 kept of an event its outcome alone, not what its formula was given."""
    unknown: dict[str, Any] = {
        "changeover": None, "subject": "", "first": None, "last": None, "quantities": {}}
    return {
        **payload,
        "schema": {**payload["schema"], "version": 3},
        "checks": [{**check, "events": [{**event, **unknown} for event in check["events"]]}
                   for check in payload["checks"]],
    }


def _to_4(payload: dict[str, Any]) -> dict[str, Any]:
    """Version 3 did not say what it was, and of a deficiency neither event nor status."""
    said = {check["id"]: check["meaning"] for check in payload["checks"]}
    words = ("event", "required", "setting_from", "setting_to", "status_by", "status_on")
    unsaid: dict[str, Any] = {**dict.fromkeys(words, ""), "at": None, "causes": []}
    return {
        **payload,
        "schema": {**payload["schema"], "version": 4},
        "script": [], "approvals": [], "changeovers": [], "sequence": {}, "settings": {},
        "statement": {"kind": "", "preliminary": [], "conclusion": "",
                      "conclusion_of_the_engineer": ""},
        "deficiencies": [{**unsaid, "status": "open", "step": step_of(item["check"]),
                          "title": said.get(item["check"], item["found"]), **item}
                         for item in payload["deficiencies"]],
    }


# The step from each older version to the next one. The signed bytes stay as they are; only what
# is shown and compared is brought up.
MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {
    1: _to_2, 2: _to_3, 3: _to_4}


def current(payload: dict[str, Any]) -> dict[str, Any]:
    """The payload in the present version.

    Raises:
        RecordError: it is no payload of a test record, is of a newer version, or lacks what
            its version asks for.
    """
    version = _version(payload)
    if version != VERSION and version not in MIGRATIONS:
        raise RecordError(
            f"the record's payload is of version {version}; this program reads up to {VERSION}"
        )
    for error in _validator(version).iter_errors(payload):
        raise RecordError(_sentence(error))
    return payload if version == VERSION else current(MIGRATIONS[version](payload))


def _version(payload: dict[str, Any]) -> int:
    stated = payload.get("schema")
    if not isinstance(stated, dict) or stated.get("name") != NAME:
        raise RecordError("the record's payload is not that of a test record")
    version = stated.get("version")
    if isinstance(version, bool) or not isinstance(version, int):
        raise RecordError("the record's payload does not state its version")
    return version


def _sentence(error: Any) -> str:
    where = ".".join(str(part)[:_LONGEST_PART] for part in error.absolute_path) or "the payload"
    return f"the record's payload cannot be used: {where}: {error.message[:200]}"


@cache
def text(version: int = VERSION) -> str:
    """The JSON Schema of a version as it is published with the program."""
    place = files("fptlib.record") / "schemas" / f"payload-{version}.json"
    return place.read_text(encoding="utf-8")


@cache
def _validator(version: int) -> Any:
    return validating().Draft202012Validator(json.loads(text(version)))


@cache
def validating() -> Any:
    """The validator, imported without a helper of the notebook server's: that one builds a grammar
    of international addresses (IRI) for a second, and no schema here states one. One thread at a
    time: two workbooks that are read at once both ask, before the first answer is kept."""
    helper = "rfc3987_syntax"
    with _IMPORTING:
        there = sys.modules.get(helper)
        sys.modules[helper] = None  # type: ignore[assignment]
        try:
            return import_module("jsonschema")
        finally:
            del sys.modules[helper]
            if there is not None:
                sys.modules[helper] = there
