"""The command line, thin: its process, what it does with an error, and the commands for pages, a
firm and a portfolio; those of a job and of signatures stand beside it."""

from __future__ import annotations

import argparse
import gc
import os
import sys
from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path

from fptlib import __version__

# The commands that these modules register stand before those of this one.
from fptlib.cli import job_commands, signing_commands  # noqa: F401
from fptlib.cli.job_commands import SAMPLES
from fptlib.cli.registry import COMMANDS, JOB, command, job_of, say
from fptlib.errors import FptError
from fptlib.workbook.kernels import PASSPHRASE

# The matrices here are a few columns wide: more threads of linear algebra gain nothing, and
# to start them costs a tenth of a second.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

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


@command("Write the operator's sheet, two pages made from plan and test.", JOB)
def sheet(stated: Namespace) -> None:
    from fptlib.workbook import operators_sheet

    say("\n".join(map(str, operators_sheet.write(job_of(stated)))))


@command("Write the settings sheet: as specified, as found, recommended, and why.", JOB)
def settings(stated: Namespace) -> None:
    from fptlib.workbook import settings_page

    paths, made = settings_page.write(job_of(stated))
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

    job = job_of(stated) if stated.job else None
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
    for sample, about in SAMPLES.items():
        job = str(folder / sample)
        say(f"\n== {about}")
        failed |= main(["start", job, "--sample", sample]) | main(["run", job])
        main(["check", job])
        failed |= main(["sign", job, "--key", key, "--name", "demonstration"], secret)
        failed |= main(["verify", job]) not in (0, AWAITED)
    say(f"\nopen the workbooks in the browser:  fptlib open {pasted(folder / 'sound')}")
    return failed
