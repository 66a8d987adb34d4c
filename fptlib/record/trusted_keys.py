"""A firm's list of trusted keys: an RFC 7517 JWK Set with name, role and revocation.

It holds public halves only. Beside the members that RFC 7517 and RFC 8037 define, each key
has ``name`` and ``role``, and where it was withdrawn ``revoked`` (a moment, ISO 8601) and
``revoked_reason``. The moment a signature states is its signer's own word: a stolen key can
state any. So a ``retired`` key keeps its earlier signatures and a ``compromised`` one none; any
other reason counts as ``compromised``, and a member that is not known here is refused, for it may
have been meant to withdraw a key. ``distinct_signers`` beside ``keys`` forbids that one name
signs a record twice; ``version``, ``expires`` and ``signature`` are the firm's (``firm_list``), and
a change of the list takes the signature off.

``add`` and ``revoke`` keep the list's file. A key is named by a file, which holds its public
half as a JWK or is the signing key itself; one that is on the list already also by its
thumbprint, for a stolen key has no file at hand.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from fptlib.errors import RecordError
from fptlib.job.folder import now, write_atomically
from fptlib.record import canonical, signed_line
from fptlib.record.canonical import read_moment
from fptlib.record.keys import Key, check_proof, check_public, load_key, thumbprint

RETIRED, COMPROMISED = "retired", "compromised"
_DISTINCT = "distinct_signers"
_TYPE = "fptlib-trusted-keys"
# Those of RFC 7517, sections 4 and 5, that say nothing of whom the key is trusted for, and ours.
_MEMBERS = {"crv", "kty", "x", "kid", "use", "alg", "key_ops", "name", "role", "revoked",
            "revoked_reason"}
_LOCK_SECONDS = 20.0
Passphrase = Callable[[], str]


@dataclass(frozen=True, slots=True)
class TrustedKey:
    """One public key with the person who holds it."""

    jwk: dict[str, str]
    name: str
    role: str
    revoked: datetime | None = None
    revoked_reason: str = ""

    @property
    def kid(self) -> str:
        """The key's thumbprint (RFC 7638)."""
        return thumbprint(self.jwk)

    def refusal(self, signed_at: datetime) -> str:
        """Why a signature of that moment is not accepted, or nothing."""
        if self.revoked is None:
            return ""
        if self.revoked_reason == COMPROMISED:
            return f"the key was revoked on {self.revoked.isoformat()} as compromised"
        if signed_at >= self.revoked:
            return f"the key was retired on {self.revoked.isoformat()}, before this signature"
        return ""

    def members(self) -> dict[str, str]:
        """The key as a member of the JWK Set."""
        jwk = {**self.jwk, "kid": self.kid, "use": "sig", "name": self.name, "role": self.role}
        if self.revoked is not None:
            jwk |= {"revoked": self.revoked.isoformat(), "revoked_reason": self.revoked_reason}
        return jwk


