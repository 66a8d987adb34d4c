"""Where each step stands, without any widget.

When a step has been run, ``[state.NAME]`` in ``job.toml`` keeps its verdict, the places it has read
and a digest of what stood there. A later edit of one of them gives another digest: the verdict is
then withdrawn and the step is out of date until it is run again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from fptlib import units
from fptlib.errors import JobError, RecordError
from fptlib.job import answers as job_answers
from fptlib.job import plan
from fptlib.job.folder import READINGS_FILE, Job, lookup, sha256
from fptlib.job.roles import must_approve
from fptlib.limits import standard
from fptlib.procedure.reads import EVERYTHING, READINGS
from fptlib.procedure.steps import STEPS, Step
from fptlib.procedure.verdict import Check, Verdict, worst
from fptlib.record import approvals, changes, store
from fptlib.record.statement import unapproved
from fptlib.trends.mapping import files_of

NOT_STARTED = "not started"
WAITING = "waiting"
DONE = "done"
INCOMPLETE = "incomplete"
RETURNED = "returned"
OUT_OF_DATE = "out of date"


_SIGNED = {"findings": "technician", "review": "engineer"}


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one step stands; ``reason`` is one sentence, ``verdict`` the worst of its checks,
    ``unproven`` how many of them could not be judged."""

    step: Step
    state: str
    verdict: str = ""
    reason: str = ""
    unproven: int = 0

    @property
    def mark(self) -> str:
        """What is shown of it in one word: the verdict of a step that is done, else its state."""
        return self.verdict if self.state == DONE and self.verdict else self.state


@dataclass(frozen=True, slots=True)
class Basis:
    """What a job holds at a moment: its answers, and the digests of its files by name."""

    answers: Mapping[str, Any]
    files: Mapping[str, str]


def basis(job: Job, answers: Mapping[str, Any] | None = None) -> Basis:
    """What the job holds now."""
    return Basis(job.answers() if answers is None else answers, {
        path.name: _sha256(path, path.stat().st_size, path.stat().st_mtime_ns)
        for path in [*job.trend_files(), job.readings_file] if path.is_file()})


@cache
def _sha256(path: Path, _size: int, _time: int) -> str:
    """The digest of a file, read once as long as its size and time stay: trends may be large."""
    return sha256(path)


def inputs(step: Step, held: Basis, read: Collection[str] | None = None) -> str:
    """SHA-256 over what the step has read: the places of ``read`` and the files of the trends.

    Where nobody noted what was read, the places that the step is said to rest on, and every file.
    """
    rested = {place: {name: each for name, each in held.answers.items() if name != "state"}
              if place == EVERYTHING else lookup(held.answers, place)
              for place in sorted(step.rests_on if read is None else read)}
    if step.judged:
        # A corrected offset is in the trends that every step reads.
        rested["offsets"] = {name: row.get("offset")
                             for name, row in lookup(held.answers, "sensors", {}).items()}
        names = _files(step, held, read)
        rested["files read"] = {n: digest for n, digest in held.files.items() if n in names}
    return plan.digest_of(rested)


def _files(step: Step, held: Basis, read: Collection[str] | None) -> set[str]:
    """Names of the files that the step has read."""
    if read is None:
        # Field readings are held against the trends in the step of the instruments alone.
        return set(held.files) - ({READINGS_FILE} if "instruments" not in step.rests_on else set())
    mapped = {file for row in lookup(held.answers, "points", {}).values()
              for file in files_of(row)}
    weather = {str(lookup(held.answers, "site.weather_file"))} & set(held.files)
    return mapped | (weather if "site.weather_file" in read else set()) | (
        {READINGS_FILE} if READINGS in read else set())


def _keep(job: Job, step: Step, held: Mapping[str, Any]) -> None:
    # A signed job must not change because a workbook was looked at again.
    if job.get(f"state.{step.name}") != held:
        job.put(f"state.{step.name}", held)


def record_run(job: Job, step: Step, checks: Sequence[Check], before: Basis,
               read: Collection[str] | None = None) -> None:
    """Keep the step's verdict, what it read and the digest of that.

    ``before`` is what the job held before the step was computed, so that an edit made while it
    ran shows as out of date.
    """
    _keep(job, step, {
        "inputs": inputs(step, before, read),
        **({} if read is None else {"read": sorted(read)}),
        "verdict": str(worst([check.verdict for check in checks])) if checks else "",
        "counts": dict(Counter(str(check.verdict) for check in checks)),
    })


def record_stop(job: Job, step: Step, reason: str) -> None:
    """Keep why the step could not be judged; any earlier verdict is withdrawn."""
    _keep(job, step, {"waiting": reason})


