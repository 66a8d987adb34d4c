"""The procedure as a document: every step with its cautions, every check with its formula, its
source, limits with their basis, uncertainty, what it needs and what pass and fail mean, from the
registry the checks run by; of a job, its plan and approvals too."""

from __future__ import annotations

import json
import re
from pathlib import Path

from fptlib import points, units
from fptlib.job import answers
from fptlib.job.folder import Job
from fptlib.job.schema import Sensors
from fptlib.job.start import EDITION, data_folder
from fptlib.job.tables import labelled
from fptlib.limits import COMMON_PRACTICE, Limits, standard
from fptlib.procedure.judge import CheckOf
from fptlib.procedure.steps import CHECKS, STEPS, Step
from fptlib.procedure.trended import ALTERNATIVES
from fptlib.record import appendix, approvals
from fptlib.record.text import moment
from fptlib.workbook import printed, questionnaire
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
    "chiller_leaving_water": "each chiller's leaving chilled water",
    "chiller_draw": "current or power of every chiller",
    "chiller_lift": "each chiller's lift", "demand": "metered demand or plant power",
    "evaporator_pressures": "evaporator pressures",
    "chiller_flows": "evaporator and condenser flows",
    "towers_bypass": "the towers' bypass valve, where it is trended",
    "each_sump": "the water of each of several sumps, where it is trended",
    "each_exchanger": "flows and leaving water of each of several exchangers, where trended",
    "chiller_entering_water": "entering condenser water",
    "exchanger_pressure_drop": "pressure drop and flow of a side of the exchanger",
    "exchanger_opens": "condenser-water flow or valve of the exchanger",
    "basin_heating": "basin water and heater status, where the basin has a heater",
    "humid_space": "humidity of the critical space, where there is one",
    "reset_valves": "each air handler's chilled-water valve, where valves drive the reset",
}


# How well the number of a check is known, by its unit.
_TIME = ("A time is known to one sample at either end; rows within the sensors' uncertainty of the "
         "level count both ways. A timer may miss its setting by the tolerance on timers.")
_LEVEL = ("The stated accuracy of the sensors, or the usual one of their kind (k = 2), their "
          "steps, and what may lie between two samples. An error that enters both sides cancels.")
_SHARE = ("The accuracy of the sensors (k = 2): rows so near the band count both ways, and the "
          "scatter about a median or a fitted line is in it.")
_COUNT = ("A start needs a row on and a row off to be seen; one start may hide in every two rows "
          "that are unknown.")
_RATIO = "The accuracy of the meters (k = 2) and the scatter of what was fitted to them."
_KNOWN_TO = {
    "min": _TIME, "days": "none, days are counted.", "degF": _LEVEL, "gpm": _LEVEL, "%RH": _LEVEL,
    "%": _SHARE, "%/30 days": _SHARE, "per hour": _COUNT, "count": _COUNT, "kW": _RATIO,
    "kW/ton": _RATIO, "tons/ton": _RATIO}
_STATES = ("No sensor's error enters: states and setpoints are known to their steps and to one "
           "sample.")
# The points behind a need that is no single point and no quantity with ways of its own.
_BEHIND = {
    "power": ("plant_power",), "demand": ("plant_power",), "reset_driver": ("outdoor_dry_bulb",),
    "chiller_lift": ("chiller_1_cw_leaving_temp", "chw_supply_temp"),
    "chiller_leaving_water": ("chw_supply_temp",), "chiller_draw": ("chiller_1_power",),
    "chiller_flows": ("chw_flow", "cw_flow"), "chiller_entering_water": ("cw_supply_temp",),
    "evaporator_pressures": ("chiller_1_evaporator_pressure",), "basin_heating": ("basin_temp",),
    "humid_space": ("space_humidity",), "each_sump": ("cw_supply_temp",),
    "each_exchanger": ("hx_chw_flow",)}
_SYMBOLS = [
    ("WB, DB, RH", "outdoor wet bulb, dry bulb, relative humidity"),
    ("CHWS, CHWR", "chilled water supply and return temperature"),
    ("CHWL, CWL, CWE", "a chiller's leaving chilled water, leaving and entering condenser water"),
    ("CWS, CWSP", "condenser water supply, off the common sump, and its setpoint"),
    ("SP, RSP", "active chilled-water setpoint, and what the reset asks for"),
    ("Tsat(p), p, Δp", "saturation temperature at a pressure, pressure, pressure drop"),
    ("Q, UA, LMTD", "heat, heat transfer coefficient times area, log mean temperature difference"),
    ("MAT, DAT", "an air handler's mixed and discharge air temperature"),
    ("t", "a time; minutes from one moment to another, or for which something lasts"),
]
# What of a job's plan its document states, in this order: what an approval is of (``job.plan``).
_PLAN = ("test.planned", "site", "plant", "sequence", "settings", "people", "points", "files",
         "sensors", "instruments", "limits", "prerequisites", "abort", "script")
# The script as it is taken to the plant: what is observed there is written into its cells.
_SCRIPT = ("Step", "Action", "Expected result [judged by]", "Observed result", "Time, initials",
           "Result")


