"""The procedure: every step in its order, with its checks and what its verdict rests on.

This is the one place that names a step. Workbook, record and command line show its title; its
name stands in ids, file names and signed records and never changes.
"""

from __future__ import annotations

from dataclasses import dataclass

from fptlib.errors import FormError
from fptlib.procedure import (
    abort,
    air_handlers,
    cause,
    cold,
    cycling,
    enable,
    envelope,
    exit,
    fouling,
    handover,
    instruments,
    lift,
    lift_range,
    load,
    loading,
    recovery,
    reset,
    running,
    transition,
)
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import CheckOf
from fptlib.procedure.verdict import Check

# What every verdict rests on, as places in job.toml; the files read come on top of them.
_ALWAYS = ("job.condition", "site", "plant", "files", "points", "sensors", "limits",
           "overrides")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the procedure.

    Attributes:
        number: its place in the order; its workbook's file begins with it.
        name: its name in ids, file names and records.
        title: its name for people.
        purpose: what the step is for, as the end of "to ...".
        checks: its checks in order; a step without checks gives no verdict.
        rests_on: the places of ``job.toml`` whose change makes it out of date, where nobody noted
            what it read (``reads``).
        letter: after the number, of a step that came between two later: the workbooks of jobs in
            the field and of signed records keep their file names.
    """

    number: int
    name: str
    title: str
    purpose: str
    checks: tuple[CheckOf, ...] = ()
    rests_on: tuple[str, ...] = _ALWAYS
    letter: str = ""

    @property
    def file(self) -> str:
        """Name of its workbook."""
        return f"{self.number:02d}{self.letter}_{self.name}.ipynb"

    @property
    def label(self) -> str:
        """Its number, and its letter where it has one."""
        return f"{self.number}{self.letter}"

    @property
    def judged(self) -> bool:
        """Whether the step gives verdicts."""
        return bool(self.checks)

    def judge(self, test: FunctionalTest) -> list[Check]:
        """Every check of the step, in order."""
        return [judge(test, check.id) for check in self.checks]

    def __str__(self) -> str:
        return f"{self.label} {self.title}"


STEPS: tuple[Step, ...] = (
    Step(0, "plan", "Plan", "state what is tested, on which plant, against which limits, before "
         "anything is measured",
         rests_on=("job", "site", "plant", "points", "people", "instruments", "prerequisites",
                   "abort", "limits", "frozen")),
    Step(1, "instruments", "Instruments and trends",
         "show that the trended sensors and the field instruments can be trusted",
         instruments.CHECKS, (*_ALWAYS, "instruments")),
    Step(2, "reset", "Chilled-water setpoint reset",
         "show that the chilled-water setpoint is reset: without a reset in cold weather the "
         "economizer hardly ever gets its hours",
         reset.CHECKS, (*_ALWAYS, "answers.reset", "sequence.reset")),
    Step(3, "enable", "Economizer enable",
         "show that the economizer is enabled when towers and exchanger can carry the load, and "
         "not before",
         enable.CHECKS, (*_ALWAYS, "sequence.enable")),
    Step(4, "lift", "Lift protection",
         "show that every chiller keeps its lift while the common sump is pulled cold under it",
         (lift_range.minimum, *lift.CHECKS, *envelope.CHECKS, *cycling.CHECKS,
          lift_range.maximum, *loading.CHECKS), (*_ALWAYS, "sequence.lift")),
    Step(5, "handover", "Transition to the exchanger",
         "show, live or from trends, that the exchanger takes the load and the last chiller stops "
         "without an excursion of the chilled-water supply temperature",
         (*handover.CHECKS, *abort.CHECKS), (*_ALWAYS, "marks", "abort")),
    Step(6, "recovery", "Setpoint recovery",
         "show that the active setpoint returns to the reset setpoint ramped, without overshoot "
         "and without a new demand peak",
         recovery.CHECKS, (*_ALWAYS, "sequence.lift")),
    Step(7, "running", "Economizer operation",
         "show that the economizer runs steadily and as designed",
         running.CHECKS + cold.CHECKS),
    Step(7, "load", "Exchanger or load?",
         "tell an exchanger that is fouled or too small from a load that should not be there",
         fouling.CHECKS + load.CHECKS + air_handlers.CHECKS + cause.CHECKS,
         (*_ALWAYS, "sequence.reset"), letter="a"),
    Step(8, "exit", "Leaving economizer mode",
         "show that the plant leaves economizer mode when it must, and not before",
         exit.CHECKS, (*_ALWAYS, "sequence")),
    Step(9, "transition", "kW/ton across the changeover",
         "show by kW/ton before and after that the plant changes over at the right moment",
         transition.CHECKS),
    Step(10, "findings", "Findings",
         "close the test: nothing left behind at the plant, findings in plain words, the record "
         "signed",
         rests_on=("findings",)),
    Step(11, "review", "Review",
         "let the senior engineer recalculate the test, comment on it, and accept it or return it "
         "for correction",
         rests_on=("review",)),
)
JUDGED = tuple(step for step in STEPS if step.judged)
# Steps by their names in the record; the test script stands there beside them.
TITLES = {**{step.name: step.title for step in STEPS}, "script": "Test script"}


def step(name: str) -> Step:
    """The step of that name.

    Raises:
        FormError: there is none.
    """
    for entry in STEPS:
        if entry.name == name:
            return entry
    raise FormError(f"there is no step '{name}'; the steps are: "
                    + ", ".join(each.name for each in STEPS))

CHECKS: dict[str, CheckOf] = {
    each.id: each for step in JUDGED for each in step.checks}


def points_used(test: FunctionalTest) -> dict[str, list[str]]:
    """For every check the trended points that it can rest on."""
    return {id: [name for need in each.needs for name in test.points_of(need)]
            for id, each in CHECKS.items()}


def all_checks(test: FunctionalTest) -> list[Check]:
    """Every check of every step, in order."""
    return [judge(test, id) for id in CHECKS]


@cached
def judge(test: FunctionalTest, id: str) -> Check:
    """One check of a test, by its id.

    Raises:
        FormError: there is no such check.
    """
    if id not in CHECKS:
        raise FormError(f"there is no check '{id}'; the checks are: " + ", ".join(CHECKS))
    return CHECKS[id](test)
