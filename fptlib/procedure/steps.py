"""The procedure: every step in its order."""

from __future__ import annotations

from fptlib.procedure import (
    enable,
    exit,
    handover,
    instruments,
    lift,
    recovery,
    reset,
    running,
    transition,
)
from fptlib.procedure.case import Case
from fptlib.procedure.needs import points_of
from fptlib.procedure.verdict import Check

STEPS = {
    "instruments": instruments,
    "reset": reset,
    "enable": enable,
    "lift": lift,
    "handover": handover,
    "recovery": recovery,
    "running": running,
    "exit": exit,
    "transition": transition,
}


def points_used(case: Case) -> dict[str, list[str]]:
    """For every check the trended points that it can rest on."""
    return {
        question.words.id: [name for need in question.words.needs for name in points_of(case, need)]
        for step in STEPS.values() for question in step.CHECKS
    }


def all_checks(case: Case) -> list[Check]:
    """Every check of every step, in order."""
    return [row for step in STEPS.values() for row in step.checks(case)]
