"""Functional tests of the changeover into and out of waterside-economizer operation.

The whole job on the invented sample plant, from a script:

>>> import fptlib
>>> job = fptlib.start(folder / "sample job", sample="before")
>>> report = fptlib.check(job)
>>> [check.id for check in report.checks if check.verdict == "fail"][:3]
['reset.active', 'enable.condition', 'enable.dwell']
>>> stopped = [result.file for result in fptlib.run(job) if result.stopped]
>>> key = fptlib.make_key(folder / "key", "a passphrase of one's own")
>>> record = fptlib.sign(job, folder / "key", "a passphrase of one's own", "Max Madeup")
>>> fptlib.verify(record).good
True

``check`` judges the files as they are; ``run`` executes the workbooks, which ``sign`` asks for.
What they give back is documented where it is made: ``fptlib.cli.report.Report`` with its ``Check``
and ``Event``, ``fptlib.record.verify.Verification``, ``fptlib.portfolio.result.Screening``.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fptlib.cli.api import (
        assemble,
        check,
        compare,
        countersign,
        make_key,
        recalculate,
        run,
        screen,
        sign,
        start,
        verify,
    )
    from fptlib.errors import FptError
    from fptlib.job.folder import Job

__version__ = "0.1.0"
__all__ = ["FptError", "Job", "assemble", "check", "compare", "countersign", "make_key",
           "recalculate", "run", "screen", "sign", "start", "verify"]


def __getattr__(name: str) -> Any:
    """A public name, imported when it is first asked for: most commands need few of them."""
    if name not in __all__:
        raise AttributeError(f"fptlib has no '{name}'; its public names are: {', '.join(__all__)}")
    from importlib import import_module

    home = {"FptError": "fptlib.errors", "Job": "fptlib.job.folder"}
    return getattr(import_module(home.get(name, "fptlib.cli.api")), name)
