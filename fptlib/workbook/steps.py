"""The steps of the procedure in order: their workbook, their title, what they rest on."""

from __future__ import annotations

from dataclasses import dataclass

from fptlib.errors import FormError

# What every verdict rests on, as places in job.toml; files are added in state.py.
_ALWAYS = ("job.condition", "site", "plant", "files", "points", "sensors", "limits")


@dataclass(frozen=True, slots=True)
class Step:
    """One step.

    ``rests_on`` lists the places of ``job.toml`` whose change makes the step's verdict out
    of date; ``judged`` tells whether the step gives verdicts.
    """

    number: int
    name: str
    title: str
    purpose: str
    judged: bool = True
    rests_on: tuple[str, ...] = _ALWAYS

    @property
    def file(self) -> str:
        """Name of its workbook."""
        return f"{self.number:02d}_{self.name}.ipynb"


STEPS: tuple[Step, ...] = (
    Step(0, "plan", "Plan", "state what is tested, on which plant, against which limits",
         judged=False, rests_on=("job", "site", "plant", "points", "people", "instruments",
                                  "prerequisites", "abort", "limits", "frozen")),
    Step(1, "instruments", "Instruments", "show that sensors and field instruments can be trusted",
         rests_on=(*_ALWAYS, "instruments")),
    Step(2, "reset", "Setpoint reset", "show that the chilled-water reset is alive",
         rests_on=(*_ALWAYS, "answers.reset")),
    Step(3, "enable", "Enable", "show that economizer operation is asked for at the right time"),
    Step(4, "lift", "Lift protection", "show that chillers keep their lift in the pull-down"),
    Step(5, "handover", "Handover", "show that the exchanger takes the load without an excursion",
         rests_on=(*_ALWAYS, "marks")),
    Step(6, "recovery", "Recovery", "show that the setpoint returns to its reset without a rush"),
    Step(7, "running", "Running", "show that the economizer runs as designed"),
    Step(8, "exit", "Exit", "show that the plant leaves the economizer when it must, not before"),
    Step(9, "transition", "Transition", "show by kW/ton that it changes over at the right moment"),
    Step(10, "findings", "Findings", "close the test and sign the record", judged=False,
         rests_on=("findings",)),
    Step(11, "review", "Review", "let the senior engineer re-compute, comment and countersign",
         judged=False, rests_on=("review",)),
)


def step(name: str) -> Step:
    """The step of that name.

    Raises:
        FormError: there is none.
    """
    for entry in STEPS:
        if entry.name == name:
            return entry
    raise FormError(f"there is no step '{name}'; the steps are: " + ", ".join(
        entry.name for entry in STEPS))
