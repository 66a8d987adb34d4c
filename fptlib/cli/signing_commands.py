"""Commands of keys, signatures and signed records."""

from __future__ import annotations

import json
from argparse import Namespace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fptlib.cli import api
from fptlib.cli.registry import JOB, Options, command, job_of, say
from fptlib.errors import RecordError
from fptlib.job.roles import APPROVERS, SIGNERS
from fptlib.workbook.kernels import PASSPHRASE

if TYPE_CHECKING:
    from fptlib.record.recalculate import Wording

_ASKED = f"its passphrase is asked for, or taken from the environment variable {PASSPHRASE}"
_RECORD = "a job folder, a record or its PDF"
_SIGNING: Options = {
    **JOB,
    "--key": {"type": Path, "required": True, "help": f"key file; {_ASKED}"},
    "--name": {"required": True, "help": "name of the person who signs"},
}


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
    _say_signed(api.sign(job_of(stated), stated.key, _passphrase(stated), stated.name))


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
    record = api.countersign(job_of(stated), stated.key, _passphrase(stated), stated.name,
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
    **JOB,
    "--key": {"type": Path, "help": f"the approver's key file; {_ASKED}"},
    "--name": {"default": "", "help": "the approver's name"},
    "--role": {"default": "", "help": f"what the approver is: {', '.join(APPROVERS)}, or another"},
    "--file": {"type": Path, "help": "write the signed approval into this file, to send it back, "
                                     "and leave the job as it is"},
    "--read": {"type": Path, "metavar": "FILE", "help": "enter a signed approval that was sent"},
})
def approve(stated: Namespace) -> int:
    from fptlib.record.approvals import standing

    job = job_of(stated)
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


@command("Write the latest record as HTML, PDF and tables.", JOB)
def export(stated: Namespace) -> None:
    from fptlib.workbook.sign_off import export_latest

    say("\n".join(str(path) for path in export_latest(job_of(stated))))
