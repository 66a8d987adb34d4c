"""The figures that belong to each step, or to a check of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import step
from fptlib.procedure.verdict import Check, NotTested, step_of
from fptlib.workbook.figures import (
    changeover,
    enable,
    exit,
    lift,
    lift_over_load,
    load,
    reset,
    running,
    sensors,
    transition,
)
from fptlib.workbook.figures.base import Evidence, nothing

FIGURES: Mapping[str, Callable[[FunctionalTest, Sequence[Check]], Evidence]] = {
    "instruments": sensors.figure,
    "reset": reset.figure,
    "enable": enable.figure,
    "lift": lift.figure,
    "lift.minimum": lift_over_load.figure,
    "handover": changeover.figure,
    "recovery": changeover.recovery,
    "running": running.figure,
    "load": load.figure,
    "exit": exit.figure,
    "transition": transition.figure,
}


def of(name: str, case: FunctionalTest, checks: Sequence[Check]) -> Evidence:
    """The figure of a step, or of a check, drawn from the step's own checks; it says so where what
    it shows was not trended."""
    own = [check for check in checks if check.step == step_of(name)]
    try:
        return FIGURES[name](case, own)
    except NotTested as why:
        return nothing(step(step_of(name)).title, str(why))


def named(step: str) -> list[str]:
    """The figures of a step: its own, and those of its checks."""
    return [name for name in FIGURES if step_of(name) == step]


def pictures(case: FunctionalTest, checks: Sequence[Check]) -> dict[str, bytes]:
    """Every figure as PNG, by step or check, for the pages of a record."""
    return {name: of(name, case, checks).png() for name in FIGURES}
