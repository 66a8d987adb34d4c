"""The seed of the attack suite: fixed, or by FPTLIB_ATTACKS a number or ``fresh``."""

from __future__ import annotations

import os
import random
import secrets

STATED = os.environ.get("FPTLIB_ATTACKS", "18")
SEED = secrets.randbelow(10**9) if STATED == "fresh" else int(STATED)
# Workers of one run, and processes that a test starts, attack with the same seed.
os.environ["FPTLIB_ATTACKS"] = str(SEED)


def dice(name: str) -> random.Random:
    """The dice of one kind of attack."""
    return random.Random(f"{SEED} {name}")
