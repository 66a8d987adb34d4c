"""Where the page hands a passphrase to the notebook server, past its kernel (``record.signer``)."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

from jupyter_server.base.handlers import APIHandler
from jupyter_server.utils import url_path_join
from tornado import web

from fptlib.errors import RecordError
from fptlib.record import signer

ADDRESS = "fptlib/unlock"


class Unlock(APIHandler):  # type: ignore[misc]
    """A key file and its passphrase for a ticket, with which the kernel has it sign."""

    @web.authenticated
    async def post(self) -> None:
        """Start the process that holds the key; a refusal goes the ticket's way."""
        asked = self.get_json_body() or {}
        try:
            ticket = await asyncio.to_thread(
                signer.start, Path(str(asked["file"]).strip()).expanduser(),
                str(asked["passphrase"]), asked["make"] is True)
        except RecordError as error:
            ticket = signer.refusal(error)
        self.finish({"ticket": ticket})


def _load_jupyter_server_extension(app: Any) -> None:
    """What the notebook server calls."""
    address = url_path_join(app.web_app.settings["base_url"], ADDRESS)
    app.web_app.add_handlers(".*$", [(address, Unlock)])
