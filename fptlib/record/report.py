"""What page and PDF show of a record, or of a retest beside its record.

Both are typeset from this one structure, so they say the same.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

from PIL import Image

from fptlib import points
from fptlib.errors import RecordError
from fptlib.job.folder import lookup
from fptlib.job.schema import ABORTED, CHILLER_ON
from fptlib.procedure.steps import TITLES
from fptlib.procedure.verdict import Verdict, step_of
from fptlib.record import retest, schema
from fptlib.record.blocks import Block, Content, Figures, figure, section, table, text
from fptlib.record.sections import all_sections, appendices
from fptlib.record.signing import Signature, SignedRecord, read_whole
from fptlib.record.statement import ANALYSIS, counted, script_counted, signed_as
from fptlib.record.text import clean, moment, number, site_moment

_OF_SIGNATURES = (
    "What counts is the signed record, which this file carries as record.json; these pages are set "
    'from it: run "fptlib verify" on it. The signatures matched when the pages were made; whose '
    "keys they are, only the list of trusted keys can say. The moments of signing are the signers' "
    "own statements. The figures are drawn from the trends and are not part of the signed bytes.")


def report(record: bytes, figures: Figures) -> dict[str, Any]:
    """The report on a record.

    Args:
        record: the record's bytes; its signatures must match.
        figures: PNG images by check id or by step.

    Raises:
        RecordError: the record is damaged, no payload of a known kind, or a figure is no PNG.
    """
    found = read_whole(record)
    _check_figures(figures)
    content = schema.current(found.payload)
    return _report(
        found, content,
        title=clean(content["job"]["title"]) or "Changeover test",
        facts=_head(content, _signers(found, content)),
        conclusion=content["statement"]["conclusion"] or counted(content),
        banners=_banners(found, content),
        sections=all_sections(content, figures), appendices=appendices(content, figures),
    )


def comparison_report(before: bytes, after: bytes, figures: Figures, saved: str
                      ) -> dict[str, Any]:
    """The report that sets a retest beside the record it refers to.

    Args:
        before: the earlier record.
        after: the retest's record.
        figures: PNG images under ``before`` or ``after`` and their name in the record.
        saved: what the correction saved, in words; empty where nobody could calculate it.

    Raises:
        RecordError: a record is damaged, or the second does not refer to the first.
    """
    _check_figures(figures)
    first, second = read_whole(before), read_whole(after)
    old, new = schema.current(first.payload), schema.current(second.payload)
    closings, rows = retest.closings(before, after), retest.compare(before, after)
    closed = sum(closing.closed for closing in closings)
    failing = retest.newly_failing(rows)
    worse = f" Failing now and not before: {', '.join(failing)}." if failing else ""
    return _report(
        second, new,
        title=f"Before and after: {clean(new['job']['title'])}",
        facts=[["Before", f"job {clean(old['job']['number'])}, record {first.digest[:16]}"],
               ["After", f"job {clean(new['job']['number'])}, record {second.digest[:16]}"],
               *([["Energy", clean(saved)]] if saved else [])],
        conclusion=f"{closed} of {len(closings)} deficiencies are closed by the retest.{worse}",
        banners=[],
        sections=[
            section("Deficiencies", table(
                "", {"No.": 8, "Check": 26, "State": 12, "Why it is open": 54},
                [[item.number, item.check, "closed" if item.closed else "open", item.reason]
                 for item in closings])),
            section("Every check", _compared(rows)),
            section("Figures", _figures(rows, figures)),
        ],
    )


def _report(
    found: SignedRecord, content: Content, sections: list[dict[str, Any]],
    appendices: Sequence[dict[str, Any]] = (), **head: Any
) -> dict[str, Any]:
    """The members every report has; its sections are those that have something to show, the
    signatures after them and before the appendix."""
    signatures = section("Signatures", _signatures(found, content))
    numbered = [(f"{mark}{n}", each) for mark, group in (
        ("", (*sections, signatures)), ("A", appendices))
        for n, each in enumerate((each for each in group if each["blocks"]), start=1)]
    return {
        **head, "invented": content["job"]["invented"], "digest": found.digest,
        "signed_at": found.signatures[-1].header["signed-at"],
        "sections": [{**each, "id": f"s{number}", "title": f"{number}  {each['title']}"}
                     for number, each in numbered],
    }


def _signatures(found: SignedRecord, content: Content) -> list[Block]:
    """Who signed what, and what the signatures are of."""
    return [
        *table("", {"Role": 12, "Name": 16, "Decision": 17, "Signed at": 13,
                    "Key (RFC 7638 thumbprint)": 42},
               [[signer["role"], signer["name"],
                 ": ".join(filter(None, (signer["decision"], signer["reason"]))),
                 signer["at"], signer["kid"]] for signer in _signers(found, content)]),
        text(f"SHA-256 of the signed record: {found.digest}"), text(_OF_SIGNATURES),
    ]


def _check_figures(figures: Figures) -> None:
    for name, image in figures.items():
        try:
            with Image.open(io.BytesIO(image), formats=["PNG"]) as opened:
                opened.verify()
        except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
            raise RecordError(f"figure '{name}' is not a PNG image") from error


def _head(content: Content, signers: Sequence[Mapping[str, str]]) -> list[list[str]]:
    job, site, test, plant = (content[name] for name in ("job", "site", "test", "plant"))
    tags = [str(part["tag"]) for part in plant.values()
            if isinstance(part, Mapping) and part.get("tag")]
    weather = test["observed_weather"].get("outdoor_wet_bulb")
    rows = {
        "Firm": clean(", ".join(content["procedure"].get("letterhead", []))),
        "Job": clean(job["number"]),
        "Site": ", ".join(clean(site[name]) for name in ("name", "place") if site.get(name)),
        "Equipment": clean(", ".join(tags)),
        "Procedure": clean(content["procedure"]["edition"]),
        "Trends": f"{moment(test['trended_from'])} to {moment(test['trended_to'])}"
                  if test["trended_from"] else "none",
        "Test script": script_counted(content),
        "Conditions": clean(job["condition"]) + (
            f"; wet bulb {number(weather['lowest'])} to "
            f"{number(weather['highest'], weather['unit'])}" if weather else ""),
        "Record made": site_moment(content["clock"]["utc"], test["time_zone"]),
        "Signatures": "; ".join(f"{signer['role']} {signer['name']} ({signer['decision']})"
                                for signer in signers),
    }
    return [[label, value] for label, value in rows.items() if value]


def _banners(found: SignedRecord, content: Content) -> list[str]:
    """What the record is, where it is anything less than an accepted functional test."""
    told, said = content["statement"], []
    if any(signature.sent_back for signature in found.signatures):
        said.append("Returned for correction: this record does not stand.")
    if told["kind"] == ANALYSIS:
        said.append("Trend analysis, no functional test: no step of a test was performed.")
    said += [f"The test was aborted {moment(mark.get('time'))} by {clean(mark.get('by', '?'))}"
             f"{_then_on_chillers(content['marks'][n + 1:])}."
             for n, mark in enumerate(content["marks"]) if mark.get("what") == ABORTED]
    if told["preliminary"]:
        said.append("Preliminary: " + clean(points.plain(" ".join(told["preliminary"]))))
    return said


def _then_on_chillers(later: Sequence[Content]) -> str:
    """When the first chiller started after an abort, as far as it was marked in that test."""
    if later and later[0].get("what") == CHILLER_ON:
        return f"; first chiller started {moment(later[0].get('time'))}"
    return ""


def _signers(found: SignedRecord, content: Content) -> list[dict[str, str]]:
    """Who signed, then whose signature the record awaits."""
    signed = [_signer(signature, content) for signature in found.signatures]
    roles = {signer["role"] for signer in signed}
    return signed + [
        {"role": role, "name": clean(lookup(content, f"people.{role}.name", "")),
         "decision": "awaited", "at": "", "kid": "", "reason": ""}
        for role in content["signatures_required"] if role not in roles]


def _signer(signature: Signature, content: Content) -> dict[str, str]:
    return {"role": signature.role, "name": clean(signature.name),
            "decision": signed_as(content, signature.role, signature.sent_back),
            "at": site_moment(signature.header["signed-at"], content["test"]["time_zone"]),
            "kid": signature.kid,
            "reason": clean(signature.header["reason"])}


def _compared(rows: Sequence[retest.Comparison]) -> list[Block]:
    columns = {"Check": 24, "Question": 22, "Before": 16, "After": 16, "Measured before": 11,
               "Measured after": 11}
    return table("", columns, [
        [row.check, row.question, *(Verdict(word) if word else "not made"
                                    for word in (row.before, row.after)),
         number(row.measured_before, row.unit), number(row.measured_after, row.unit)]
        for row in rows])


def _figures(rows: Sequence[retest.Comparison], figures: Figures) -> list[Block]:
    about = {**TITLES, **{row.check: row.question for row in rows}}
    # A figure belongs to a check or to a whole step.
    names = dict.fromkeys([*(row.check for row in rows),
                           *(step_of(row.check) for row in rows)])
    return [block for name in names for when in ("before", "after")
            for block in figure(f"{when} {name}", f"{when}: {about.get(name, name)}", figures)]
