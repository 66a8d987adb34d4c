"""The settings sheet: one page for the controls contractor and the operator, and what a notebook
shows of it and of the sequence replayed."""

from __future__ import annotations

from pathlib import Path

from fptlib.job.folder import Job
from fptlib.procedure.assemble import assemble
from fptlib.procedure.feasibility import FEASIBLE
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.replay import Disagreement
from fptlib.procedure.settings_sheet import Sheet
from fptlib.procedure.verdict import Verdict
from fptlib.record.what_to_set import beside_plant, made_of
from fptlib.workbook import printed, static
from fptlib.workbook.figures.feasibility import figure
from fptlib.workbook.panels import Panel, printout
from fptlib.workbook.static import Shown

# The workbook shows the figure too.
__all__ = ["figure", "panel", "replayed", "shown", "write"]
NAME = "settings_sheet.html"
MOST_SHOWN = 40
Table = tuple[str, tuple[str, ...], list[list[str]]]


def _sentences(made: Sheet) -> list[str]:
    counts = {verdict: sum(check.verdict is verdict for check in made.checks)
              for verdict in Verdict}
    judged = ", ".join(f"{count} {verdict.value}" for verdict, count in counts.items() if count)
    return [f"Path from chillers to exchanger: {made.verdict}. {made.reason}",
            *(f"What would help: {each}" for each in made.helps),
            *([f"Replayed over this job's weather and load and judged by its checks: {judged}. The "
               "replay moves water by a simple balance: prove the settings at the plant. An effect "
               "is that of one setting changed alone, in this record and in a typical year of "
               "hourly weather, without what the pull-downs draw."]
              if made.checks else [])]


def _tables(made: Sheet) -> list[Table]:
    lines = [[each.name, each.specified, each.found, each.recommended, each.why, each.valid,
              each.effect]
             for each in made.lines]
    doubtful = [[check.id, check.verdict.value, check.reason] for check in made.checks
                if check.verdict in (Verdict.FAIL, Verdict.INDETERMINATE)]
    found: list[Table] = [
        ("Settings", ("Setting", "As specified", "As found", "Recommended", "Why", "Valid here",
                      "Effect alone"),
         lines),
        ("Not passed in the replay", ("Check", "Verdict", "Why"), doubtful),
        ("What the replay rests on", ("From plan and trends",), [[each] for each in made.basis])]
    return [table for table in found if table[2]]


def _table(test: FunctionalTest, found: list[Disagreement]) -> Table:
    rows = [[f"{test.time(each.first):%Y-%m-%d %H:%M}",
             f"{(each.last - each.first + 1) * test.minutes:.0f} min", each.plant, each.sequence,
             each.reason] for each in found[:MOST_SHOWN]]
    more = f" ({len(found) - len(rows)} more)" if len(found) > len(rows) else ""
    return (f"Sequence replayed: where the plant did otherwise{more}",
            ("From", "For", "Plant", "Sequence", "Reason"), rows)


def shown(made: Sheet) -> Shown:
    """The sheet as sentences and tables."""
    parts = static.notes(_sentences(made),
                         "done" if made.verdict == FEASIBLE and not made.failed else "waiting")
    for table in _tables(made):
        parts += static.table(*table)
    return parts


def replayed(job: Job, test: FunctionalTest) -> Shown:
    """What the plant did beside what its sequence would have done."""
    found, missing = beside_plant(job, test)
    return static.note(missing, "waiting") if missing else static.table(
        *_table(test, found), empty="nowhere")


def write(job: Job) -> tuple[list[Path], Sheet]:
    """Write the sheet beside ``job.toml``, as a page and as PDF.

    Raises:
        FptError: an answer or a trend file of the job cannot be used.
    """
    test = assemble(job)
    made = made_of(job, test)
    drawn, (found, missing) = figure(made), beside_plant(job, test)
    paths = printed.write(job.folder / NAME, f"Settings sheet: {job.get('job.title', '')}", [
        *(printed.text(each) for each in _sentences(made)),
        *(printed.table(*table) for table in _tables(made)[:1]),
        printed.picture(drawn.png(), drawn.sentence), printed.caution(printed.SAFETY),
        *(printed.table(*table) for table in _tables(made)[1:]),
        printed.text(missing) if missing else printed.table(*_table(test, found))], landscape=True)
    return paths, made


def panel(job: Job) -> Panel:
    """Write the sheet from its workbook."""
    return printout("Settings sheet", "the settings sheet", lambda: write(job)[0])
