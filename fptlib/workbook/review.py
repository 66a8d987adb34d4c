"""What the senior engineer looks at: deviations, near limits, comments, re-execution.

Comments are the reviewer's own notes. They lie in ``review.toml`` beside the job, for what
the technician signed must not change; the decision and its reason go into the signature.
"""

from __future__ import annotations

import shutil
import tempfile
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import tomlkit

from fptlib import units
from fptlib.answer import Answer, Kind, answer
from fptlib.errors import JobError
from fptlib.job import answers as job_answers
from fptlib.job.folder import REVIEW_FILE, Job, lookup, write_atomically
from fptlib.job.received import sender
from fptlib.job.tables import Table
from fptlib.limits import standard
from fptlib.procedure.steps import STEPS
from fptlib.procedure.verdict import Check, Verdict
from fptlib.workbook import reception, run, state
from fptlib.workbook.forms import Row, Section
from fptlib.workbook.standard import notebooks

ALL, NEAR, OPEN = "all checks", "near their limit", "not passed"
IGNORED = "nbval-ignore-output"


def limit_changes(job: Job) -> list[str]:
    """What the reviewer must see first about the limits, one sentence each."""
    answers = job.answers()
    limits = job_answers.limits(answers)
    found = [
        f"Limit {name} ({standard(name).short}) is "
        f"{units.stated(own.value, standard(name).unit)} instead of the standard's "
        f"{units.stated(standard(name).value, standard(name).unit)}: {own.reason} ({own.author})."
        for name, own in limits.deviations.items()
    ]
    frozen = lookup(answers, "frozen.limits")
    if not frozen:
        found.append("The limits were never frozen: nothing shows that they came before the data.")
    return found + state.since_frozen(answers)


def near(check: Check) -> bool:
    """Whether a check lies so near its limit that its uncertainty matters."""
    if check.margin is None or not check.uncertainty:
        return check.verdict is Verdict.INDETERMINATE
    return abs(check.margin) <= 2.0 * check.uncertainty


def chosen(checks: Sequence[Check], which: str) -> list[Check]:
    """The checks of a filter, those nearest their limit first."""
    kept = [c for c in checks if which == ALL or (which == NEAR and near(c))
            or (which == OPEN and c.verdict is not Verdict.PASS)]
    return kept if which != NEAR else sorted(kept, key=lambda each: (
        abs(each.margin) / each.uncertainty if each.margin is not None and each.uncertainty
        else 0.0))


_COMMENT = {
    "text": answer("Comment", kind=Kind.LONG, required=True),
    "decision": answer("Decision", choices=("accept", "send back"), required=True,
                       words={"send back": "return for correction"}),
}


class Comments(Section):
    """A comment for each check that needs one: the rows of ``review.toml``."""

    def __init__(self, job: Job, checks: Sequence[Check] = ()) -> None:
        key = Answer("check", "Check", Kind.CHOICE, choices=tuple(check.id for check in checks),
                     required=True)
        super().__init__(job, Table("comments", "Comments", _COMMENT, row="comment", key=key))
        self._path = job.folder / REVIEW_FILE

    def rows(self) -> list[Row]:
        """Every comment.

        Raises:
            JobError: the file cannot be read.
        """
        if not self._path.is_file():
            return []
        try:
            held = tomllib.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise JobError(f"{REVIEW_FILE} cannot be read: {error}; correct it, or move it out of "
                           "the job folder") from error
        return [{"check": name, **row} for name, row in held.get("comments", {}).items()]

    def edit(self, change: Callable[[Any], None]) -> None:
        # Read under the lock too, so that another window's comment is not lost.
        with self.job.locked():
            held = {row.pop("check"): row for row in self.rows()}
            change(held)
            write_atomically(self._path, tomlkit.dumps({"comments": held}).encode("utf-8"))


def hand_edits(job: Job) -> list[str]:
    """Outputs that differ from what the workbooks give when they are run again.

    They run on a copy of the job; the job itself is not touched. Of a received folder the
    sender's outputs are compared, where the sender's workbook is the installed one.
    """
    sent = sender(job) / "workbooks"
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        copy = Path(folder) / "job"
        shutil.copytree(job.folder, copy, ignore=shutil.ignore_patterns(".lock"))
        before = {step.file: _texts(sent / step.file) for step in STEPS
                  if reception.same_words(sent / step.file, copy / "workbooks" / step.file)}
        run.run_all(Job(copy))
        return [
            f"Workbook {name}: an output differs when it is run again; it was edited after the "
            "run, or is out of date."
            for name, texts in before.items()
            if texts and texts != _texts(copy / "workbooks" / name)
        ]


def _texts(path: Path) -> list[str]:
    """The texts of a workbook's outputs that must come out the same every time."""
    if not path.is_file():
        return []
    cells = notebooks().read(path, as_version=4).cells
    kept = [cell for cell in cells if cell.cell_type == "code"
            and IGNORED not in cell.metadata.get("tags", [])]
    return [str(output.get("data", {}).get(kind, output.get("text", "")))
            for cell in kept for output in cell.outputs for kind in ("text/plain", "text/html")]
