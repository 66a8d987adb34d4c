"""The procedure as a document: every step with its cautions, every check with its formula, limits
and their basis, what it needs and what pass and fail mean, from the registry the checks run by."""

from __future__ import annotations

import json
import re
from pathlib import Path

from fptlib import points, units
from fptlib.job import answers
from fptlib.job.folder import Job
from fptlib.job.start import EDITION, data_folder
from fptlib.limits import Limits, standard
from fptlib.procedure.judge import CheckOf
from fptlib.procedure.steps import STEPS, Step
from fptlib.workbook import printed
from fptlib.workbook.panels import Panel, printout
from fptlib.workbook.printed import Block

NAME = "procedure.html"
_ABOUT = (
    "A verdict is pass, fail, indeterminate (the margin is smaller than its uncertainty), not "
    "tested (no event, or a point missing), deferred (season or load) or not applicable. Measured "
    "values carry their expanded uncertainty (k = 2). A gap in the trends proves nothing: what it "
    "may hide withholds a pass and never accuses. A changeover that was induced proves function, "
    "not capacity.")
_ROLES = (
    "Technician: performs the steps, writes down what is observed, signs first.",
    "Engineer: approves the plan, recalculates, accepts or returns the record.",
    "Owner's witness: approves plan and abort conditions, may stop the test at any time.",
    "Controls contractor: provides points and trends, corrects settings.",
    "Operator: carries out every command at the plant; nobody else does.")
# Needs that are no single point, as the trade says them.
_NEEDED = {
    "request": "the economizer's enable command or its status", "load": "cooling load",
    "chillers": "status, power or current of every chiller", "power": "plant power",
    "exchanger_flows": "both flows of the exchanger", "wet_bulb": "outdoor wet bulb",
    "reset_driver": "what drives the reset", "reset_setpoint": "chilled-water reset setpoint",
    "chiller_lift": "each chiller's lift", "demand": "metered demand or plant power",
    "evaporator_pressures": "evaporator pressures",
    "chiller_flows": "evaporator and condenser flows",
    "chiller_entering_water": "entering condenser water",
    "exchanger_pressure_drop": "pressure drop and flow of a side of the exchanger",
    "exchanger_opens": "condenser-water flow or valve of the exchanger",
    "basin_heating": "basin water and heater status, where the basin has a heater",
    "humid_space": "humidity of the critical space, where there is one",
    "reset_valves": "each air handler's chilled-water valve, where valves drive the reset",
}


def write(path: Path, job: Job | None = None) -> list[Path]:
    """Write the document as a page and as PDF, with a job's own limits where one is given."""
    limits = Limits() if job is None else answers.limits(job.answers())
    name = f"Procedure, {EDITION}" if job is None else f"Plan and procedure: {job.get('job.title')}"
    parts = [printed.caution(printed.SAFETY), printed.text(_ABOUT),
             printed.heading("Roles"), printed.listed(_ROLES)]
    for step in STEPS:
        parts += [printed.heading(str(step)), printed.text(f"Purpose: to {step.purpose}."),
                  printed.listed(cautions(step)),
                  *(part for each in step.checks for part in _check(each, limits))]
    return printed.write(path, name, parts)


def panel(job: Job) -> Panel:
    """Write the plan with its procedure from its workbook."""
    return printout("Plan and procedure", "the plan with its procedure",
                    lambda: write(job.folder / NAME, job))


def cautions(step: Step) -> list[str]:
    """The cautions of a step, as its workbook states them."""
    book = json.loads((data_folder("workbooks") / step.file).read_text(encoding="utf-8"))
    cells = ["".join(cell["source"]) for cell in book["cells"] if cell["cell_type"] == "markdown"]
    said = next((cell for cell in cells if cell.startswith("**Cautions for this step**")), "")
    return re.findall(r"^- (.+)$", said.split("**What is needed**")[0], re.MULTILINE)


def _check(check: CheckOf, limits: Limits) -> list[Block]:
    words, formula = check.words, " ".join((check.function.__doc__ or "").split())
    rows = [[standard(name).meaning, units.stated(limits.value(name), standard(name).unit),
             limits.basis(name)] for name in check.limits]
    needed = [points.point(name).meaning if points.is_point(name := need.replace("{n}", "1"))
              else _NEEDED[need] for need in check.needs]
    unit = units.symbol(check.unit)
    return [
        printed.heading(words["question"], 3),
        printed.text(f"Check {check.id}. Formula: {formula}" + (f" [{unit}]" if unit else "")),
        *([printed.table("Limits", ("Limit", "Value", "Basis"), rows)] if rows else []),
        printed.text("Cannot be known without: " + (", ".join(needed) or "what the plan states")
                     + "." + (" Natural conditions only." if check.capacity else "")),
        printed.text(f"Pass: {words['pass']} Fail: {words['fail']} To adjust: {words['adjust']}")]
