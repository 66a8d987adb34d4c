"""Keeping a firm's list of trusted keys: a key comes onto it, a key is withdrawn.

A key is named by a file, which holds its public half as a JWK or is the signing key itself;
one that is on the list already also by its thumbprint, for a stolen key has no file at hand.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from fptlib.errors import RecordError
from fptlib.job.folder import now
from fptlib.record import canonical
from fptlib.record.keys import load_key, thumbprint
from fptlib.record.trusted import TrustedKey, TrustedKeys, public_members

Passphrase = Callable[[], str]


def add(file: Path, key: str, name: str, role: str, passphrase: Passphrase) -> TrustedKey:
    """Put a key onto the list, which is made where there is none; returns its entry.

    Raises:
        RecordError: list or key cannot be read, or the key is on the list or lacks its holder.
    """
    known = TrustedKeys.read(file) if file.exists() else TrustedKeys()
    public = _public(Path(key), passphrase)
    changed = known.add(public, name, role)
    changed.write(file)
    return changed.known(thumbprint(public))


def revoke(file: Path, key: str, reason: str, passphrase: Passphrase) -> TrustedKey:
    """Withdraw a key of the list from now on; returns its entry.

    Raises:
        RecordError: list or key cannot be read, or the key is not on the list.
    """
    path = Path(key)
    kid = thumbprint(_public(path, passphrase)) if path.is_file() else key
    changed = TrustedKeys.read(file).revoke(kid, now(), reason)
    changed.write(file)
    return changed.known(kid)


def _public(path: Path, passphrase: Passphrase) -> dict[str, str]:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise RecordError(f"key '{path.name}' cannot be read: {error.strerror or error}; name a "
                          "signing key or a file with its public half") from error
    if data.lstrip().startswith(b"{"):
        return public_members(canonical.parse(data, f"public key '{path.name}'"), path.name)
    return load_key(path, passphrase()).public()
