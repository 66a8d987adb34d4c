"""The fastest read, and what a record of trends cannot do without: FILE COLUMN ...

The file's digest, for a signed record names the bytes it rests on, and pandas imported.
"""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

import _fastest_read  # noqa: F401
import pandas  # noqa: F401

with Path(sys.argv[1]).open("rb") as stream:
    hashlib.file_digest(stream, "sha256")
