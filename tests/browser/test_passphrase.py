"""The passphrase typed in the browser: it goes to the notebook server and never to the kernel."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser_desk import Desk

from fptlib.record.keys import load_key

pytestmark = pytest.mark.full
PASSPHRASE = "kettle Quay 7 lantern"


def test_no_message_to_the_kernel_carries_the_passphrase(desk: Desk, tmp_path: Path) -> None:
    sent: list[bytes] = []

    def note(payload: str | bytes) -> None:
        sent.append(payload.encode() if isinstance(payload, str) else payload)

    desk.page.on("websocket", lambda socket: (socket.on("framesent", note),
                                              socket.on("framereceived", note)))
    desk.open("findings")
    desk.page.locator(".fpt-sign-key input").fill(str(tmp_path / "technician.key"))
    secret = desk.page.locator(".fpt-sign-secret input")
    for typed, said in (("short", "the passphrase has 5 characters"), (PASSPHRASE, "key made"),
                        (PASSPHRASE, "never overwritten")):
        secret.click()
        secret.press_sequentially(typed)
        desk.press("make-key")
        desk.wait_for(said, 60)
        assert secret.input_value() == ""
    load_key(tmp_path / "technician.key", PASSPHRASE)
    everything = b"\n".join(sent)
    assert b"ticket:" in everything and b"technician.key" in everything
    for part in (PASSPHRASE, PASSPHRASE[:8], "short\""):
        assert part.encode() not in everything