def write(path: Path, job: Job | None = None) -> list[Path]:
    """Write the document as a page and as PDF, with a job's own plan where one is given."""
    held = job.answers() if job else {}
    limits, sensors = answers.limits(held), answers.sensors(held)
    name = f"Procedure, {EDITION}" if job is None else f"Plan and procedure: {job.get('job.title')}"
    parts = [printed.caution(printed.SAFETY), printed.text(_ABOUT),
             printed.table("Symbols", ("Symbol", "What it stands for"), _SYMBOLS),
             printed.heading("Roles"), printed.listed(_ROLES),
             *(_plan(job) if job else [])]
    for step in STEPS:
        parts += [printed.heading(str(step)), printed.text(f"Purpose: to {step.purpose}."),
                  printed.listed(cautions(step)),
                  *(part for each in step.checks for part in _check(each, limits, sensors))]
    return printed.write(path, name, [*parts, *_references()])


def _plan(job: Job) -> list[Block]:
    """What the job's plan states, who approved it, and what changed since."""
    frozen = (f"frozen {job.get('frozen.at', '')} by {job.get('frozen.by', '?')}"
              if job.get("frozen.limits") else "not frozen")
    standing = list(approvals.standing(job.answers()))
    return [printed.heading("The plan"), *(_stated(job, path) for path in _PLAN),
            printed.table(*questionnaire.SETTINGS_COMPARED, questionnaire.settings_compared(job)),
            printed.text(f"The limits are {frozen}; each stands with its check below."),
            printed.table("Approvals of the plan", ("By", "How it stands"), standing)]


def _stated(job: Job, path: str) -> Block:
    """What the plan states in one place; of a list the columns that somebody filled."""
    section = questionnaire.section(job, path)
    table, held = section.table, section.rows() if section.table.row else []
    if not table.row:
        asked = job.get(table.path, {})
        return printed.table(table.title, ("", ""), labelled(table.path, {
            name: value for name, value in asked.items()
            if value != "" and (name in table.answers or isinstance(value, dict))}))
    if path == "abort":
        return printed.table(table.title, ("Condition", "What is watched", "Stop within"),
                             appendix.abort_rows(held))
    if path == "script":
        return printed.table(table.title, _SCRIPT, [[
            str(row.get("number", "")), f"{row.get('kind', '')}: {row.get('action', '')}",
            " ".join(filter(None, (row.get("expected"), f"[{row['checks']}]"
                                   if row.get("checks") else ""))), str(row.get("observed", "")),
            " ".join(filter(None, (moment(row.get("time")), row.get("initials")))),
            str(row.get("outcome", ""))] for row in held])
    if path in ("limits", "settings"):
        held = [{name: units.stated(value, standard(row["name"]).unit)
                 if isinstance(value, float | int) else value for name, value in row.items()}
                | {"name": standard(row["name"]).meaning} for row in held]
    columns = [item for item in table.asked
               if item.required or any(row.get(item.name) not in (None, "") for row in held)]
    return printed.table(table.title, [item.label for item in columns], [
        [points.plain(shown) if item is table.key else shown for item in columns
         for shown in [item.shown(row.get(item.name))]] for row in held])


def _references() -> list[Block]:
    """Every published source that a formula or a limit of the standard names, with its checks."""
    named: dict[str, list[str]] = {standard("decision.rule").basis: ["every verdict"]}
    for check in CHECKS.values():
        for source in (check.source, *(standard(name).basis for name in check.limits)):
            if source != COMMON_PRACTICE and check.id not in named.setdefault(source, []):
                named[source].append(check.id)
    return [printed.heading("References"),
            printed.text(f"Where nothing else is named, a formula or limit is {COMMON_PRACTICE}."),
            printed.table("", ("Source", "Used by"),
                          [[source, ", ".join(ids)] for source, ids in named.items()])]


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


def _known_to(check: CheckOf, sensors: Sensors) -> str:
    """How well a check's number is known: the rule of its kind, and the sensors that bear on it."""
    names = [name.replace("{n}", "1") for need in check.needs
             for name in ALTERNATIVES.get(need, (_BEHIND.get(need, (need,)),))[0]]
    read = [(points.point(name), sensors[name]) for name in dict.fromkeys(names)
            if points.is_point(name)]
    said = [f"{entry.meaning.split(',')[0]} ± " + (
        f"{100 * sensor.accuracy:g} % of the reading" if sensor.relative
        else units.stated(sensor.accuracy, entry.unit))
        for entry, sensor in read if entry.kind == points.MEASURED and sensor.accuracy]
    rule = _KNOWN_TO[check.unit]
    if said:
        return f"{rule} The sensors: {', '.join(said)}."
    return _STATES if check.needs and rule in (_LEVEL, _SHARE) else rule


def _check(check: CheckOf, limits: Limits, sensors: Sensors) -> list[Block]:
    words, formula = check.words, " ".join((check.function.__doc__ or "").split())
    rows = [[standard(name).meaning, units.stated(limits.value(name), standard(name).unit),
             limits.basis(name)] for name in check.limits]
    needed = [points.point(name).meaning if points.is_point(name := need.replace("{n}", "1"))
              else _NEEDED[need] for need in check.needs]
    unit = units.symbol(check.unit)
    return [
        printed.heading(words["question"], 3),
        printed.text(f"Check {check.id}. Formula: {formula}" + (f" [{unit}]" if unit else "")),
        *([printed.text(f"In symbols: {words['symbols']}")] if "symbols" in words else []),
        printed.text(f"Source of the formula: {check.source}."),
        *([printed.table("Limits", ("Limit", "Value", "Basis"), rows)] if rows else []),
        printed.text(f"Uncertainty: {_known_to(check, sensors)}"),
        printed.text("Cannot be known without: " + (", ".join(needed) or "what the plan states")
                     + "." + (" Natural conditions only." if check.capacity else "")),
        printed.text(f"Pass: {words['pass']} Fail: {words['fail']} To adjust: {words['adjust']}")]
