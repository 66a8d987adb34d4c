"""Keys: making and opening a person's signing key.

A signing key is an Ed25519 JWK (RFC 8037), kept encrypted with a passphrase as RFC 7517
section 7 describes. The encrypted form of PKCS#8 that the cryptography library writes
stretches the passphrase by 2,048 rounds only, too few for a laptop that may be stolen.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from joserfc import jwe, jws
from joserfc.errors import JoseError, SecurityWarning
from joserfc.jwk import OctKey, OKPKey
from joserfc.jwk import thumbprint as _rfc7638

from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE
from fptlib.record import canonical
from fptlib.record.files import write_new

SHORTEST_PASSPHRASE, FEWEST_LETTERS = 10, 5
# What is long enough and stands at the head of every guesser's list (common knowledge, no source).
_GUESSED = {"passphrase", "password12", "password123", "password1234", "1234567890",
            "qwertyuiop", "qwerty12345", "administrator", "technician", "letmein123"}
_KEY_WRAP, _CONTENT = "PBES2-HS512+A256KW", "A256GCM"
_ALGORITHMS = [_KEY_WRAP, _CONTENT]
_ROUNDS = 250_000
_LARGEST_KEY_FILE = 10_000
_PROOF, _PROOFS = "fptlib-key-holder", jws.JWSRegistry(algorithms=["Ed25519"])
# RFC 7638 section 3.2 and RFC 8037 section 2: the members that name such a key, and no others.
_NAMING_MEMBERS = ("crv", "kty", "x")


# Points of small order (RFC 8032, section 5.1, with the order 8 L of the curve): a signature can
# be made for them that fits any text, without any secret. Their y; the sign of x does not count.
_FIELD = 2**255 - 19
_ORDER_8 = 0x05FC536D880238B13933C6D305ACDFD5F098EFF289F4C345B027B2C28F95E826
SMALL_ORDER = {0, 1, _FIELD - 1, _ORDER_8, _FIELD - _ORDER_8}


@dataclass(frozen=True)
class Key:
    """A person's signing key; it never prints its secret."""

    secret: OKPKey = field(repr=False)

    @property
    def thumbprint(self) -> str:
        """The key's name (RFC 7638)."""
        return thumbprint(self.public())

    def public(self) -> dict[str, str]:
        """The public half as a JWK: the three members that name it."""
        jwk = self.secret.as_dict(private=False)
        return {name: str(jwk[name]) for name in _NAMING_MEMBERS}

    def signature(self, data: bytes) -> bytes:
        """The key's signature of these bytes (RFC 8032)."""
        private = self.secret.private_key
        assert isinstance(private, Ed25519PrivateKey)
        return private.sign(data)

    def proof(self) -> str:
        """What only the holder of the key can make: its public half, signed (RFC 7515)."""
        header = {"alg": "Ed25519", "typ": _PROOF}
        return jws.serialize_compact(header, canonical.encode(self.public()), self.secret,
                                     registry=_PROOFS)


def thumbprint(jwk: Mapping[str, Any]) -> str:
    """RFC 7638 thumbprint, SHA-256, base64url, of the JWK of an Ed25519 key.

    Raises:
        RecordError: the JWK lacks a member that names it.
    """
    if jwk.get("kty") != "OKP" or any(
            not isinstance(jwk.get(name), str) for name in _NAMING_MEMBERS):
        raise RecordError("this key lacks the members that name it (RFC 7638)")
    return _rfc7638({name: jwk[name] for name in _NAMING_MEMBERS})


def check_public(jwk: Mapping[str, Any], what: str) -> None:
    """Refuse a public key that is none, or that fits any text.

    Raises:
        RecordError: it is not 32 bytes, not written in its one form, or of small order.
    """
    data = canonical.from_base64(jwk["x"], what)
    if len(data) != 32:
        raise RecordError(f"{what} is not 32 bytes long; it is no Ed25519 key")
    y = int.from_bytes(data, "little") & (2**255 - 1)
    if y >= _FIELD or y in SMALL_ORDER:
        raise RecordError(f"{what} is a key that fits any text, which no sound program makes; "
                          "take it out")


