"""The command line, thin: what each command asks for, the call that does the work, and what it
prints."""

from __future__ import annotations

import argparse
import gc
import json
import os
import sys
from argparse import Namespace
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any

from fptlib import __version__
from fptlib.cli import api
from fptlib.errors import FptError, JobError, RecordError
from fptlib.job.roles import APPROVERS, SIGNERS
from fptlib.workbook.kernels import PASSPHRASE

if TYPE_CHECKING:
    from fptlib.job.folder import Job
    from fptlib.record.recalculate import Wording

# The matrices here are a few columns wide: more threads of linear algebra gain nothing, and
# to start them costs a tenth of a second.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

def say(text: object, file: Any = None) -> None:
    """Print lines in which nothing from a file can steer the terminal or turn what stands there."""
    from fptlib.record.text import clean

    print(clean(text), file=file)


Options = dict[str, dict[str, Any]]
Command = Callable[[Namespace], int | None]
COMMANDS: dict[str, tuple[Command, str, Options]] = {}

_ASKED = f"its passphrase is asked for, or taken from the environment variable {PASSPHRASE}"
_JOB: Options = {"job": {"type": Path, "help": "the job folder"}}
_RECORD = "a job folder, a record or its PDF"
_SIGNING: Options = {
    **_JOB,
    "--key": {"type": Path, "required": True, "help": f"key file; {_ASKED}"},
    "--name": {"required": True, "help": "name of the person who signs"},
}
_SAMPLES = {
    "sound": "a sound plant (invented)",
    "before": "the same plant before correction (invented)",
}
AWAITED = 3  # the code of 'verify' where the engineer has not signed yet


def process() -> int:
    """The command line as a process of its own.

    Most commands live for seconds and hold thousands of modules' objects: to search them for
    unused rings as often as Python does, and once more at the end, is a tenth of such a run.
    What lives longer (open, run, screen) waits for other processes and makes few rings.
    """
    gc.set_threshold(100_000)
    # Processes that this one starts import nothing from the folder in which it was called.
    os.environ["PYTHONSAFEPATH"] = "1"
    try:
        return main()
    finally:
        gc.freeze()


def main(arguments: Sequence[str] | None = None, passphrase: str | None = None) -> int:
    """Run one command; 0 when it succeeded, 1 when it found or met something wrong.

    A passphrase in the environment is taken out of it before anything else is started.
    """
    held = os.environ.pop(PASSPHRASE, None)
    try:
        return _run(arguments, passphrase or held)
    finally:
        if held is not None:
            os.environ[PASSPHRASE] = held


