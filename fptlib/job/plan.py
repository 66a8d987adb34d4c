"""The approved plan: a digest of each of its parts, so that a later change names what changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from fptlib.job.folder import lookup
from fptlib.job.tables import AFTER, RESULTS, TABLES

# The parts of a plan, and what of a row is written down after it was approved.
_PARTS = ("site", "plant", "sequence", "settings", "points", "files", "sensors", "instruments",
          "limits", "frozen", "people", "test", "abort", "prerequisites", "script")
_LATER = {"prerequisites": ("done", "by"), "test": tuple(AFTER.answers),
          "script": RESULTS, "frozen": ("values", "at", "by")}
_TITLES = {**{entry.path: entry.title for entry in TABLES}, "frozen": "Frozen limits"}
# Approvals before they could be signed kept no more than this of a digest.
_SHORT = 16


def digests(answers: Mapping[str, Any]) -> dict[str, str]:
    """The SHA-256 of each part of the plan, by its place in ``job.toml``.

    ``answers`` are those of the file as it lies: a rounded number has another digest.
    """
    return {part: digest_of(_planned(part, lookup(answers, part))) for part in _PARTS}


def _planned(part: str, content: Any) -> Any:
    if isinstance(content, list):
        return [_planned(part, row) for row in content]
    if part in _LATER and isinstance(content, Mapping):
        return {name: value for name, value in content.items() if name not in _LATER[part]}
    return content or None


def digest_of(content: Any) -> str:
    """SHA-256 of plain content; the same content gives the same digest."""
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def changed(approval: Mapping[str, Any], answers: Mapping[str, Any]) -> list[str]:
    """The titles of the parts that are not as they were approved; none where the approval does
    not say what it approved."""
    approved = approval.get("plan", {})
    return [_TITLES[part] for part, digest in digests(answers).items()
            if part in approved and approved[part] not in (digest, digest[:_SHORT])]


def changes(answers: Mapping[str, Any]) -> list[str]:
    """One sentence for each approval that the plan no longer matches."""
    return [f"{', '.join(found)}: changed after {row.get('name', '?')} ({row.get('role', '?')}) "
            "approved the plan; have it approved again"
            for row in lookup(answers, "approvals", []) if (found := changed(row, answers))]