@dataclass(frozen=True, slots=True)
class TrustedKeys:
    """The list; every change makes a new one, ``write`` saves it."""

    keys: tuple[TrustedKey, ...] = ()
    distinct: bool = False
    version: int = 0
    expires: datetime | None = None
    signature: str = ""
    signer: str = ""

    @classmethod
    def read(cls, path: Path | str) -> TrustedKeys:
        """Read the list.

        Raises:
            RecordError: the file is absent, is no JWK Set, or a key lacks what it must have.
        """
        path = Path(path)
        what = f"list of trusted keys '{path.name}'"
        try:
            data = path.read_bytes()
        except OSError as error:
            raise RecordError(f"{what} cannot be read: {error.strerror}") from error
        found = canonical.parse(data, what)
        if not isinstance(found, dict) or not isinstance(found.get("keys"), list):
            raise RecordError(f"'{path.name}' is not a JWK Set: it has no list 'keys'")
        _known(found, {"keys", _DISTINCT, "version", "expires", "signature"}, path.name)
        version, expires = found.get("version", 0), found.get("expires")
        if type(version) is not int or version < 0:
            raise RecordError(f"'{path.name}': 'version' should be a whole number")
        return cls(_distinct([_trusted(jwk, path.name) for jwk in found["keys"]], path.name),
                   found.get(_DISTINCT, False) is not False, version,
                   None if expires is None else read_moment(str(expires), "'expires'"),
                   *_firm(found, path.name))

    def write(self, path: Path) -> None:
        """Save the list in one move.

        Raises:
            RecordError: the file cannot be written.
        """
        data = canonical.encode(
            self._members() | ({"signature": self.signature} if self.signature else {}))
        try:
            write_atomically(path, data + b"\n")
        except OSError as error:
            raise RecordError(
                f"list of trusted keys '{path.name}' cannot be saved: {error.strerror}"
            ) from error

    def _members(self) -> dict[str, Any]:
        """What the firm signs: everything but its signature."""
        found: dict[str, Any] = {"keys": [key.members() for key in self.keys]}
        if self.distinct:
            found[_DISTINCT] = True
        if self.version:
            found["version"] = self.version
        if self.expires is not None:
            found["expires"] = self.expires.isoformat()
        return found

    @property
    def digest(self) -> str:
        """SHA-256 of what the firm signs."""
        return canonical.digest(canonical.encode(self._members()))

    def signed(self, firm: Key) -> TrustedKeys:
        """The list with the firm's signature."""
        protected, _, signature = signed_line.sign(_TYPE, self._members(), firm).split(".")
        return replace(self, signature=f"{protected}..{signature}", signer=firm.thumbprint)

    def find(self, kid: str) -> TrustedKey | None:
        """The key of that thumbprint, revoked or not."""
        return next((key for key in self.keys if key.kid == kid), None)

    def known(self, kid: str) -> TrustedKey:
        """The key of that thumbprint.

        Raises:
            RecordError: it is not in the list.
        """
        found = self.find(kid)
        if found is None:
            raise RecordError(f"key {kid} is not in the list of trusted keys; name one that is")
        return found

    def add(self, public: dict[str, str], name: str, role: str) -> TrustedKeys:
        """The list with one more key, given by the members of its public half.

        Raises:
            RecordError: the key is in the list, or its holder's name or role is empty.
        """
        if not name.strip() or not role:
            raise RecordError("a trusted key needs its holder's name and role, as they stand in "
                              "the signatures; give both")
        added = TrustedKey(public, name.strip(), role)
        return replace(self, keys=_distinct([*self.keys, added], "the list"), signature="",
                       signer="")

    def revoke(self, kid: str, moment: datetime, reason: str = RETIRED) -> TrustedKeys:
        """The list with one key withdrawn; a withdrawn key never becomes good again.

        Raises:
            RecordError: the key is not in the list, or the reason is not one of the two.
        """
        old = self.known(kid)
        if reason not in (RETIRED, COMPROMISED):
            raise RecordError(f"reason '{reason}': give {RETIRED} or {COMPROMISED}")
        if moment.tzinfo is None:
            raise RecordError("the moment of a revocation needs a time zone")
        if old.revoked is not None:
            moment = min(moment, old.revoked)
            reason = COMPROMISED if COMPROMISED in (reason, old.revoked_reason) else reason
        new = replace(old, revoked=moment, revoked_reason=reason)
        return replace(self, keys=tuple(new if key is old else key for key in self.keys),
                       signature="", signer="")


def add(file: Path, key: str, name: str, role: str, passphrase: Passphrase,
        distinct: bool = False) -> TrustedKey:
    """Put a key onto the list, which is made where there is none; returns its entry.

    ``distinct`` forbids from then on that one name signs a record twice.

    Raises:
        RecordError: list or key cannot be read, its sender does not show that it is at hand, or
            the key is on the list or lacks its holder.
    """
    public = _public(Path(key), passphrase, proven=True)
    with locked(file):
        known = TrustedKeys.read(file) if file.exists() else TrustedKeys()
        changed = known.add(public, name, role)
        replace(changed, distinct=known.distinct or distinct).write(file)
    return changed.known(thumbprint(public))


def revoke(file: Path, key: str, reason: str, passphrase: Passphrase) -> TrustedKey:
    """Withdraw a key of the list from now on; returns its entry.

    Raises:
        RecordError: list or key cannot be read, or the key is not on the list.
    """
    path = Path(key)
    kid = thumbprint(_public(path, passphrase)) if path.is_file() else key
    with locked(file):
        changed = TrustedKeys.read(file).revoke(kid, now(), reason)
        changed.write(file)
    return changed.known(kid)


