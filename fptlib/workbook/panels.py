"""Panels with a button that does one thing: freeze limits, take in a file, sign, review."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from fptlib.errors import FormError
from fptlib.job import answers, roles
from fptlib.job.folder import Job, lookup, now
from fptlib.procedure import script
from fptlib.procedure.steps import JUDGED, step
from fptlib.procedure.verdict import Check
from fptlib.record import recalculate, signer, signing, store, verify
from fptlib.record.recalculate import Wording
from fptlib.record.text import moment
from fptlib.workbook import parts, review, run, sign_off, state, static, verdicts
from fptlib.workbook.forms import Message, Presses, Saved, guarded
from fptlib.workbook.upload import LARGEST, MB, take_in


class Panel:
    """A titled box with a message at its end."""

    def __init__(self, title: str, content: Sequence[widgets.Widget]) -> None:
        self.message, self._presses = Message(), Presses()
        self.widget = parts.column([parts.title(title), *content, self.message.widget],
                                   "fpt-form")

    def does(self, made: widgets.Button, work: Callable[[], str],
             saved: Saved = lambda: None) -> Panel:
        """Let a button do some work and say what came of it."""
        def worked() -> None:
            made.disabled = True
            # What an earlier press was told must not stand while this one is at work.
            self.message.working()
            try:
                self.message.saved(work())
            finally:
                made.disabled = False
            saved()

        made.on_click(
            lambda _: self._presses.take(made, lambda: guarded(self.message, worked)))
        return self


def freeze(job: Job, saved: Saved = lambda: None) -> Panel:
    """Freeze the limits in force, so that a later change shows."""
    by = parts.text("Frozen by", value=str(job.get("people.technician.name", "")))
    press = parts.button("Freeze the limits", "fpt-freeze", "primary")

    def frozen() -> str:
        if not by.value.strip():
            raise FormError("Frozen by: no answer; say who freezes the limits")
        if job.get("frozen.limits"):
            raise FormError("the limits are frozen already; a later change shows in the record")
        held = answers.limits(job.answers())
        job.put("frozen", {"limits": held.digest(), "values": held.in_force(),
                           "at": now().isoformat(), "by": by.value.strip()})
        return "the limits are frozen"

    panel = Panel("Freeze the limits before any trend is read", [by, press])
    if at := job.get("frozen.at"):
        panel.message.saved(f"frozen {moment(at)} by {job.get('frozen.by')}",
                            " ".join(state.since_frozen(job.answers())))
    return panel.does(press, frozen, saved)


def make_script(job: Job, saved: Saved = lambda: None) -> Panel:
    """Make the test script from plan and sequence; steps that were performed stay."""
    press = parts.button("Make the test script from the plan", "fpt-script", "primary")

    def made() -> str:
        held = job.answers()
        if any(row.get("outcome") for row in held.get("script", [])):
            raise FormError("steps of the script were performed already; add to it or correct it "
                            "below")
        rows = script.script(answers.plant(held), answers.sequence(held), answers.limits(held),
                             answers.aborts(held), str(lookup(held, "test.safe_state", "")),
                             str(lookup(held, "test.initial_conditions", "")))
        job.put("script", rows)
        return f"{len(rows)} steps made; look at each, and correct it below"

    return Panel("Make the test script", [press]).does(press, made, saved)


def upload(job: Job, saved: Saved = lambda: None) -> Panel:
    """Take in a trend file; the file itself is never changed and never overwritten."""
    chooser = parts.files("Choose trend files", "fpt-upload", multiple=True)
    words = parts.html(
        f"<p>Drop them on this field, or choose them; up to {LARGEST / MB:.0f} MB each. Larger "
        "ones: <a href='/lab/tree/trends' target='_blank'>open the folder <b>trends</b></a> and "
        "drop them on its list, then press “Run this step”. A Brick model (.ttl) or Haystack grid "
        "(.json) of the site goes here too: it says which column is which point.</p>")
    panel = Panel("Trend files", [chooser, words])

    def taken(files: Sequence[dict[str, Any]]) -> None:
        # Emptied, so that the kernel holds no file and the same one can be chosen again.
        chooser.value = ()
        names = [take_in(job, item["name"], bytes(item["content"])) for item in files]
        more = f" and {len(names) - 3} more" if len(names) > 4 else ""
        panel.message.saved("taken in: " + ", ".join(names[:3] if more else names) + more)
        saved()

    def chosen(change: dict[str, Any]) -> None:
        if change["new"]:
            guarded(panel.message, lambda: taken(change["new"]))

    chooser.observe(chosen, names="value")
    return panel


class _Signing:
    """Name, key file and passphrase.

    The page hands the passphrase to the notebook server and puts a ticket into the field in its
    place (``unlock``), so that the kernel never has it; its field is emptied when it was used.
    """

    def __init__(self, job: Job, role: str) -> None:
        self.name = parts.text("Name", "fpt-sign-name",
                               value=str(job.get(f"people.{role}.name", "")))
        self.key = parts.text("Key file", "fpt-sign-key", value=str(Path.home() / f"{role}.key"))
        self.secret = parts.secret("Passphrase", "fpt-sign-secret")
        self.parts = [self.name, self.key, self.secret]

    def make_key(self) -> str:
        """Make a new key in that file."""
        with signer.opened(self.file, self.passphrase(), make=True) as key:
            return f"key made: {self.file.name}, thumbprint {key.thumbprint}"

    @property
    def file(self) -> Path:
        return Path(self.key.value.strip()).expanduser()

    def passphrase(self) -> str:
        """The ticket, or where no page of ours is at hand the passphrase; its field is emptied.

        Raises:
            FormError: it is empty.
        """
        typed, self.secret.value = self.secret.value, ""
        if not typed:
            raise FormError("Passphrase: no answer; it opens your key file")
        return str(typed)


def sign(job: Job, saved: Saved = lambda: None) -> Panel:
    """Sign the record as the technician."""
    fields = _Signing(job, "technician")
    press = parts.button("Sign the record", "fpt-sign", "primary")
    make = parts.button("Make a new key", "fpt-make-key", "")

    def signed() -> str:
        path = sign_off.sign(job, fields.file, fields.passphrase(), fields.name.value)
        if words := sign_off.unwritten(path):
            return f"signed: record/{path.name}; {words}"
        written.value = _files(path)
        return f"signed: record/{path.name}; run this step to see it checked below"

    written = parts.html()
    panel = Panel("Signature", [*fields.parts, parts.line([press, make]), written])
    return panel.does(make, fields.make_key).does(press, signed, saved)


def approve(job: Job, saved: Saved = lambda: None) -> Panel:
    """Approve the plan as it stands with a signature, or enter one that was sent."""
    role = parts.suggested("Role", "fpt-approve-role", options=roles.approvers(job.answers()))
    fields = _Signing(job, "approver")
    press = parts.button("Approve and sign the plan", "fpt-approve", "primary")
    make = parts.button("Make a new key", "fpt-make-key", "")
    received = parts.area("Signed approval that was sent", "fpt-approval-sent", rows=2)
    take = parts.button("Enter it", "fpt-approval-enter")

    def signed() -> str:
        return entered(sign_off.approve(job, fields.file, fields.passphrase(), role.value,
                                        fields.name.value))

    def entered(text: str) -> str:
        found = sign_off.enter_approval(job, text)
        received.value = ""
        return f"approved by {found.role} {found.name}, {found.line()}"

    def taken() -> str:
        if not received.value.strip():
            raise FormError("Signed approval that was sent: no answer; paste the line that the "
                            "approver sent")
        return entered(received.value)

    panel = Panel("Approve the plan by signature",
                  [role, *fields.parts, parts.line([press, make]), received, take])
    return panel.does(make, fields.make_key).does(press, signed, saved).does(take, taken, saved)


def countersign(job: Job, saved: Saved = lambda: None) -> Panel:
    """Accept the latest record or return it for correction, as the engineer."""
    fields = _Signing(job, "engineer")
    decision = parts.choice("Decision", "fpt-decision", options=[
        ("- choose -", ""), (signing.ACCEPT, signing.ACCEPT),
        ("return for correction", signing.SEND_BACK)])
    reason = parts.area("Reason, if returned", rows=3)
    press = parts.button("Countersign", "fpt-countersign", "primary")
    ticks = _Wordings()

    def signed() -> str:
        if not decision.value:
            raise FormError("Decision: no answer; choose accept or return for correction")
        try:
            path = sign_off.countersign(job, fields.file, fields.passphrase(), fields.name.value,
                                        decision.value, reason.value.strip(),
                                        sign_off.ENGINEER, ticks.accepts)
        finally:
            ticks.show()
        done = "returned for correction" if decision.value == signing.SEND_BACK \
            else "countersigned"
        if words := sign_off.unwritten(path):
            return f"{done}: record/{path.name}; {words}"
        written.value = _files(path)
        return f"{done}: record/{path.name}; run this step to see it checked above"

    written = parts.html()
    panel = Panel("Decision and countersignature",
                  [decision, reason, ticks.widget, *fields.parts, press, written])
    return panel.does(press, signed, saved)


def _files(record: Path) -> str:
    """Links to a record and what is written beside it."""
    kinds = {".html": "page", ".pdf": "PDF", ".xlsx": "tables", ".json": "the record itself"}
    links = (f"<a href='/files/record/{record.stem}{end}' target='_blank'>{record.stem}{end}</a> "
             f"({words})" for end, words in kinds.items())
    return f"<p>{', '.join(links)}</p>"


class _Wordings:
    """Sentences that this version words otherwise: both texts, and a box to tick for each."""

    def __init__(self) -> None:
        self.widget = parts.column([])
        self._boxes: dict[Wording, widgets.Checkbox] = {}

    def accepts(self, wording: Wording) -> bool:
        """Whether its box was ticked; a sentence that had none gets one."""
        if wording not in self._boxes:
            self._boxes[wording] = parts.tick("The record says the same", parts.WIDE)
        return bool(self._boxes[wording].value)

    def show(self) -> None:
        """Show every sentence that was asked about."""
        heads = ("In the record", "Calculated now")
        self.widget.children = [child for wording, box in self._boxes.items() for child in (
            parts.html(static.table(wording.where, heads, [[wording.then, wording.now]]).markup),
            box)]


def check_filter(checks: Sequence[Check]) -> Panel:
    """Every check in one table, with a filter."""
    which = parts.choice("Show", "fpt-filter", options=[review.ALL, review.NEAR, review.OPEN])
    shown = parts.html()

    def show(_: Any = None) -> None:
        kept = review.chosen(checks, str(which.value))
        shown.value = verdicts.table(kept, f"{len(kept)} of {len(checks)} checks").markup

    which.observe(show, names="value")
    show()
    return Panel("Checks", [which, shown])


def run_every(job: Job, saved: Saved = lambda: None) -> Panel:
    """Run every step with verdicts, show how far it is and what came of each."""
    press = parts.button("Run every step", "fpt-run-every", "primary")
    shown, done = parts.html(), list[str]()

    def told(title: str) -> None:
        done.append(title)
        shown.value = (f"<p role='status'>{len(done)} of {len(JUDGED)} steps have run, the last: "
                       f"{html.escape(title)} …</p>")

    def ran() -> str:
        done.clear()
        shown.value = f"<p role='status'>0 of {len(JUDGED)} steps have run …</p>"
        results = run.run_all(job, told, JUDGED)
        rows = [[f"<a href='{result.file}'>{html.escape(str(step(result.step)))}</a>",
                 static.verdict_markup(result.verdict or "waiting"), html.escape(result.stopped)]
                for result in results]
        shown.value = static.table_markup("What came of each", ("Step", "Verdict", "Stopped by"),
                                          rows)
        return f"{len(results)} steps have run; a page that is open shows it after a reload"

    return Panel("Every step at once", [press, shown]).does(press, ran, saved)


def printout(title: str, what: str, write: Callable[[], Sequence[Path]]) -> Panel:
    """A button that writes pages beside ``job.toml``, and links to them."""
    press, shown = parts.button(f"Write {what}", "fpt-printout", ""), parts.html()

    def written() -> str:
        made = [html.escape(path.name) for path in write()]
        shown.value = " · ".join(
            f"<a href='/files/{name}' target='_blank'>{name}</a>" for name in made)
        return f"{what} is written"

    return Panel(title, [press, shown]).does(press, written)


def reexecute(job: Job) -> Panel:
    """Run every workbook again on a copy, and say which outputs differ."""
    press = parts.button("Run all workbooks again and compare", "fpt-reexecute", "")

    def compared() -> str:
        compared = sign_off.compared(job)
        found = [*review.hand_edits(job), *(each.line() for each in compared if not each.same)]
        if found:
            raise FormError(" ".join(found))
        worded = len(recalculate.wordings(compared))
        but = f"; {worded} sentences are worded otherwise" if worded else ""
        return f"every output comes out the same, and the record with it{but}"

    return Panel("Outputs edited after the run", [press]).does(press, compared)


def record_state(job: Job) -> static.Shown:
    """What the latest record says of itself, checked now."""
    path = store.latest(job)
    if path is None:
        return static.note("No record has been signed yet.", "waiting")
    found = verify.verify(path.read_bytes(), None, job)
    zone = str(job.get("site.time_zone", ""))
    lines = [*(signer.line(zone) for signer in found.signers), *found.refused, *found.changes]
    return static.notes(lines, "done" if found.good else "waiting")


def blockers(job: Job) -> static.Shown:
    """What must be closed before the record can be signed."""
    found = state.signing_blockers(job)
    if not found:
        return static.note("Nothing is open: the record can be signed.", "done")
    return static.notes(found, "waiting")
