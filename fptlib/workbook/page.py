"""What every workbook page does: find its job, show where the test stands, stop plainly.

A page holds no calculation. It notes a digest of what its step rests on before anything is
computed, and keeps verdict and digest together when the verdicts are shown. What draws is imported
once the forms stand there, or when the step is run: a technician waits for the forms first.
"""

from __future__ import annotations

import asyncio
import html
import os
from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import ipywidgets as widgets
from IPython import get_ipython
from IPython.display import display

from fptlib import points
from fptlib.errors import FormError, FptError, JobError
from fptlib.job.folder import JOB_FILE, Job
from fptlib.job.received import not_kept
from fptlib.procedure import reads
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import STEPS, Step, step
from fptlib.procedure.verdict import Check, Verdict
from fptlib.units import rounded
from fptlib.workbook import (
    checklist,
    panels,
    parts,
    questionnaire,
    state,
    static,
    style,
    verdicts,
)
from fptlib.workbook.forms import FormView, RowsView, Section
from fptlib.workbook.static import Shown

if TYPE_CHECKING:
    from fptlib.workbook.figures.base import Evidence


def find_job() -> Job:
    """The job a workbook belongs to: the one named by FPTLIB_JOB, else the folder above.

    Raises:
        JobError: there is none.
    """
    if named := os.environ.get("FPTLIB_JOB"):
        return Job(named)
    here = Path.cwd()
    for folder in (here.parent, here):
        if (folder / JOB_FILE).is_file():
            return Job(folder)
    raise JobError(
        "this workbook does not lie in a job folder; start a job with 'fptlib start FOLDER' "
        "and open its workbooks with 'fptlib open FOLDER'"
    )


def draw_soon(seconds: float = 3.0) -> None:
    """Import what draws when the kernel has been open for so long [s], in its own thread between
    two cells; in a plain script, which nobody looks at, do nothing."""
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        return
    loop.call_later(seconds, import_module, "fptlib.workbook.evidence")


