"""The figure that belongs to each step."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import (
    changeover,
    enable,
    exit,
    lift,
    load,
    reset,
    running,
    sensors,
    transition,
)
from fptlib.workbook.figures.base import Evidence

FIGURES: Mapping[str, Callable[[FunctionalTest, Sequence[Check]], Evidence]] = {
    "instruments": sensors.figure,
    "reset": reset.figure,
    "enable": enable.figure,
    "lift": lift.figure,
    "handover": changeover.figure,
    "recovery": changeover.recovery,
    "running": running.figure,
    "load": load.figure,
    "exit": exit.figure,
    "transition": transition.figure,
}


def of(step: str, case: FunctionalTest, checks: Sequence[Check]) -> Evidence:
    """The figure of a step, drawn from its own checks."""
    return FIGURES[step](case, [check for check in checks if check.step == step])


def pictures(case: FunctionalTest, checks: Sequence[Check]) -> dict[str, bytes]:
    """Every step's figure as PNG, by step, for the pages of a record."""
    return {step: of(step, case, checks).png() for step in FIGURES}