def check_proof(jwk: Mapping[str, Any], public: Mapping[str, str], what: str) -> None:
    """Refuse a public half whose sender does not show that the secret half is at hand.

    Raises:
        RecordError: it has no proof, or one of another key.
    """
    try:
        found = jws.deserialize_compact(str(jwk.get("proof", "")), OKPKey.import_key(dict(public)),
                                        registry=_PROOFS)
        proven = found.headers().get("typ") == _PROOF and found.payload == canonical.encode(public)
    except (JoseError, ValueError):
        proven = False
    if not proven:
        raise RecordError(f"{what} does not show that its sender holds the key; ask for what "
                          "'fptlib keygen KEYFILE --public' prints, all of it")


def make_key(path: Path | str, passphrase: str) -> Key:
    """Make a signing key and save it, encrypted, in a new file.

    Raises:
        RecordError: the file lies in a job folder or exists, or the passphrase is short.
    """
    path = Path(path)
    _check_place(path)
    check_passphrase(passphrase)
    key = Key(OKPKey.generate_key("Ed25519"))
    header = {"alg": _KEY_WRAP, "enc": _CONTENT, "p2c": _ROUNDS, "cty": "jwk+json",
              "kid": key.thumbprint}
    secret = canonical.encode(key.secret.as_dict(private=True))
    locked = jwe.encrypt_compact(header, secret, _wrapping(passphrase), algorithms=_ALGORITHMS)
    try:
        write_new(path, locked.encode() + b"\n", 0o600)
    except FileExistsError:
        raise RecordError(f"'{path.name}' exists; a key is never overwritten") from None
    except OSError as error:
        raise RecordError(f"key file '{path.name}' cannot be saved: {error.strerror}") from error
    return key


def check_passphrase(passphrase: str) -> None:
    """Refuse a passphrase that is soon guessed by whoever finds the key file.

    Raises:
        RecordError: it is short, or has few different letters, as one key held down.
    """
    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise RecordError(f"the passphrase has {len(passphrase)} characters; give at least "
                          f"{SHORTEST_PASSPHRASE}, such as four words that do not belong together")
    steps = {ord(after) - ord(before) for before, after in pairwise(passphrase)}
    if len(set(passphrase.lower())) < FEWEST_LETTERS or len(steps) == 1 \
            or passphrase.lower() in _GUESSED:
        raise RecordError("the passphrase is one of the first that anybody tries; give four words "
                          "that do not belong together")


def load_key(path: Path | str, passphrase: str) -> Key:
    """Open a signing key.

    Raises:
        RecordError: the file is absent, no key of ours, or the passphrase does not open it.
    """
    path = Path(path)
    _check_place(path)
    if path.exists() and not path.is_file():
        raise RecordError(f"key file '{path.name}' cannot be read: it is no file")
    try:
        with path.open("rb") as stream:
            locked = stream.read(_LARGEST_KEY_FILE).strip()
    except OSError as error:
        raise RecordError(f"key file '{path.name}' cannot be read: {error.strerror}") from error
    try:
        with warnings.catch_warnings():
            # A file of few rounds opens or does not; its holder has it from elsewhere.
            warnings.simplefilter("ignore", SecurityWarning)
            opened = jwe.decrypt_compact(locked, _wrapping(passphrase), algorithms=_ALGORITHMS)
        secret = OKPKey.import_key(canonical.parse(opened.plaintext or b"", "the key"))
        if not isinstance(secret.private_key, Ed25519PrivateKey):
            raise ValueError("a key of another curve")
        return Key(secret)
    except (JoseError, ValueError, TypeError, OverflowError, RecordError):
        # Which of the two it was would only help somebody who guesses.
        raise RecordError(f"key file '{path.name}' does not open: the passphrase is wrong or the "
                          "file is not a signing key") from None


def _wrapping(passphrase: str) -> OctKey:
    with warnings.catch_warnings():
        # The library warns of one that is shorter than a random key; the rounds are for that.
        warnings.simplefilter("ignore", SecurityWarning)
        return OctKey.import_key(passphrase.encode())


def _check_place(path: Path) -> None:
    for folder in path.resolve().parents:
        if (folder / JOB_FILE).exists():
            raise RecordError(
                f"key file '{path.name}' lies in the job folder '{folder.name}'; a job folder "
                "is handed on, so keep keys outside of it"
            )
