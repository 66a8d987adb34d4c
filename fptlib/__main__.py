"""``python -m fptlib``."""

import sys

from fptlib.cli.commands import process

if __name__ == "__main__":
    sys.exit(process())