class Page:
    """One workbook page of one job."""

    def __init__(self, name: str, job: Job | None = None) -> None:
        self.step: Step = step(name)
        self.job = job or find_job()
        self._shown: list[Callable[[], Shown]] = []
        self._forms: list[FormView] = []
        self._lists: list[RowsView] = []
        self._before, self._read = state.basis(self.job), set[str]()
        self.badge = parts.html("", "fpt-badge")
        self._first: tuple[widgets.Widget, ...] = (style.sheet(), self.badge)
        self._say_standing()
        _watch_for_stops(self)
        draw_soon()

    # -- forms -------------------------------------------------------------------------

    def form(self, *paths: str) -> Any:
        """The forms at places of ``job.toml``, with the page's badge below them; ``{n}`` stands
        for each of the job's chillers."""
        numbers = questionnaire.chillers(self.job)
        places = [path.format(n=n) for path in paths for n in (numbers if "{n}" in path else [0])]
        views = [FormView(questionnaire.section(self.job, path), self.saved) for path in places]
        self._forms += views
        self._shown += [view.shown for view in views]
        self._say_standing()
        title = "; ".join(view.section.table.title for view in views) or "no chiller is stated yet"
        return self._with_badge(parts.column([view.widget for view in views]), title)

    def rows(self, of: str | Section) -> Any:
        """A list that is filled row by row, at a place of ``job.toml`` or elsewhere."""
        view = RowsView(questionnaire.section(self.job, of) if isinstance(of, str) else of,
                        self.saved)
        self._lists.append(view)
        self._shown.append(view.shown)
        return self._with_badge(view.widget, view.table.title)

    def panel(self, view: Any, title: str) -> Any:
        """Any other widget of this page."""
        return self._with_badge(view.widget, title)

    def _with_badge(self, widget: widgets.Widget, title: str) -> Any:
        """The page's first form brings its style, and the line that stands above the page."""
        first, self._first = self._first, ()
        return Live(parts.column([*first, widget]), title)

    def prerequisites(self) -> Any:
        """The prerequisites as a checklist."""
        return self.panel(checklist.prerequisites(self.job, self._ticked), "prerequisites")

    def overrides(self) -> Any:
        """The overrides as a checklist."""
        return self.panel(checklist.overrides(self.job, self._ticked), "overrides")

    def approval(self) -> Any:
        """The plan's approval by signature; the list of approvals follows it."""
        return self.panel(panels.approve(self.job, self._ticked), "approve the plan by signature")

    def saved(self) -> None:
        """Something was saved: say whether the verdict still stands."""
        self._say_standing()

    def _ticked(self) -> None:
        """A checklist was saved: its rows may stand in a list of this page too."""
        self.saved()
        for view in self._lists:
            view.look_again()

    def _missing(self) -> list[str]:
        """Every required answer of this page that is not there."""
        answers = self.job.answers()
        return [text for view in self._forms for text in view.missing(answers)]

    def _waits_for(self, reason: str) -> str:
        """What the step waits for now; since it stopped the answer may have been given."""
        if missing := self._missing():
            return _needed(missing)
        if state.inputs(self.step, state.basis(self.job)) != state.inputs(
                self.step, self._before):
            return "Something was changed since this step stopped. Press “Run this step”."
        return f"This step waits: {_first_of(reason)}"

    def _say_standing(self) -> None:
        now = state.standing(self.job, self.step)
        older = "the verdict" if self.step.judged else "what stands"
        words = {
            state.OUT_OF_DATE: f"Answers or files were changed: {older} below is withdrawn. "
                               "Press “Run this step”.",
            state.WAITING: self._waits_for(now.reason) if now.state == state.WAITING else "",
            state.NOT_STARTED: _needed(missing) if (missing := self._missing()) else
            "Everything this step must have is there. Press “Run this step” or F8.",
            state.DONE: _counted(now) + "The results below belong to these answers.",
            state.INCOMPLETE: _short(now),
            state.RETURNED: f"{now.reason[:1].upper()}{now.reason[1:]}.",
        }[now.state]
        # The style sheet strikes out the old results as long as a badge bears this mark.
        withdrawn = self.step.judged and now.state == state.OUT_OF_DATE
        (self.badge.add_class if withdrawn else self.badge.remove_class)("fpt-withdrawn")
        self.badge.value = (f"{static.verdict_markup(now.mark)} {html.escape(words)}"
                            f"{_to_verdicts(now)}")

    # -- computation in the open -------------------------------------------------------

    def test(self) -> FunctionalTest:
        """The job's functional test, which notes what of the answers this step reads."""
        test, self._read = reads.watched(assemble(self.job))
        return test

    def can(self, case: FunctionalTest, *needs: str) -> bool:
        """Whether the step's arithmetic can be shown; says what is missing where not."""
        lacking = case.missing(*needs)
        if lacking:
            display(static.note(
                f"Not calculated; not trended: {points.plain(', '.join(lacking))}", "not tested"))
        return not lacking

    def facts(self, caption: str, pairs: Mapping[str, Any]) -> None:
        """Show named results; numbers with one decimal."""
        texts = [(name, value if isinstance(value, str) else rounded(float(value)))
                 for name, value in pairs.items()]
        display(static.facts(caption, texts))

    # -- what is shown -----------------------------------------------------------------

    def strip(self) -> Shown:
        """Where every other step stands, each with a link to its workbook; the firm's words first.

        It stands above the run of this step, and so says nothing of its outcome.
        """
        head = list(self.job.get("procedure.letterhead", []))
        own = str(self.job.get(f"procedure.texts.{self.step.name}", ""))
        lines = [f"<b>{html.escape(line)}</b>" for line in head]
        lines += [html.escape(own)] if own else []
        copy = not_kept(self.job)
        lines += [f"<b>{copy}</b>"] if copy else []
        firm = f"<p>{'<br>'.join(lines)}</p>" if lines else ""
        return Shown(firm, "\n".join([*head, own, copy]).strip()) + strip(
            self.job, self.step, before_it=True)

    def gate(self) -> Shown:
        """What the forms held when this step was run; stops where an answer is missing.

        Raises:
            FormError: names every missing answer.
        """
        self._before = state.basis(self.job)
        if missing := self._missing():
            raise FormError(" · ".join(missing))
        from fptlib.workbook.figures import zoom

        zoom.clear()
        return self.shown()

    def shown(self) -> Shown:
        """What the forms of this page hold now, as static tables."""
        return static.joined([show() for show in self._shown])

    def verdicts(self, checks: Sequence[Check]) -> Shown:
        """The step's verdicts; keeps them with what they rested on."""
        state.record_run(self.job, self.step, checks, self._before, self._read or None)
        self._say_standing()
        return verdicts.table(checks, f"Verdicts of step {self.step}")

    def worksheet(self, check: Check) -> Shown:
        """How a check's numbers came about: what is shown is what decides."""
        return verdicts.worksheet(check)

    def done(self) -> Shown:
        """Keep that a step without verdicts was gone through, and say what is still open."""
        state.record_run(self.job, self.step, (), self._before)
        self._say_standing()
        name = f"Step {self.step}"
        if left := state.left_open(self.step, self.job.answers()):
            return static.notes([f"{name} is saved, but not complete.", *left], "incomplete")
        return static.note(f"{name} is complete.", "done")

    def evidence(self, case: FunctionalTest, checks: Sequence[Check]) -> Shown:
        """The step's figures, and below each what it shows in words."""
        from fptlib.workbook import evidence

        *others, last = (evidence.of(name, case, checks)
                         for name in evidence.named(self.step.name))
        for each in others:
            display(self.figure(each))
        return self.figure(last)

    def figure(self, drawn: Evidence) -> Shown:
        """A figure, and below it what it shows in words, for JupyterLab gives pictures none."""
        from fptlib.workbook.figures import zoom

        zoom.keep(drawn)
        display(drawn)
        words = f"{drawn.sentence[0].upper()}{drawn.sentence[1:]}."
        return Shown(f"<p style='color:#404a54;margin:0 0 .6em'>{html.escape(words)}</p>", words)

    def next(self) -> Shown:
        """Where the test stands now and what comes next."""
        following = STEPS[STEPS.index(self.step) + 1:][:1]
        stands = strip(self.job, self.step)
        if not following:
            return stands
        link = (f"<p>Next: <a href='{following[0].file}'>"
                f"{html.escape(str(following[0]))}</a>, to {html.escape(following[0].purpose)}."
                "</p>")
        return Shown(stands.markup + link, f"Next: {following[0].title}")


