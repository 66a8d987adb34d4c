"""The demonstration: the whole job on the invented sample plant, before and after correction."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from fptlib.job.folder import Job
from fptlib.job.start import SAMPLES, pasted, start_sample
from fptlib.record.keys import make_key
from fptlib.record.verify import verify
from fptlib.table import lines
from fptlib.workbook import closing
from fptlib.workbook.standard import adopt

_ABOUT = {
    "sound": "a sound plant (invented)",
    "before": "the same plant before correction (invented)",
}
# The demonstration's key protects nothing, so its passphrase is no secret.
_PASSPHRASE = "demonstration only"


def demonstrate(folder: Path, run_workbooks: Callable[[Job], int]) -> int:
    """Run workbooks, sign and verify for both sample plants below a new folder.

    Returns 0 when every workbook ran and every record verifies.
    """
    folder = _free(folder)
    folder.mkdir(parents=True)
    key = folder / "demonstration-key"
    make_key(key, _PASSPHRASE)
    outcomes = [_one(folder / sample, sample, key, run_workbooks) for sample in SAMPLES]
    print(f"\nopen the workbooks in the browser:  fptlib open {pasted(folder / SAMPLES[0])}")
    return max(outcomes)


def _free(folder: Path) -> Path:
    """``folder``, or the first of ``folder-2``, ``folder-3`` ... that does not exist."""
    count, free = 1, folder
    while free.exists():
        count += 1
        free = folder.with_name(f"{folder.name}-{count}")
    return free


def _one(folder: Path, sample: str, key: Path, run_workbooks: Callable[[Job], int]) -> int:
    print(f"\n== {_ABOUT[sample]}")
    job = start_sample(folder, sample)
    adopt(job)
    stopped = run_workbooks(job)
    print("\n".join(lines(closing.compute(job).checks)))
    path = closing.sign(job, key, _PASSPHRASE, "demonstration")
    found = verify(path.read_bytes(), None, job)
    print(f"record: {path}")
    print("\n".join(found.lines()))
    return 1 if stopped or not found.good else 0
