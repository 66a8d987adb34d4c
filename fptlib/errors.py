"""The one kind of error that a technician sees: a sentence that says what to do."""

from __future__ import annotations


class FptError(Exception):
    """Input that cannot be used, told in one sentence.

    The sentence names file, row and point where they are known, what was found, what was
    expected and what to do. Notebooks and the command line show it without a traceback.
    """

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows instead of a traceback (an IPython hook)."""
        return [f"STOPPED: {self}"]


class JobError(FptError):
    """The job folder holds something that cannot be used."""


class IntakeError(FptError):
    """A trend file, its map or its values cannot be used."""


class RecordError(FptError):
    """A test record cannot be made, read or trusted."""


class FormError(FptError):
    """A form is not complete or holds an answer that cannot be used."""
