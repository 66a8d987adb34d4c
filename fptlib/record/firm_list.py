"""The firm's own signature on its list of trusted keys, and which list this computer goes by.

The firm's key signs the list with a version, which only rises, and a moment of expiry (a detached
compact JWS, RFC 7515 appendix F, in the list's member ``signature``). Pinned to that key once, a
computer takes no list of another key, none without a signature, none older than the newest it has
seen, and none that has expired.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from fptlib import owner
from fptlib.errors import RecordError
from fptlib.job.folder import now, write_atomically
from fptlib.record import canonical
from fptlib.record.keys import load_key
from fptlib.record.trusted_keys import TrustedKeys, locked


def seal(file: Path, key: Path, passphrase: str, expires: str) -> TrustedKeys:
    """Sign the list as its next version, good until the moment ``expires``.

    Raises:
        RecordError: list or key cannot be read, or the moment is none or has passed.
    """
    until = canonical.read_moment(expires, "--seal")
    if until <= now():
        raise RecordError(f"the list would have expired on {expires}; give a day to come")
    firm = load_key(key, passphrase)
    with locked(file):
        draft = TrustedKeys.read(file)
        if draft.signer and draft.signer != firm.thumbprint:
            raise RecordError(f"'{file.name}' is signed by another key, {draft.signer}; the firm "
                              "that changes its key hands on the new thumbprint, and each computer "
                              "is pinned to it; take 'signature' out of the list first")
        sealed = replace(draft, version=draft.version + 1, expires=until).signed(firm)
        sealed.write(file)
    return sealed


def pin(file: Path, thumbprint: str) -> TrustedKeys:
    """Go by lists of the firm's key of that thumbprint alone, from this one on.

    Raises:
        RecordError: the list is not signed by it, has expired, or cannot be noted.
    """
    found = TrustedKeys.read(file)
    if found.signer != thumbprint:
        by = f"by key {found.signer}" if found.signer else "by nobody"
        raise RecordError(f"'{file.name}' is signed {by}, not by {thumbprint}; get the thumbprint "
                          "from the firm by another way than the list")
    _check_expiry(found, file.name, now())
    _keep(found)
    return found


def read_for_use(file: Path) -> TrustedKeys:
    """The list, if this computer may go by it.

    Raises:
        RecordError: it cannot be read, has expired, or is not the pinned firm's newest.
    """
    found, name = TrustedKeys.read(file), file.name
    held = _held()
    _check_expiry(found, name, now())
    if held is None:
        return found
    signer, version, digest = held
    if found.signer != signer:
        raise RecordError(f"list '{name}' is not signed by the firm's key {signer}, which this "
                          "computer is pinned to; get the firm's signed list")
    if found.version < version:
        raise RecordError(f"list '{name}' is version {found.version}, and version {version} was "
                          "seen here: a key may have been revoked since; get the newest list")
    if found.version == version and found.digest != digest:
        raise RecordError(f"list '{name}' is not the version {version} that was seen here; two "
                          "lists of one version were signed; ask the firm which is good")
    if found.version > version:
        _keep(found)
    return found


def _check_expiry(found: TrustedKeys, name: str, moment: datetime) -> None:
    if found.signer and found.expires and moment >= found.expires:
        raise RecordError(f"list '{name}' expired on {found.expires.isoformat()}; get the firm's "
                          "newest list")


def _note() -> Path:
    return owner.state_folder() / "firm.json"


def _held() -> tuple[str, int, str] | None:
    """The pinned firm's key, and version and digest of the newest list seen; nothing unpinned.

    Raises:
        RecordError: the note is there and cannot be read.
    """
    try:
        held = json.loads(_note().read_bytes())
        return str(held["signer"]), int(held["version"]), str(held["digest"])
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise RecordError(f"the note on the firm's list, '{_note()}', cannot be read; pin the list "
                          "again with 'fptlib trust LIST THUMBPRINT --pin'") from error


def _keep(found: TrustedKeys) -> None:
    note = {"signer": found.signer, "version": found.version, "digest": found.digest}
    try:
        _note().parent.mkdir(parents=True, exist_ok=True)
        write_atomically(_note(), canonical.encode(note))
    except OSError as error:
        raise RecordError(f"it cannot be noted in '{_note()}' which list was seen: "
                          f"{error.strerror or error}; allow writing there") from error