@contextmanager
def locked(file: Path) -> Iterator[None]:
    """The list's lock: it is read, changed and written by one program after the other.

    Raises:
        RecordError: another program holds it for too long, or the folder cannot be written.
    """
    # Imported here: who verifies only needs no lock.
    from filelock import FileLock

    try:
        with FileLock(file.with_name(f".{file.name}.lock"), timeout=_LOCK_SECONDS):
            yield
    except TimeoutError as error:
        raise RecordError(f"another program holds the list '{file.name}'; close it and try again"
                          ) from error
    except OSError as error:
        raise RecordError(f"list of trusted keys '{file.name}' cannot be saved: "
                          f"{error.strerror or error}") from error


def _firm(found: Mapping[str, Any], file: str) -> tuple[str, str]:
    """The firm's signature of a list and its key's thumbprint; nothing where it has none.

    Raises:
        RecordError: the signature does not match the list.
    """
    if "signature" not in found:
        return "", ""
    signature = str(found["signature"])
    members = canonical.encode({name: found[name] for name in found if name != "signature"})
    protected, _, rest = signature.partition("..")
    try:
        jwk, _ = signed_line.read(f"{protected}.{canonical.to_base64(members)}.{rest}", _TYPE)
        return signature, thumbprint(jwk)
    except RecordError as error:
        raise RecordError(f"'{file}' was changed after the firm signed it; get the firm's list "
                          "again") from error


def _public(path: Path, passphrase: Passphrase, proven: bool = False) -> dict[str, str]:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise RecordError(f"key '{path.name}' cannot be read: {error.strerror or error}; name a "
                          "signing key or a file with its public half") from error
    if data.lstrip().startswith(b"{"):
        jwk = canonical.parse(data, f"public key '{path.name}'")
        public = _public_members(jwk, path.name)
        if proven:
            check_proof(jwk, public, f"public key '{path.name}'")
        return public
    return load_key(path, passphrase()).public()


def _public_members(jwk: Any, file: str) -> dict[str, str]:
    """The members of a public key's JWK that name it; ``file`` is where it was read."""
    if not isinstance(jwk, dict) or jwk.get("kty") != "OKP" or jwk.get("crv") != "Ed25519":
        raise RecordError(f"'{file}' holds a key that is not an Ed25519 public key")
    if "d" in jwk:
        raise RecordError(f"'{file}' holds a private key; take it out, it must stay secret")
    public = {name: str(jwk.get(name, "")) for name in ("crv", "kty", "x")}
    check_public(public, f"a key in '{file}'")
    if jwk.get("kid", thumbprint(public)) != thumbprint(public):
        raise RecordError(f"'{file}': key {jwk['kid']} is not named by its thumbprint")
    return public


def _trusted(jwk: Any, file: str) -> TrustedKey:
    public = _public_members(jwk, file)
    _known(jwk, _MEMBERS, file)
    name, role = str(jwk.get("name", "")), str(jwk.get("role", ""))
    if not name.strip() or not role.strip():
        raise RecordError(f"'{file}': key {thumbprint(public)} lacks its holder's name or role")
    if not {"revoked", "revoked_reason"} & set(jwk):
        return TrustedKey(public, name, role)
    moment = read_moment(str(jwk.get("revoked")), f"'{file}': 'revoked'")
    # A revocation without a reason, or with one that is not known, is taken as the graver one.
    reason = RETIRED if jwk.get("revoked_reason") == RETIRED else COMPROMISED
    return TrustedKey(public, name, role, moment, reason)


def _known(found: Mapping[str, Any], members: set[str], file: str) -> None:
    """Refuse what this version does not know: it may have been meant to withdraw a key."""
    if unknown := sorted(set(found) - members):
        raise RecordError(f"'{file}' holds '{unknown[0][:40]}', which is no member of a list of "
                          f"trusted keys ({', '.join(sorted(members))}); correct it")


def _distinct(keys: Sequence[TrustedKey], what: str) -> tuple[TrustedKey, ...]:
    if len({key.kid for key in keys}) != len(keys):
        raise RecordError(f"{what} holds a key twice")
    return tuple(keys)
