"""Checks as lines of text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from fptlib.procedure.verdict import Check, Event
from fptlib.units import symbol

WIDTH = 100


def lines(checks: Sequence[Check], every_word: bool = False) -> list[str]:
    """One line per check: id, verdict, measured against limit, reason.

    With ``every_word`` also each event, the meaning and what to adjust.
    """
    found = [_line(check) for check in checks]
    if every_word:
        found = [line for check in checks for line in _whole(check)]
    return [*found, _count(checks)]


def _line(check: Check) -> str:
    reason = textwrap.shorten(check.reason, 180, placeholder=" ...")
    return f"{check.id:<24} {check.verdict:<14} {reason}"


def _whole(check: Check) -> list[str]:
    said = [f"{check.id:<24} {check.verdict}", check.question]
    said += [_event(event) for event in check.events] or [check.reason]
    said += [check.meaning, check.adjust, f"limits: {check.basis}" if check.basis else ""]
    head, *rest = [text for text in said if text]
    return [head, *(textwrap.fill(text, WIDTH, initial_indent="    ",
                                  subsequent_indent="      ") for text in rest), ""]


def _event(event: Event) -> str:
    when = f"{event.start:%Y-%m-%d %H:%M}"
    text = f"{event.verdict}: {event.name} at {when}: {event.text}"
    if event.measured is None:
        return text
    doubt = f" +/- {event.uncertainty:.2g}" if event.uncertainty else ""
    return (f"{text} [{event.measured:.4g}{doubt} {symbol(event.unit)}, "
            f"limit {event.limit:.4g}]")


def _count(checks: Sequence[Check]) -> str:
    verdicts = [str(check.verdict) for check in checks]
    return ", ".join(f"{verdicts.count(v)} {v}" for v in dict.fromkeys(sorted(verdicts)))
