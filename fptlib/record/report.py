"""What the page and the PDF show: sections made of a few kinds of blocks, all plain text.

Both are typeset from this one structure, so they say the same. The kinds of blocks are
``text``, ``facts`` (label and value), ``table``, ``check`` (one check in full) and ``figure``.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

from PIL import Image

from fptlib.errors import RecordError
from fptlib.job.folder import lookup
from fptlib.procedure.verdict import Verdict, worst
from fptlib.record import schema, sections, signing
from fptlib.record.signing import SignedRecord
from fptlib.record.text import clean, moment

# Colours are blind-safe and differ in lightness; the word and the mark say it without them.
MARKS = {"pass": "✔", "fail": "✘", "indeterminate": "?", "not tested": "–", "deferred": "…"}


def report(record: bytes, figures: Mapping[str, bytes]) -> dict[str, Any]:
    """The report on a record.

    Args:
        record: the record's bytes; its signatures must match.
        figures: PNG images by check id or by step.

    Raises:
        RecordError: the record is damaged, no payload of a known kind, or a figure is no PNG.
    """
    found = whole(record)
    check_figures(figures)
    content = schema.current(found.payload)
    signers = signers_of(found, content)
    return {
        "title": clean(content["job"]["title"]) or "Changeover test",
        "facts": _head(content, signers),
        "verdict": worst([Verdict(check["verdict"]) for check in content["checks"]]).value,
        "conclusion": _conclusion(content),
        "invented": content["job"]["invented"],
        "digest": found.digest,
        "signers": signers,
        "signed_at": found.signatures[-1].header["signed-at"],
        "sections": numbered(sections.all_sections(content, figures)),
    }


def whole(record: bytes) -> SignedRecord:
    """The record taken apart, its signatures checked.

    Raises:
        RecordError: the record is damaged.
    """
    found = signing.read(record)
    for signature in found.signatures:
        if refusal := signing.mismatch(found, signature):
            raise RecordError(f"this record cannot be used: {refusal}; take a whole copy of it")
    return found


def check_figures(figures: Mapping[str, bytes]) -> None:
    """Refuse a figure that is no PNG.

    Raises:
        RecordError: names the figure.
    """
    for name, image in figures.items():
        try:
            with Image.open(io.BytesIO(image), formats=["PNG"]) as opened:
                opened.verify()
        except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
            raise RecordError(f"figure '{name}' is not a PNG image") from error


def _head(content: Mapping[str, Any], signers: list[dict[str, str]]) -> list[list[str]]:
    job, site = content["job"], content["site"]
    where = ", ".join(clean(site[name]) for name in ("name", "place") if site.get(name))
    test = content["test"]
    return [row for row in [
        ["Firm", clean(", ".join(content["procedure"].get("letterhead", [])))],
        ["Job", clean(job["number"])],
        ["Site", where],
        ["Procedure", clean(content["procedure"]["edition"])],
        ["Trends", f"{moment(test['trended_from'])} to {moment(test['trended_to'])}"
                   if test["trended_from"] else "none"],
        ["Record made", moment(content["clock"]["utc"])],
        ["Signatures", "; ".join(_signer_line(signer) for signer in signers)],
    ] if row[1]]


def _conclusion(content: Mapping[str, Any]) -> str:
    checks, open_items = content["checks"], content["deficiencies"]
    if not checks:
        return "No check was made."
    found = [check["verdict"] for check in checks]
    said = [f"{_WORDS[word]} {found.count(word)}" for word in MARKS if word in found]
    items = f" Deficiencies: {len(open_items)}." if open_items else ""
    return f"{len(checks)} checks: {', '.join(said)}.{items}"


_WORDS = {"pass": "passed", "fail": "failed", "indeterminate": "could not be decided",
          "not tested": "not tested", "deferred": "deferred"}


def signers_of(found: SignedRecord, content: Mapping[str, Any]) -> list[dict[str, str]]:
    """Who signed, then whose signature the record awaits."""
    signed = [_signer(signature) for signature in found.signatures]
    roles = {signer["role"] for signer in signed}
    awaited = [role for role in content["signatures_required"] if role not in roles]
    return signed + [{"role": role, "name": clean(lookup(content, f"people.{role}.name", "")),
                      "decision": "awaited", "at": "", "kid": "", "reason": ""}
                     for role in awaited]


def _signer_line(signer: dict[str, str]) -> str:
    return f"{signer['role']} {signer['name']} ({signer['decision']})"


def _signer(signature: signing.Signature) -> dict[str, str]:
    header = signature.header
    decision = "sent back" if header["decision"] == signing.SEND_BACK else "accepted"
    return {"role": header["role"], "name": clean(header["name"]), "decision": decision,
            "at": moment(header["signed-at"]), "kid": header["kid"],
            "reason": clean(header["reason"])}


def numbered(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The sections that have something to show, with number and anchor."""
    shown = [section for section in found if section["blocks"]]
    return [{**section, "id": f"s{n}", "title": f"{n}  {section['title']}"}
            for n, section in enumerate(shown, start=1)]
