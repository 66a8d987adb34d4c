"""The command line, thin: every command is one call into a room that does the work."""

from __future__ import annotations

import argparse
import gc
import json
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from fptlib import __version__

PASSPHRASE = "FPTLIB_PASSPHRASE"

# The matrices here are a few columns wide: more threads of linear algebra gain nothing, and
# to start them costs a tenth of a second.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def process() -> int:
    """The command line as a process of its own.

    Most commands live for seconds and hold thousands of modules' objects: to search them for
    unused rings as often as Python does, and once more at the end, is a tenth of such a run.
    What lives longer (open, run, screen) waits for other processes and makes few rings.
    """
    gc.set_threshold(100_000)
    try:
        return main()
    finally:
        gc.freeze()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 when it succeeded, 1 when it found or met something wrong."""
    from fptlib.errors import FptError

    _print_every_letter()
    stated = _parser().parse_args(arguments)
    try:
        code = int(stated.command(stated) or 0)
        sys.stdout.flush()
        return code
    except FptError as error:
        print(f"STOPPED: {error}", file=sys.stderr)
        return 1
    except BrokenPipeError:
        # Whoever read along has read enough; Python's own last flush must not complain.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except OSError as error:
        where = f" '{error.filename}'" if error.filename else ""
        print(f"STOPPED: the file or folder{where} cannot be used ({error.strerror or error}); "
              "look whether it is read-only, full or held by another program, and try again",
              file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("interrupted; nothing saved is lost", file=sys.stderr)
        return 1


def _print_every_letter() -> None:
    # A Windows console may speak a code page that lacks the degree sign.
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="fptlib", description="Functional test of a waterside-economizer changeover.")
    parser.add_argument("--version", action="version", version=f"fptlib {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for name, (function, about, options) in _COMMANDS.items():
        command = commands.add_parser(name, help=about, description=about)
        command.set_defaults(command=function)
        for option, settings in options.items():
            command.add_argument(option, **settings)
    return parser


def _start(stated: argparse.Namespace) -> None:
    from fptlib.job.start import pasted
    from fptlib.workbook.standard import Procedure, adopt, read

    # Read first: a firm's folder with a fault must not leave a half-made job behind.
    procedure = read(stated.procedure) if stated.procedure else Procedure()
    job = _started(stated)
    adopt(job, procedure)
    print(f"job folder {stated.folder} is ready; put the trend files into "
          f"{stated.folder / 'trends'}")
    print(f"open it:  fptlib open {pasted(stated.folder)}")


def _started(stated: argparse.Namespace):  # type: ignore[no-untyped-def]
    from fptlib.errors import JobError
    from fptlib.job.start import start, start_sample

    if stated.sample and stated.retest:
        raise JobError("--sample and --retest cannot go together: a retest has the plant of its "
                       "record; leave one of them out")
    if stated.sample:
        return start_sample(stated.folder, stated.sample)
    if stated.retest:
        from fptlib.record.named import named
        from fptlib.record.retest_job import start_retest

        return start_retest(stated.folder, named(stated.retest).record, stated.title or "")
    return start(stated.folder, stated.title or stated.folder.name)


def _open(stated: argparse.Namespace) -> int:
    from fptlib.job.folder import Job
    from fptlib.workbook.launch import open_job

    return open_job(Job(stated.job))


def _run(stated: argparse.Namespace) -> int:
    from fptlib.job.folder import Job

    return _run_workbooks(Job(stated.job))


def _run_workbooks(job) -> int:  # type: ignore[no-untyped-def]
    from tqdm import tqdm

    from fptlib.workbook.run import run_all

    with tqdm(total=len(list(job.workbooks_folder.glob("*.ipynb"))), unit="workbook",
              desc=job.folder.name) as bar:
        results = run_all(job, lambda *_: bar.update())
    for result in results:
        print(f"{result.file}: {result.stopped or result.verdict or 'ran'}")
    return 1 if any(result.stopped for result in results) else 0


def _check(stated: argparse.Namespace) -> int:
    from fptlib.job.folder import Job
    from fptlib.procedure.assemble import assemble
    from fptlib.procedure.steps import all_checks

    return _print_checks(all_checks(assemble(Job(stated.job))), stated.all)


def _print_checks(checks, every_word: bool) -> int:  # type: ignore[no-untyped-def]
    from fptlib.table import lines

    print("\n".join(lines(checks, every_word)))
    return 1 if any(check.verdict == "fail" for check in checks) else 0


def _keygen(stated: argparse.Namespace) -> None:
    from fptlib.record.keys import make_key

    key = make_key(stated.file, _passphrase("new passphrase for this key: ", again=True))
    print(f"key {key.thumbprint} is in {stated.file}; keep file and passphrase to yourself")
    print(f"its public half, for a list of trusted keys: {json.dumps(key.public())}")


def _trust(stated: argparse.Namespace) -> None:
    from fptlib.record import trust

    if stated.revoke:
        entry = trust.revoke(stated.list, stated.key, stated.revoke, _passphrase)
    else:
        entry = trust.add(stated.list, stated.key, stated.name, stated.role, _passphrase)
    state = f"revoked as {entry.revoked_reason}" if entry.revoked else "trusted"
    print(f"{entry.role} {entry.name}, key {entry.kid}: {state} in {stated.list}")


def _passphrase(prompt: str = "passphrase of the key: ", again: bool = False) -> str:
    from getpass import getpass

    from fptlib.errors import RecordError

    given = os.environ.get(PASSPHRASE)
    if given:
        return given
    try:
        typed = getpass(prompt)
        if again and getpass("once more: ") != typed:
            raise RecordError("the two passphrases differ; try again")
    except EOFError as error:
        raise RecordError("no passphrase was typed; type it, or put it into the variable "
                          f"{PASSPHRASE}") from error
    return typed


def _sign(stated: argparse.Namespace) -> None:
    from fptlib.job.folder import Job
    from fptlib.workbook import closing

    passphrase = _passphrase()
    print(f"signed record: {closing.sign(Job(stated.job), stated.key, passphrase, stated.name)}")


def _countersign(stated: argparse.Namespace) -> None:
    from fptlib.job.folder import Job
    from fptlib.record import signing
    from fptlib.workbook import closing

    # An empty reason, as of a variable that is not set, is refused and never an acceptance.
    decision = signing.ACCEPT if stated.returned is None else signing.SEND_BACK
    path = closing.countersign(
        Job(stated.job), stated.key, _passphrase(), stated.name,
        decision, stated.returned or "", stated.role)
    print(f"signed record: {path}")


def _verify(stated: argparse.Namespace) -> int:
    from fptlib.record.named import named
    from fptlib.record.trusted import TrustedKeys
    from fptlib.record.verify import verify

    of = named(stated.record)
    trusted = TrustedKeys.read(stated.trusted) if stated.trusted else None
    found = verify(of.record, trusted, of.job)
    print("\n".join(found.lines()))
    return 0 if found.good else 1


def _recalculate(stated: argparse.Namespace) -> int:
    from fptlib.record.named import named
    from fptlib.workbook.closing import computed_anew

    found = computed_anew(named(stated.record), stated.trends)
    print("\n".join(difference.line() for difference in found))
    return 1 if any(not difference.same for difference in found) else 0


def _compare(stated: argparse.Namespace) -> int:
    from fptlib.record.named import named
    from fptlib.workbook.comparing import compare

    found = compare(named(stated.before), named(stated.after))
    print("\n".join(found.lines()))
    return 0 if found.good else 1


def _export(stated: argparse.Namespace) -> None:
    from fptlib.job.folder import Job
    from fptlib.workbook.closing import print_latest

    print("\n".join(str(path) for path in print_latest(Job(stated.job))))


def _demo(stated: argparse.Namespace) -> int:
    from fptlib.demo import demonstrate

    return demonstrate(stated.folder, _run_workbooks)


def _screen(stated: argparse.Namespace) -> int:
    from fptlib.portfolio.command import screen

    return screen(stated.folder, stated.workers, stated.scheduler)


_JOB: dict[str, Any] = {"type": Path, "help": "the job folder"}
_RECORD = "a job folder, a record or its PDF"
_ASKED = f"its passphrase is asked for, or taken from the environment variable {PASSPHRASE}"
_SIGNING: dict[str, dict[str, Any]] = {
    "--key": {"type": Path, "required": True, "help": f"key file; {_ASKED}"},
    "--name": {"required": True, "help": "name of the person who signs"},
}
_FURTHER = ["engineer", "witness", "contractor", "controls"]
_COMMANDS: dict[str, tuple[Callable[..., Any], str, dict[str, dict[str, Any]]]] = {
    "start": (_start, "Start a job from the standard workbooks.", {
        "folder": {"type": Path, "help": "a new folder"},
        "--title": {"help": "title of the job"},
        "--procedure": {"type": Path, "help": "a firm's procedure folder"},
        "--sample": {"choices": ["sound", "before"], "help": "start with an invented plant"},
        "--retest": {"type": Path, "metavar": "RECORD",
                     "help": "repeat the test of this job folder, record or its PDF after "
                             "correction"},
    }),
    "open": (_open, "Open a job's workbooks in the browser.", {"job": _JOB}),
    "run": (_run, "Run all workbooks of a job without a browser.", {"job": _JOB}),
    "check": (_check, "Print every verdict of a job.", {
        "job": _JOB,
        "--all": {"action": "store_true", "help": "every event and sentence"},
    }),
    "keygen": (_keygen, "Make a signing key.", {
        "file": {"type": Path, "help": f"a new key file; {_ASKED}"},
    }),
    "sign": (_sign, "Compute every check and sign a new record.", {
        "job": _JOB, **_SIGNING,
    }),
    "countersign": (_countersign, "Add a signature to the latest record.", {
        "job": _JOB, **_SIGNING,
        "--role": {"default": "engineer", "choices": _FURTHER, "help": "role"},
        "--return": {"dest": "returned", "metavar": "REASON",
                     "help": "sign that the record is returned for correction"},
    }),
    "verify": (_verify, "Say who signed what and when, and whether anything changed.", {
        "record": {"type": Path, "help": _RECORD},
        "--trusted": {"type": Path, "help": "the firm's list of trusted keys"},
    }),
    "trust": (_trust, "Put a key onto a firm's list of trusted keys, or revoke one.", {
        "list": {"type": Path, "help": "the list; it is made where there is none"},
        "key": {"help": "file with the key's public half, or a signing key; to revoke one, its "
                        "thumbprint will do (behind -- where it begins with a dash)"},
        "--name": {"default": "", "help": "holder's name, as it stands in the signatures"},
        "--role": {"default": "", "choices": ["technician", *_FURTHER], "help": "holder's role"},
        "--revoke": {"choices": ["retired", "compromised"],
                     "help": "retired: earlier signatures count; compromised: none does"},
    }),
    "recalculate": (_recalculate, "Recalculate a record and compare.", {
        "record": {"type": Path, "help": _RECORD},
        "--trends": {"type": Path, "help": "the folder of the trend files that the record names, "
                                           "where its job folder is not at hand"},
    }),
    "compare": (_compare, "Set a retest beside the test it repeats, and say what it closes.", {
        "before": {"type": Path, "help": f"the earlier test: {_RECORD}"},
        "after": {"type": Path, "help": f"the retest: {_RECORD}; the page is written beside it"},
    }),
    "export": (_export, "Write the latest record as HTML, PDF and tables.", {"job": _JOB}),
    "screen": (_screen, "Screen a folder of jobs and rank them.", {
        "folder": {"type": Path, "help": "folder that holds job folders"},
        "--workers": {"type": int, "help": "how many plants at a time"},
        "--scheduler": {"help": "address of a Dask scheduler"},
    }),
    "demo": (_demo, "Do the whole job on the invented sample plant.", {
        "folder": {"type": Path, "nargs": "?", "default": Path("demo"), "help": "a new folder"},
    }),
}

if __name__ == "__main__":
    sys.exit(process())
