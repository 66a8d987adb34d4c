"""Checks as a table that explains itself, without a kernel."""

from __future__ import annotations

import html
from collections.abc import Sequence

from fptlib.points import plain
from fptlib.procedure.verdict import Check, Event, Verdict
from fptlib.record.text import likelihood
from fptlib.units import rounded, shown
from fptlib.workbook.static import Shown, table_markup, verdict_markup
from fptlib.workbook.static import table as table_of

_HEADS = ("Verdict", "Check")


def margin(check: Check | Event, unit: str) -> str:
    """Margin with its expanded uncertainty."""
    if check.margin is None:
        return "–"
    if not check.uncertainty:
        return shown(check.margin, unit)
    return f"{rounded(check.margin, unit)} ± {shown(check.uncertainty, unit)}"


def table(checks: Sequence[Check], caption: str = "Verdicts") -> Shown:
    """Every check with its numbers, what it means and what to adjust."""
    markup = table_markup(caption, _HEADS, [_cells(check) for check in checks])
    return Shown(markup, "\n".join([caption + ":", *(_text(check) for check in checks)]))


def _cells(check: Check) -> list[str]:
    return [
        verdict_markup(check.verdict),
        f"<b>{html.escape(check.question)}</b> "
        f"<span style='color:#404a54;font-size:.9em'>{html.escape(check.id)}</span>"
        f"{_numbers(check)}{_explained(check)}",
    ]


def _numbers(check: Check) -> str:
    if check.margin is None:
        return ""
    values = (
        ("measured", shown(check.measured, check.unit)),
        ("limit", shown(check.limit, check.unit)),
        ("margin", margin(check, check.unit)),
        ("probability of conformance", likelihood(check.probability)),
    )
    parts = "".join(
        f"<span style='white-space:nowrap'>{name} <b>{html.escape(text)}</b></span>"
        for name, text in values if text != "–"
    )
    return f"<div style='display:flex;flex-wrap:wrap;gap:.1em 1.4em;margin:.2em 0'>{parts}</div>"


def _explained(check: Check) -> str:
    parts = [html.escape(plain(check.reason))] if check.reason else []
    parts += [html.escape(check.meaning)] if check.meaning else []
    parts += [f"<b>Adjust:</b> {html.escape(check.adjust)}"] if check.adjust else []
    lines = "<br>".join(parts)
    details = f"<details><summary>events and basis</summary>{_events(check)}</details>"
    return f"<div style='font-size:.94em'>{lines}{details}</div>"


def _events(check: Check) -> str:
    basis = f"<p style='margin:.2em 0'>Limit: {html.escape(check.basis)}</p>"
    items = "".join(
        f"<li>{html.escape(plain(event.name))}, {event.start:%Y-%m-%d %H:%M}: "
        f"{verdict_markup(event.verdict)} {html.escape(plain(event.text))}</li>"
        for event in check.events
    )
    return basis + (f"<ul style='margin:.2em 0'>{items}</ul>" if items else "")


def _text(check: Check) -> str:
    numbers = "" if check.margin is None else (
        f"measured {shown(check.measured, check.unit)}, "
        f"limit {shown(check.limit, check.unit)}, margin {margin(check, check.unit)}: "
    )
    return f"{check.verdict:<13} {check.id:<24} {numbers}{plain(check.reason)}"


def worksheet(check: Check) -> Shown:
    """How a check's numbers came about: a row for each event, as it was judged.

    What the formula was given stands in one cell, a line each, so that the table fits a narrow
    window.
    """
    heads = ["Event", "From", "Given to the formula", "Measured", "Limit", "Margin", "Verdict"]
    given = [[f"{plain(name)}: {_given(name, value)}" for name, value in event.quantities.items()]
             for event in check.events]
    rows = [[plain(event.name), f"{event.start:%m-%d %H:%M}", "; ".join(lines),
             shown(event.measured, event.unit), shown(event.limit, event.unit),
             margin(event, event.unit), event.verdict.value]
            for event, lines in zip(check.events, given, strict=True)]
    known = [at for at in range(len(heads)) if any(row[at] not in ("", "–") for row in rows)]
    return table_of(f"Worksheet of {check.id}: {check.verdict}", [heads[at] for at in known],
                    [[row[at] for at in known] for row in rows], plain(check.reason))


def _given(name: str, value: float | str) -> str:
    if isinstance(value, str):
        return value
    # A ratio needs its third digit.
    return rounded(value, "kW/ton" if "kW/ton" in name else "")


def summary(checks: Sequence[Check]) -> str:
    """How many checks have which verdict, worst first."""
    counts = [(v, sum(c.verdict is v for c in checks)) for v in (
        Verdict.FAIL, Verdict.INDETERMINATE, Verdict.DEFERRED, Verdict.NOT_TESTED, Verdict.PASS)]
    return ", ".join(f"{count} {verdict}" for verdict, count in counts if count)