def _run(arguments: Sequence[str] | None, passphrase: str | None) -> int:
    for stream in (sys.stdout, sys.stderr):
        # A Windows console may speak a code page that lacks the degree sign.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    stated = _parser().parse_args(arguments)
    stated.passphrase = passphrase
    try:
        code = int(stated.command(stated) or 0)
        sys.stdout.flush()
        return code
    except FptError as error:
        say(f"STOPPED: {error}", file=sys.stderr)
    except BrokenPipeError:
        # Whoever read along has read enough; Python's own last flush must not complain.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        where = f" '{error.filename}'" if error.filename else ""
        say(f"STOPPED: the file or folder{where} cannot be used ({error.strerror or error}); "
              "look whether it is read-only, full or held by another program, and try again",
              file=sys.stderr)
    except KeyboardInterrupt:
        say("interrupted; nothing saved is lost", file=sys.stderr)
    return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="fptlib", description="Functional test of a waterside-economizer changeover.")
    parser.add_argument("--version", action="version", version=f"fptlib {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for name, (function, about, options) in COMMANDS.items():
        entry = commands.add_parser(name, help=about, description=about)
        entry.set_defaults(command=function)
        for option, settings in options.items():
            entry.add_argument(option, **settings)
    return parser


def _job(stated: Namespace) -> Job:
    from fptlib.job.folder import Job

    return Job(stated.job)


def command(about: str, options: Options) -> Callable[[Command], Command]:
    """Make a function the command of its name; ``options`` are argparse's, by their names."""
    def added(function: Command) -> Command:
        COMMANDS[function.__name__.strip("_")] = function, about, options
        return function

    return added


@command("Start a job from the standard workbooks.", {
    "folder": {"type": Path, "help": "a new folder"},
    "--title": {"default": "", "help": "title of the job"},
    "--procedure": {"type": Path, "help": "a firm's procedure folder"},
    "--sample": {"choices": [*_SAMPLES], "help": "start with an invented plant"},
    "--retest": {"type": Path, "metavar": "RECORD",
                 "help": "repeat the test of this job folder, record or its PDF after correction"},
})
def start(stated: Namespace) -> None:
    from fptlib.job.start import pasted

    api.start(stated.folder, stated.title, stated.sample, stated.retest, stated.procedure)
    say(f"job folder {stated.folder} is ready; put the trend files into "
          f"{stated.folder / 'trends'}")
    say(f"open it:  fptlib open {pasted(stated.folder)}")


@command("Open a job's workbooks in the browser.", _JOB)
def open_(stated: Namespace) -> int:
    from fptlib import owner
    from fptlib.workbook.launch import look_at, open_job

    job = _job(stated)
    return open_job(job) if owner.is_own(job.folder) else look_at(job.folder)


@command("Review a job folder that somebody sent: a workspace of your own, the sender's data.", {
    "folder": {"type": Path, "help": "the received job folder; nothing is written into it"},
    "--into": {"type": Path, "help": "the workspace; 'NAME review' beside the received folder "
                                     "where left out"},
    "--procedure": {"type": Path, "help": "your firm's procedure folder, for its workbooks"},
})
def review(stated: Namespace) -> int:
    from fptlib.job.folder import Job
    from fptlib.procedure.steps import step
    from fptlib.workbook import reception
    from fptlib.workbook.launch import open_job
    from fptlib.workbook.standard import read

    folder = stated.folder.resolve()
    into = stated.into or folder.with_name(f"{folder.name} review")
    firm = read(stated.procedure) if stated.procedure else None
    say("\n".join(reception.look(folder).left_out()))
    job = reception.review(folder, into, firm)
    say("\n".join(api.verify(folder).lines()))
    say(f"review in {into}, with the installed workbooks; the sender's are not run")
    return open_job(Job(job.folder), step("review"))


@command("Make a received or moved job folder your own, to work in it.", _JOB)
def adopt(stated: Namespace) -> None:
    from fptlib.workbook.reception import adopt as adopted

    for name in adopted(stated.job):
        say(f"workbook {name} was not the installed one and was replaced by it")
    say(f"{stated.job} is your own now")


@command("Run all workbooks of a job without a browser.", _JOB)
def run(stated: Namespace) -> int:
    from tqdm import tqdm

    from fptlib import owner
    from fptlib.job.start import pasted

    job = _job(stated)
    if not owner.is_own(job.folder):
        raise JobError(f"'{job.folder.name}' was not started here, so its workbooks are not run; "
                       f"look at it with 'fptlib open {pasted(stated.job)}', review it with "
                       f"'fptlib review {pasted(stated.job)}', or make it your own with 'fptlib "
                       f"adopt {pasted(stated.job)}'")
    with tqdm(total=len(list(job.workbooks_folder.glob("*.ipynb"))), unit="workbook",
              desc=job.folder.name) as bar:
        results = api.run(job, lambda _: bar.update())
    for result in results:
        say(f"{result.file}: {result.stopped or result.verdict or 'ran'}")
    return 1 if any(result.stopped for result in results) else 0


@command("Print every column of the trend files with the point it is or may be.", {
    **_JOB,
    "--write": {"action": "store_true", "help": "put the accepted rows into the point map"},
    "--table": {"type": Path, "metavar": "FILE",
                "help": "write the rows as CSV, to be edited in a spreadsheet"},
    "--read": {"type": Path, "metavar": "FILE",
               "help": "read such a table back and put its accepted rows into the point map"},
    "--model": {"type": Path, "metavar": "FILE",
                "help": "a Brick model (.ttl) or Haystack grid (.json) that says what columns are"},
})
def map_(stated: Namespace) -> int:
    from fptlib.workbook import point_table

    job = _job(stated)
    if stated.model and not stated.model.is_file():
        raise JobError(f"there is no file '{stated.model}'; name the model's file")
    table = point_table.of(job, stated.model)
    if stated.table:
        point_table.write(table, stated.table)
    say("\n".join(point_table.lines(table)))
    if stated.read or stated.write:
        rows = point_table.read(table, stated.read) if stated.read else table.rows
        say(f"the point map holds {point_table.save(job, rows)} points")
    return 1 if table.unread else 0


@command("Write the points and trend request for the controls contractor.", {
    **_JOB,
    "--minutes": {"type": float, "default": 1.0, "help": "interval of the trends foreseen"},
})
def request(stated: Namespace) -> None:
    from fptlib.workbook import trend_request

    job = _job(stated)
    say("\n".join(map(str, trend_request.write(job))))
    say(trend_request.foretold(job, stated.minutes).text)


@command("Write the deficiencies as a table for the contractor, or read it back.", {
    **_JOB, "--read": {"type": Path, "metavar": "FILE", "help": "take over what was done"},
})
def deficiencies(stated: Namespace) -> None:
    from fptlib.workbook import deficiency_table

    job = _job(stated)
    if stated.read:
        say(f"{deficiency_table.read(job, stated.read)} deficiencies changed")
    else:
        say(deficiency_table.write(job))
    for line in deficiency_table.lines(deficiency_table.of(job)):
        say(line)


@command("Print every verdict of a job.", {
    "job": {"type": Path, "nargs": "?", "help": "the job folder"},
    "--all": {"action": "store_true", "help": "every event, remark and limit"},
    "--json": {"type": Path, "metavar": "FILE", "help": "write all of it as JSON"},
    "--json-schema": {"action": "store_true", "help": "print the JSON Schema of that file"},
})
def check(stated: Namespace) -> int:
    from fptlib.cli.report import json_schema
    from fptlib.job.folder import write_atomically

    if stated.json_schema:
        say(json.dumps(json_schema(), indent=2))
        return 0
    if stated.job is None:
        raise JobError("no job folder is named; write 'fptlib check JOB'")
    with _reading() as progress:
        report = api.check(_job(stated), progress)
    if stated.json:
        write_atomically(stated.json, report.json())
    say("\n".join(report.lines(stated.all)))
    return 1 if any(found.verdict == "fail" for found in report.checks) else 0


@contextmanager
def _reading() -> Iterator[Callable[[float, str], None]]:
    """A progress bar that appears, and is loaded, only where the reading takes more than two
    seconds."""
    begin, bar = monotonic(), None
    with ExitStack() as shown:
        def progress(share: float, text: str) -> None:
            nonlocal bar
            if bar is None and monotonic() - begin > 2.0:
                from tqdm import tqdm

                bar = shown.enter_context(tqdm(
                    total=100, leave=False, bar_format="{desc} {bar} {percentage:.0f}%"))
            if bar is not None:
                bar.set_description_str(text, refresh=False)
                bar.update(max(0.0, 100.0 * share - bar.n))

        yield progress


@command("Make a signing key.", {
    "file": {"type": Path, "help": f"a new key file; {_ASKED}"},
    "--public": {"action": "store_true", "help": "print the public half of a key that is there"},
})
def keygen(stated: Namespace) -> None:
    from fptlib.record.keys import load_key

    if stated.public:
        key = load_key(stated.file, _passphrase(stated))
    else:
        key = api.make_key(stated.file,
                           _passphrase(stated, "new passphrase for this key: ", again=True))
        say(f"key {key.thumbprint} is in {stated.file}; keep file and passphrase to yourself")
    say("its public half, for a list of trusted keys: "
          f"{json.dumps({**key.public(), 'proof': key.proof()})}")


def _passphrase(stated: Namespace, prompt: str = "passphrase of the key: ",
                again: bool = False) -> str:
    from getpass import getpass

    if stated.passphrase:
        return str(stated.passphrase)
    try:
        typed = getpass(prompt)
        if again and getpass("once more: ") != typed:
            raise RecordError("the two passphrases differ; try again")
    except EOFError as error:
        raise RecordError("no passphrase was typed; type it, or put it into the variable "
                          f"{PASSPHRASE}") from error
    return typed


@command("Calculate every check and sign a new record.", _SIGNING)
def sign(stated: Namespace) -> None:
    _say_signed(api.sign(_job(stated), stated.key, _passphrase(stated), stated.name))


def _say_signed(record: Path) -> None:
    from fptlib.workbook.sign_off import unwritten

    say(f"signed record: {record}")
    if words := unwritten(record):
        say(f"note: {words}")


@command("Add a signature to the latest record.", {
    **_SIGNING,
    "--role": {"default": "engineer", "choices": SIGNERS[1:], "help": "role"},
    "--return": {"dest": "returned", "metavar": "REASON",
                 "help": "sign that the record is returned for correction"},
})
def countersign(stated: Namespace) -> None:
    record = api.countersign(_job(stated), stated.key, _passphrase(stated), stated.name,
                             stated.role, stated.returned, _accepted)
    _say_signed(record)


def _accepted(wording: Wording) -> bool:
    """Ask whether a sentence that this version words otherwise may stand as the record has it."""
    say("\n".join(wording.lines()))
    try:
        return input("does the record say the same? type yes to accept it: ").strip() == "yes"
    except EOFError:
        return False


@command("Approve a job's plan by signature, or enter an approval that was sent.", {
    **_JOB,
    "--key": {"type": Path, "help": f"the approver's key file; {_ASKED}"},
    "--name": {"default": "", "help": "the approver's name"},
    "--role": {"default": "", "help": f"what the approver is: {', '.join(APPROVERS)}, or another"},
    "--file": {"type": Path, "help": "write the signed approval into this file, to send it back, "
                                     "and leave the job as it is"},
    "--read": {"type": Path, "metavar": "FILE", "help": "enter a signed approval that was sent"},
})
def approve(stated: Namespace) -> int:
    from fptlib.record.approvals import standing

    job = _job(stated)
    if stated.key:
        api.approve(job, stated.key, _passphrase(stated), stated.role, stated.name, stated.file)
    elif stated.read:
        api.enter_approval(job, stated.read)
    held = [f"{who}: {how}" for who, how in standing(job.answers())]
    say("\n".join(held or ["nobody approved the plan"]))
    return 0 if held else 1


@command("Say who signed what and when, and whether anything changed.", {
    "record": {"type": Path, "help": _RECORD},
    "--trusted": {"type": Path, "help": "the firm's list of trusted keys"},
})
def verify(stated: Namespace) -> int:
    found = api.verify(stated.record, stated.trusted)
    say("\n".join(found.lines()))
    return found.code


@command("Give a receipt of a record: by whom and when its signatures were seen.", {
    "record": {"type": Path, "help": f"{_RECORD}; the receipt is written beside it"},
    "--key": {"type": Path, "required": True, "help": f"the receiver's key file; {_ASKED}"},
    "--name": {"required": True, "help": "the receiver's name, as it stands on the list"},
})
def receipt(stated: Namespace) -> None:
    say(api.receipt(stated.record, stated.key, _passphrase(stated), stated.name))


@command("Put a key onto a firm's list of trusted keys, or revoke one.", {
    "list": {"type": Path, "help": "the list; it is made where there is none"},
    "key": {"help": "file with the key's public half, or a signing key; to revoke one, its "
                    "thumbprint will do (behind -- where it begins with a dash)"},
    "--name": {"default": "", "help": "holder's name, as it stands in the signatures"},
    "--role": {"default": "", "help": f"holder's role: {', '.join(SIGNERS)}; a "
                                      f"receiver gives receipts, {', '.join(APPROVERS)} or "
                                      "another approve plans"},
    "--distinct": {"action": "store_true",
                   "help": "forbid from now on that one name signs a record in two roles"},
    "--revoke": {"choices": ["retired", "compromised"],
                 "help": "retired: earlier signatures count; compromised: none does"},
    "--seal": {"metavar": "UNTIL", "help": "sign the list with KEY, the firm's own, as its next "
                                           "version, good until that day (2027-01-31)"},
    "--pin": {"action": "store_true", "help": "go by lists of the firm's key alone from now on; "
                                              "KEY is its thumbprint"},
})
def trust(stated: Namespace) -> None:
    from fptlib.record import firm_list
    from fptlib.record import trusted_keys as keys

    asked = partial(_passphrase, stated)
    if stated.seal or stated.pin:
        listed = firm_list.pin(stated.list, stated.key) if stated.pin else firm_list.seal(
            stated.list, Path(stated.key), asked(), stated.seal)
        say(f"{stated.list}: version {listed.version}, {len(listed.keys)} keys, signed by the "
            f"firm's key {listed.signer}, good until {listed.expires}")
        return
    if stated.revoke:
        entry = keys.revoke(stated.list, stated.key, stated.revoke, asked)
    else:
        entry = keys.add(stated.list, stated.key, stated.name, stated.role, asked,
                         stated.distinct)
    state = f"revoked as {entry.revoked_reason}" if entry.revoked else "trusted"
    say(f"{entry.role} {entry.name}, key {entry.kid}: {state} in {stated.list}")
    if keys.TrustedKeys.read(stated.list).version:
        say("the firm's signature is off the list now; sign it again with --seal")


@command("Recalculate a record and compare.", {
    "record": {"type": Path, "help": _RECORD},
    "--trends": {"type": Path, "help": "the folder of the trend files that the record names, "
                                       "where its job folder is not at hand"},
})
def recalculate(stated: Namespace) -> int:
    found = api.recalculate(stated.record, stated.trends)
    say("\n".join(line for difference in found for line in difference.lines()))
    return 1 if any(not difference.same for difference in found) else 0


@command("Set a retest beside the test it repeats, and say what it closes.", {
    "before": {"type": Path, "help": f"the earlier test: {_RECORD}"},
    "after": {"type": Path, "help": f"the retest: {_RECORD}; the page is written beside it"},
})
def compare(stated: Namespace) -> int:
    found = api.compare(stated.before, stated.after)
    say("\n".join(found.lines()))
    return 0 if found.good else 1


@command("Write the latest record as HTML, PDF and tables.", _JOB)
def export(stated: Namespace) -> None:
    from fptlib.workbook.sign_off import export_latest

    say("\n".join(str(path) for path in export_latest(_job(stated))))


@command("Write the operator's sheet, two pages made from plan and test.", _JOB)
def sheet(stated: Namespace) -> None:
    from fptlib.workbook import operators_sheet

    say("\n".join(map(str, operators_sheet.write(_job(stated)))))


@command("Write the settings sheet: as specified, as found, recommended, and why.", _JOB)
def settings(stated: Namespace) -> None:
    from fptlib.workbook import settings_page

    paths, made = settings_page.write(_job(stated))
    say("\n".join(map(str, paths)))
    say(f"path from chillers to exchanger: {made.verdict}. {made.reason}")
    for line in made.helps:
        say(f"what would help: {line}")
    for each in made.lines:
        say(f"{each.name}: {each.recommended}")


@command("Begin your firm's own procedure: letterhead, limits, texts, workbooks.", {
    "what": {"choices": ["new"], "help": "begin one"},
    "folder": {"type": Path, "help": "a new folder"},
})
def procedure(stated: Namespace) -> None:
    from fptlib.job.start import pasted
    from fptlib.workbook.standard import PROCEDURE_FILE, begin

    begin(stated.folder)
    say(f"fill in {stated.folder / PROCEDURE_FILE}, then start a job with it:  fptlib start JOB "
        f"--procedure {pasted(stated.folder)}")


@command("Write the whole procedure as a page to read and approve.", {
    "file": {"type": Path, "nargs": "?", "default": Path("procedure.html"),
             "help": "the page; its PDF stands beside it"},
    "--job": {"type": Path, "help": "with the limits of this job"},
})
def document(stated: Namespace) -> None:
    from fptlib.workbook import document

    job = _job(stated) if stated.job else None
    say("\n".join(map(str, document.write(stated.file, job))))


@command("Screen a folder of jobs and rank them.", {
    "folder": {"type": Path, "help": "folder that holds job folders"},
    "--workers": {"type": int, "help": "how many plants at a time"},
    "--scheduler": {"help": "address of a Dask scheduler"},
})
def screen(stated: Namespace) -> int:
    from tqdm import tqdm

    from fptlib.portfolio import engine, page

    folder = stated.folder.resolve()
    with tqdm(engine.screen(folder, stated.workers, stated.scheduler),
              total=len(engine.plants(folder)), unit="plant", desc=folder.name) as bar:
        done = list(bar)
    written = page.write(folder / engine.RESULTS, folder.name, done)
    for plant in page.ranked(done):
        say(f"{plant.plant}: {plant.outcome}")
    say("\n".join(map(str, written)))
    return 1 if any(plant.error for plant in done) else 0


@command("Do the whole job on the invented sample plant.", {
    "folder": {"type": Path, "nargs": "?", "default": Path("demo"), "help": "a new folder"},
})
def demo(stated: Namespace) -> int:
    from fptlib.job.start import pasted

    folder, count = stated.folder, 1
    while folder.exists():
        count += 1
        folder = stated.folder.with_name(f"{stated.folder.name}-{count}")
    folder.mkdir(parents=True)
    # The demonstration's key protects nothing, so its passphrase is no secret.
    secret, key = "demonstration only", str(folder / "demonstration-key")
    failed = main(["keygen", key], secret)
    for sample, about in _SAMPLES.items():
        job = str(folder / sample)
        say(f"\n== {about}")
        failed |= main(["start", job, "--sample", sample]) | main(["run", job])
        main(["check", job])
        failed |= main(["sign", job, "--key", key, "--name", "demonstration"], secret)
        failed |= main(["verify", job]) not in (0, AWAITED)
    say(f"\nopen the workbooks in the browser:  fptlib open {pasted(folder / 'sound')}")
    return failed
