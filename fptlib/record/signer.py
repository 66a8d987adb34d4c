"""A signing key in a process of its own.

Whoever has the passphrase starts the process and gets a ticket: a port of this computer and a
word that opens it once. Whoever has the ticket gets the public half and signatures of what it
sends, and never key or passphrase. So a notebook's kernel signs by the ticket alone: the page
hands the passphrase to the notebook server (``workbook.unlock``), which starts the process.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing import AuthenticationError
from multiprocessing.connection import Client, Connection, Listener
from pathlib import Path
from typing import Protocol

from fptlib.errors import RecordError
from fptlib.record import canonical, keys

_TICKET = re.compile(r"ticket:(\d{1,5}):([0-9a-f]{64})")
_REFUSED = "refused:"
# The process ends after this, used or not: as long as a plant-year takes to calculate, and more.
_SECONDS = 900.0


class Holder(Protocol):
    """A key, or what signs with one: the public half, its name, and signatures."""

    @property
    def thumbprint(self) -> str: ...  # noqa: D102

    def public(self) -> dict[str, str]: ...  # noqa: D102

    def signature(self, data: bytes) -> bytes: ...  # noqa: D102


def start(file: Path, passphrase: str, make: bool = False) -> str:
    """Open a key, or make a new one, in a process of its own; its ticket.

    Raises:
        RecordError: the key cannot be opened or made.
    """
    asked = json.dumps({"file": str(file), "passphrase": passphrase, "make": make})
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "fptlib.record.signer"], stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, encoding="utf-8",
        env={**os.environ, "PYTHONUTF8": "1"})
    assert process.stdin and process.stdout
    with process.stdin, process.stdout:
        process.stdin.write(asked + "\n")
        process.stdin.close()
        said = process.stdout.readline().strip()
    if _TICKET.fullmatch(said):
        # Waited for by nobody else: the process ends when its one user has gone.
        threading.Thread(target=process.wait, daemon=True).start()
        return said
    process.wait()
    raise RecordError(said.removeprefix(_REFUSED) or "the process that holds the key did not start")


@contextmanager
def opened(file: Path, secret: str, make: bool = False) -> Iterator[Holder]:
    """A key by its ticket; where ``secret`` is none, by its file and that passphrase.

    Raises:
        RecordError: the key does not open, or the ticket was used or is too old.
    """
    if secret.startswith(_REFUSED):
        raise RecordError(secret.removeprefix(_REFUSED))
    found = _TICKET.fullmatch(secret) or _TICKET.fullmatch(start(file, secret, make))
    assert found
    with _while_it_lives():
        line = Client(("127.0.0.1", int(found[1])), authkey=bytes.fromhex(found[2]))
    with line:
        yield _Remote(line)


@contextmanager
def _while_it_lives() -> Iterator[None]:
    try:
        yield
    except (OSError, EOFError, AuthenticationError) as error:
        raise RecordError("the process that held the key has ended; type the passphrase again"
                          ) from error


def refusal(error: RecordError) -> str:
    """What stands for a ticket where there is none: why."""
    return _REFUSED + str(error)


class _Remote:
    """What holds the other end of the line."""

    def __init__(self, line: Connection) -> None:
        self._line = line
        with _while_it_lives():
            self._public: dict[str, str] = json.loads(line.recv_bytes(10_000))

    @property
    def thumbprint(self) -> str:
        """The key's name (RFC 7638)."""
        return keys.thumbprint(self._public)

    def public(self) -> dict[str, str]:
        """The public half as a JWK."""
        return dict(self._public)

    def signature(self, data: bytes) -> bytes:
        """Its signature of these bytes (RFC 8032)."""
        with _while_it_lives():
            self._line.send_bytes(data)
            return self._line.recv_bytes(64)


def _serve() -> None:
    asked = json.loads(sys.stdin.readline())
    opens = keys.make_key if asked["make"] else keys.load_key
    try:
        key = opens(Path(asked["file"]), asked.pop("passphrase"))
    except RecordError as error:
        print(_REFUSED + " ".join(str(error).split()), flush=True)
        return
    end = threading.Timer(_SECONDS, os._exit, [1])
    end.daemon = True
    end.start()
    word = secrets.token_bytes(32)
    with Listener(("127.0.0.1", 0), authkey=word) as door:
        print(f"ticket:{door.address[1]}:{word.hex()}", flush=True)
        try:
            with door.accept() as line:
                line.send_bytes(canonical.encode(key.public()))
                while True:
                    line.send_bytes(key.signature(line.recv_bytes()))
        except (EOFError, OSError, AuthenticationError):
            pass  # its one user has gone, or was none


if __name__ == "__main__":
    _serve()