def standing(job: Job, step: Step, answers: Mapping[str, Any] | None = None) -> Standing:
    """Where the step stands now."""
    answers = job.answers() if answers is None else answers
    if step.name in _SIGNED:
        return _signed(job, step)
    held = lookup(answers, f"state.{step.name}")
    if not held:
        return Standing(step, NOT_STARTED, reason="not run yet")
    if "waiting" in held:
        return Standing(step, WAITING, reason=held["waiting"])
    if held.get("inputs") != inputs(step, basis(job, answers), held.get("read")):
        return Standing(step, OUT_OF_DATE, reason="something it rests on was changed; run it again")
    counts = held.get("counts", {})
    unproven = sum(counts.get(verdict, 0) for verdict in (Verdict.NOT_TESTED, Verdict.DEFERRED))
    verdict = held.get("verdict", "")
    if verdict in (Verdict.NOT_TESTED, Verdict.DEFERRED) and unproven < sum(counts.values()):
        return Standing(step, INCOMPLETE, verdict, _counted(counts), unproven)
    if left := left_open(step, answers):
        return Standing(step, INCOMPLETE, verdict, " · ".join(left))
    return Standing(step, DONE, verdict, _counted(counts), unproven)


def _signed(job: Job, step: Step) -> Standing:
    """The last two steps are done by a signature; the record itself says so."""
    path = store.latest(job)
    try:
        record = store.read(path) if path else None
        changed = changes.of_answers(record.payload, job) if record else []
    except RecordError as error:
        return Standing(step, WAITING, reason=str(error))
    signed = record.signatures if record else ()
    for each in signed:
        if each.sent_back:
            return Standing(step, RETURNED, reason=f"returned for correction by {each.name}: "
                            f"{each.header['reason'].rstrip('.')}")
    if changed:
        return Standing(step, INCOMPLETE, reason="answers were changed after the record was "
                        "signed: sign it again")
    if _SIGNED[step.name] in [each.role for each in signed]:
        return Standing(step, DONE, reason="signed")
    return Standing(step, NOT_STARTED, reason="not signed yet")


def _counted(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{number} {verdict}" for verdict, number in counts.items())


def standings(job: Job) -> list[Standing]:
    """Where every step stands now."""
    answers = job.answers()
    return [standing(job, step, answers) for step in STEPS]


def first_unfinished(job: Job) -> Step:
    """The first step that is not done as far as it goes; the last step where all are."""
    for entry in standings(job):
        if entry.state not in (DONE, INCOMPLETE):
            return entry.step
    return STEPS[-1]


# What a plan can leave empty, and what follows from it.
_PLANNED = {
    "points": "no point is mapped, so that every check will be not tested (Points)",
    "people.technician.name": "nobody is named as technician (People)",
    "instruments": "no field instrument is listed, so that no sensor is compared (Field "
                   "instruments)",
    "abort": "nothing says when to stop the test (Stop the test when)",
    "prerequisites": "no prerequisite is listed (Prerequisites)",
    "frozen.limits": "the limits are not frozen (Limits)",
    "script": "there is no test script, so that the record is a trend analysis (Test script)",
}


def left_open(step: Step, answers: Mapping[str, Any]) -> list[str]:
    """What a step that was gone through still leaves empty, one sentence each."""
    if step.name != "plan":
        return []
    return [*(f"Still open: {words}." for place, words in _PLANNED.items()
              if not lookup(answers, place)),
            *unapproved(lookup(answers, "approvals", []), must_approve(answers)),
            *(f"{said}." for said in plan.changes(answers)),
            *(f"The approval by {who} {how}." for who, how in approvals.standing(answers)
              if how.startswith(approvals.NOT_COUNTED)), *since_frozen(answers)]


def since_frozen(answers: Mapping[str, Any]) -> list[str]:
    """Every limit that was changed after the limits were frozen, with both values."""
    frozen = lookup(answers, "frozen", {})
    if not frozen.get("limits"):
        return []
    try:
        now = job_answers.limits(answers)
    except JobError as error:
        return [str(error)]  # a limit that cannot be used was changed too, and its form is open
    if frozen["limits"] == now.digest():
        return []
    before, names = frozen.get("values", {}), now.in_force()
    found = [f"Limit {name} ({standard(name).short}) was changed after the limits were frozen: "
             f"{units.stated(before[name], standard(name).unit)} then, "
             f"{units.stated(value, standard(name).unit)} now."
             for name, value in names.items() if name in before and before[name] != value]
    return found or ["The limits were changed after they were frozen; which, the job does not "
                     "say."]


def closed(override: Mapping[str, Any]) -> bool:
    """Whether an override was released and its value verified."""
    return bool(override.get("released") and override.get("readback"))


def signing_blockers(job: Job) -> list[str]:
    """One sentence for everything that must be closed before the record can be signed."""
    answers, found = job.answers(), []
    for entry in standings(job):
        if entry.step.judged and entry.state in (NOT_STARTED, OUT_OF_DATE):
            found.append(f"Step {entry.step}: {entry.reason}.")
        elif entry.step.judged and entry.state == WAITING:
            found.append(f"Step {entry.step}: it stopped when it was run last; correct what it "
                         "says there and run it again.")
    found += [f"Override on {row.get('point', '?')}: not released and verified; go to the plant, "
              "release it, verify the value in AUTO, and enter both."
              for row in answers.get("overrides", []) if not closed(row)]
    found += [f"Prerequisite '{row.get('text', '?')}': not signed off."
              for row in answers.get("prerequisites", [])
              if not (row.get("done") and row.get("by"))]
    if not lookup(answers, "people.technician.name"):
        found.append("Technician: no name yet; a record needs to say who tested (Plan, People).")
    if not lookup(answers, "findings.summary"):
        found.append("Summary: not written yet; the owner reads it first (Findings, Summary).")
    return found
