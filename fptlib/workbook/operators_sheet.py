"""The operator's sheet: how the changeover works at this plant, its set values as tested, when to
stop, what to watch each month and what never to do; two pages made from plan and test."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fptlib import units
from fptlib.job import answers
from fptlib.job.folder import Job, lookup
from fptlib.job.schema import Plant
from fptlib.job.tables import SETTINGS
from fptlib.limits import Limits, standard
from fptlib.procedure.assemble import assemble
from fptlib.procedure.settings import compared
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check, Verdict
from fptlib.record.payload import check_row
from fptlib.record.statement import ANALYSIS, kind
from fptlib.workbook import printed
from fptlib.workbook.panels import Panel, printout

NAME = "operators_sheet.html"
_NEVER = (
    "Never bypass, reset unseen or falsify a safety: low-temperature cutout, flow, pressure, "
    "alarm.",
    "Never leave an override or an HOA switch in hand: list it, release it, verify it in AUTO.",
    "Never start a chiller against its anti-recycle timer.",
    "Never let condenser water, basin or exchanger go below the manufacturer's minimum; below "
    "35 °F outdoors watch basins, heaters and idle pipes.",
    "Never disable the economizer for good after a trip: write down minute and readings, and call "
    "the engineer.",
)


def write(job: Job) -> list[Path]:
    """Write the sheet beside ``job.toml``, as a page and as PDF.

    Raises:
        FptError: an answer or a trend file of the job cannot be used.
    """
    held = job.answers()
    plant, limits = answers.plant(held), answers.limits(held)
    checks = all_checks(assemble(job))
    rows = [check_row(check) for check in checks]
    stated = {**{name: {} for name in SETTINGS}, **lookup(held, "settings", {})}
    settings = [[each.meaning, each.specified if each.specified != "–" else each.judged,
                 each.programmed, each.observed, "; ".join(each.contradictions)]
                for each in compared(stated, limits.in_force(), rows)]
    title = f"Operator's sheet: {job.get('job.title', '')}"
    return printed.write(job.folder / NAME, title, [
        printed.text(_standing(checks, kind({name: lookup(held, name, [])
                                             for name in ("script", "marks")}))),
        printed.caution(printed.SAFETY),
        printed.heading("How the changeover works here"),
        printed.listed(_story(plant, limits, answers.sequence(held).enable.wet_bulb),
                       numbered=True),
        printed.heading("Set values"),
        printed.table("Settings of the sequence", (
            "Setting", "Set value", "As programmed", "As tested", "Out of specification"),
            settings),
        printed.heading("Stop and go back to chillers when"),
        printed.listed([each.text for each in answers.aborts(held)]),
        printed.text(f"Safe state: {lookup(held, 'test.safe_state', 'not stated')}."),
        printed.heading("Watch each month of the season"), printed.listed(_monthly(plant, limits)),
        printed.heading("Never"), printed.listed(_NEVER)])


def panel(job: Job) -> Panel:
    """Write the sheet from its workbook."""
    return printout("Operator's sheet", "the operator's sheet", lambda: write(job))


def _standing(checks: Sequence[Check], made: str) -> str:
    analysis = " No step of a test was performed: the trends alone were analyzed." \
        if made == ANALYSIS else ""
    failed = [check.question for check in checks if check.verdict is Verdict.FAIL]
    if failed:
        return (f"NOT RELEASED FOR OPERATION: {len(failed)} checks failed. The set values below "
                f"are those of the sequence, not of a plant that passed its test.{analysis}")
    passed = sum(check.verdict is Verdict.PASS for check in checks)
    return f"{passed} of {len(checks)} checks passed, none failed.{analysis}"


def _story(plant: Plant, limits: Limits, fixed: float | None) -> list[str]:
    def of(name: str) -> str:
        return units.stated(limits[name], standard(name).unit)

    here, (tower, exchanger) = "", (plant.tower_approach, plant.exchanger_approach)
    if tower and exchanger:
        least = (tower.value + exchanger.value + limits["enable.tower_tolerance"]
                 + limits["enable.exchanger_tolerance"])
        here = (f" At the approaches of this plant ({tower.value:g} and {exchanger.value:g} °F) "
                f"that is a wet bulb at least {least:g} °F below the reset setpoint.")
    return [
        f"Enable: when the wet bulb stays at or below {fixed:g} °F for {of('enable.dwell')}."
        if fixed is not None else
        "Enable: when wet bulb, tower approach, exchanger approach and their tolerances "
        f"({of('enable.tower_tolerance')}, {of('enable.exchanger_tolerance')}) stay at or below "
        f"the chilled-water reset setpoint for {of('enable.dwell')}.{here}",
        "Pull-down: the towers cool the common sump while a chiller carries the load. The active "
        f"setpoint goes down with it, {of('lift.offset')} below condenser water and never below "
        f"{of('lift.lowest_setpoint')}, so that the chiller keeps its lift.",
        "Transition: when condenser water is cold enough for the exchanger, the exchanger takes "
        "the load and the last chiller stops.",
        f"Return: within {of('lift.release')} the setpoint ramps back to the reset setpoint, at "
        f"most {of('recovery.rate')} in ten minutes.",
        f"Run: at least {of('enable.stay')}; then at least {of('enable.rest')} off before the "
        "next.",
        f"Exit: chilled water {of('exit.band')} above setpoint for {of('exit.delay')}, too much "
        "equipment on, or chillers cheaper; a chiller starts first.",
    ]


def _monthly(plant: Plant, limits: Limits) -> list[str]:
    lifts = [f"{c.tag or f'Chiller {c.number}'}: lift in the pull-down at least "
             f"{c.minimum_water_lift:g} °F, leaving chilled water above its cutout"
             f"{f' of {c.cutout:g} °F' if c.cutout is not None else ''}."
             for c in plant.chillers if c.minimum_water_lift is not None]
    return [
        *lifts,
        f"Exchanger UA at least {limits['running.conductance']:g} % of design; else clean it.",
        f"Fan starts at most {limits['running.fan_starts']:g} an hour per cell.",
        f"Supply within ±{limits['running.supply_band']:g} °F of its setpoint.",
        f"At most {limits['enable.attempts']:g} changeovers a day.",
        "Wet bulb against a psychrometer; override list empty; strainers and basin heaters.",
    ]
