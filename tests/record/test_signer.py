"""A signing key in a process of its own: what its ticket gives, and what it does not."""

from __future__ import annotations

import time
from multiprocessing import AuthenticationError
from multiprocessing.connection import Client
from pathlib import Path

import pytest

from fptlib.errors import RecordError
from fptlib.record import keys, signer

SECRET = "four words of a signer"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    keys.make_key(tmp_path / "key", SECRET)
    return tmp_path / "key"


def test_a_ticket_signs_as_the_key_itself(file: Path) -> None:
    key = keys.load_key(file, SECRET)
    with signer.opened(Path("not needed"), signer.start(file, SECRET)) as remote:
        assert remote.thumbprint == key.thumbprint and remote.public() == key.public()
        assert remote.signature(b"some bytes") == key.signature(b"some bytes")


def test_a_ticket_opens_once(file: Path) -> None:
    ticket = signer.start(file, SECRET)
    with signer.opened(file, ticket):
        pass
    time.sleep(0.5)
    with pytest.raises(RecordError, match="has ended"), signer.opened(file, ticket):
        pass


def test_without_the_word_of_the_ticket_nothing_is_signed(file: Path) -> None:
    ticket = signer.start(file, SECRET)
    with pytest.raises(AuthenticationError):
        Client(("127.0.0.1", int(ticket.split(":")[1])), authkey=b"guessed")


def test_a_new_key_is_made_and_never_again(tmp_path: Path) -> None:
    with signer.opened(tmp_path / "new", SECRET, make=True) as remote:
        assert keys.load_key(tmp_path / "new", SECRET).thumbprint == remote.thumbprint
    with pytest.raises(RecordError, match="never overwritten"):
        signer.start(tmp_path / "new", SECRET, make=True)


@pytest.mark.parametrize("passphrase", ["wrong", ""])
def test_a_key_that_does_not_open_has_no_ticket(file: Path, passphrase: str) -> None:
    with pytest.raises(RecordError, match="does not open") as error:
        signer.start(file, passphrase)
    refused = signer.refusal(error.value)
    with pytest.raises(RecordError, match="does not open"), signer.opened(file, refused):
        pass


def test_what_breaks_while_a_key_is_open_is_not_taken_for_the_key(file: Path) -> None:
    with pytest.raises(FileNotFoundError), signer.opened(file, SECRET):
        raise FileNotFoundError("a trend file")
