"""What every command is made of: its registration, the job folder it is given, how it prints."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fptlib.job.folder import Job

Options = dict[str, dict[str, Any]]
Command = Callable[[Namespace], int | None]
COMMANDS: dict[str, tuple[Command, str, Options]] = {}
JOB: Options = {"job": {"type": Path, "help": "the job folder"}}


def command(about: str, options: Options) -> Callable[[Command], Command]:
    """Make a function the command of its name; ``options`` are argparse's, by their names."""
    def added(function: Command) -> Command:
        COMMANDS[function.__name__.strip("_")] = function, about, options
        return function

    return added


def job_of(stated: Namespace) -> Job:
    """The job that a command names."""
    from fptlib.job.folder import Job

    return Job(stated.job)


def say(text: object, file: Any = None) -> None:
    """Print lines in which nothing from a file can steer the terminal or turn what stands there."""
    from fptlib.record.text import clean

    print(clean(text), file=file)