def _short(now: state.Standing) -> str:
    """What a step that was run lacks."""
    if now.step.judged:
        return f"{_counted(now)}The results below belong to these answers."
    return f"Saved. {_first_of(now.reason)}"


def _counted(now: state.Standing) -> str:
    """How many checks have which verdict, before what is said of a step that was judged."""
    return f"Checks: {now.reason}. " if now.step.judged else ""


def _to_verdicts(now: state.Standing) -> str:
    """A link to the verdicts, which stand far below on a long page (``labextensions/``)."""
    shown = now.step.judged and now.state in (state.DONE, state.INCOMPLETE, state.OUT_OF_DATE)
    return " <a class='fpt-to-verdicts' href='#'>Show the verdicts</a>" if shown else ""


def _needed(missing: Sequence[str]) -> str:
    """The first answers that are missing, by their labels."""
    labels = list(dict.fromkeys(sentence.split(":")[0] for sentence in missing))
    more = f" and {len(labels) - 3} more" if len(labels) > 3 else ""
    return f"Still needed: {', '.join(labels[:3])}{more}; each is marked * on this page."


def _first_of(reason: str) -> str:
    """The first of the reasons: one line stands above the page."""
    first, *others = reason.split(" · ")
    return f"{first} (and {len(others)} more)" if others else first


class Live:
    """A widget whose output has a fixed text for where it cannot live."""

    def __init__(self, widget: widgets.Widget, title: str) -> None:
        self.widget, self._title = widget, title

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        text = f"[form: {self._title}. It opens when the workbook is run]"
        return static.live(self.widget, text, **kwargs)


def strip(job: Job, here: Step, before_it: bool = False) -> Shown:
    """Where every step stands, each with a link to its workbook; of the one ``here`` nothing
    where it is shown ``before_it`` is run."""
    standings = [state.Standing(here, "this page") if before_it and e.step == here else e
                 for e in state.standings(job)]
    items = "".join(_strip_item(entry, entry.step == here) for entry in standings)
    title = html.escape(str(job.get("job.title", "untitled job")))
    retest = _retest(job)
    below = f"<br>{html.escape(retest)}" if retest else ""
    markup = (
        f"<nav aria-label='Steps of the test'><p style='margin:.2em 0'><b>{title}</b>{below}</p>"
        "<ol style='list-style:none;display:flex;flex-wrap:wrap;gap:.4em;padding:0;margin:0'>"
        f"{items}</ol></nav>"
    )
    text = [f"{e.step}: {e.mark}{_unproven(e)}"
            for e in standings]
    return Shown(markup, "\n".join([retest, *text] if retest else text))


def _retest(job: Job) -> str:
    """What a retest refers to and repeats, in words; nothing for any other job."""
    record = str(job.get("retest.of_record", ""))
    if not record:
        return ""
    earlier = job.get("retest.of_job", "") or "without number"
    items, steps = (", ".join(map(str, job.get(f"retest.{name}", []))) or "none"
                    for name in ("deficiencies", "steps"))
    return (f"Retest of job {earlier}, record {record[:16]}. Deficiencies: {items}. "
            f"Steps to repeat: {steps}.")


def _strip_item(entry: state.Standing, here: bool) -> str:
    frame = "2px solid #1b2733" if here else "1px solid #c8d0d8"
    label = html.escape(str(entry.step))
    link = (
        f"<b aria-current='step'>{label}</b>" if here
        else f"<a href='{entry.step.file}' style='color:#1f4e79'>{label}</a>"
    )
    return (
        f"<li title='{html.escape(entry.reason)}' style='border:{frame};border-radius:.4em;"
        f"padding:.25em .5em;background:#fff;color:#1b2733'>{link}<br>"
        f"{static.verdict_markup(entry.mark)}{_unproven(entry)}</li>"
    )


def _unproven(entry: state.Standing) -> str:
    """A step that passes, or fails, says how much of it was not judged at all."""
    judged = entry.state == state.INCOMPLETE or entry.verdict not in (
        "", Verdict.NOT_TESTED, Verdict.DEFERRED)
    return f", {entry.unproven} not judged" if judged and entry.unproven else ""


def open_page(name: str) -> Page:
    """The page of a workbook, by the name of its step."""
    return Page(name)


_watching: list[Callable[[Any], None]] = []


def _watch_for_stops(page: Page) -> None:
    """When a cell stops with a sentence, the step waits and its verdict is withdrawn."""
    shell = get_ipython()
    if shell is None:
        return

    def after_cell(result: Any) -> None:
        if isinstance(result.error_in_exec, FptError):
            state.record_stop(page.job, page.step, str(result.error_in_exec))
            page.saved()

    for old in _watching:
        shell.events.unregister("post_run_cell", old)
    _watching[:] = [after_cell]
    shell.events.register("post_run_cell", after_cell)
