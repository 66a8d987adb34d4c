"""The notebook server as a process of its own, which ends when the one that started it does.

Whoever starts it holds the other end of its standard input. However that process ends, killed or
not, the input is then at its end; the kernels end with the server. Where the system names a
process's parent, an input that ends while its holder lives, as was seen to happen, ends nothing.
"""

from __future__ import annotations

import os
import sys
import threading
import time

from fptlib.record import schema


def _leave_with_parent(holder: int) -> None:
    sys.stdin.buffer.read()
    while os.name == "posix" and os.getppid() == holder:
        time.sleep(1.0)
    os._exit(1)


def serve() -> None:
    """Run JupyterLab until it is stopped or left alone, or until the process ends that the command
    line names."""
    # Its holder says who it is: one that ended during the imports below is no parent any more.
    holder = int(sys.argv.pop())
    schema.validating()
    from jupyterlab.labapp import main

    threading.Thread(target=_leave_with_parent, args=(holder,), daemon=True).start()
    main()


if __name__ == "__main__":
    serve()
