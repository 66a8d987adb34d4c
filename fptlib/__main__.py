"""``python -m fptlib``."""

import os
import sys
from pathlib import Path

# Python puts the folder in which it was called before the installation; whatever lies there under
# the name of a module would be imported. The program itself may lie there, in a checkout.
if sys.path[0] in ("", os.getcwd()) and Path(sys.path[0]).resolve() not in Path(__file__).parents:
    del sys.path[0]

from fptlib.cli.commands import process  # noqa: E402

if __name__ == "__main__":
    sys.exit(process())
