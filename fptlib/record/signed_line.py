"""A signed line: what one key states, as one line of text that can be sent and kept anywhere.

It is a compact JWS (RFC 7515, Ed25519) over canonical JSON; its header names what kind of line it
is and holds the key's public half. Approvals, receipts and a firm's list of keys are such lines.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from joserfc import jws
from joserfc.errors import JoseError
from joserfc.jwk import OKPKey

from fptlib.errors import RecordError
from fptlib.record import canonical
from fptlib.record.keys import check_public
from fptlib.record.signer import Holder
from fptlib.record.signing import ALGORITHM

_REGISTRY = jws.JWSRegistry(algorithms=[ALGORITHM])


def sign(kind: str, stated: Mapping[str, Any], key: Holder) -> str:
    """The line in which a key states something (RFC 7515, section 5.1).

    Raises:
        RecordError: the key's process has ended.
    """
    header = {"alg": ALGORITHM, "typ": kind, "jwk": key.public()}
    signed = ".".join(canonical.to_base64(canonical.encode(part)) for part in (header, stated))
    return f"{signed}.{canonical.to_base64(key.signature(signed.encode('ascii')))}"


def read(line: str, kind: str) -> tuple[dict[str, str], Any]:
    """The key's public half and what it states, read strictly: one way to write it counts.

    Raises:
        RecordError: it is no such line, or was changed.
    """
    try:
        header, stated, _ = (canonical.from_base64(part, "a part") for part in line.split("."))
        said = canonical.parse(header, "its header")
        check_public(said["jwk"], "its key")
        jws.deserialize_compact(line, OKPKey.import_key(said["jwk"]), registry=_REGISTRY)
        if set(said) != {"alg", "typ", "jwk"} or said["typ"] != kind:
            raise RecordError("it is another kind of line")
        return said["jwk"], canonical.decode(stated, "what it states")
    except (JoseError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise RecordError(f"it does not match its key ({type(error).__name__})") from error
