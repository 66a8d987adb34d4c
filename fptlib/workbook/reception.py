"""Job folders that came from somebody else: what is taken of them, and what is left out.

The rule: a folder is yours at the place where you started or adopted it (``owner``); any other
was received. Of a received folder only data are read: answers, readings, trends and records. Its
workbooks are never run; those of this installation take their place. What a job does not need is
named and left out.
"""

from __future__ import annotations

import os
import shutil
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path

import tomlkit

from fptlib import owner
from fptlib.errors import JobError, RecordError
from fptlib.job.folder import (
    JOB_FILE,
    READINGS_FILE,
    RECEIVED_FILE,
    REVIEW_FILE,
    Job,
    sha256,
    write_atomically,
)
from fptlib.job.received import note
from fptlib.job.start import data_folder, pasted, workbooks
from fptlib.procedure.steps import STEPS
from fptlib.record.files import workbook_digest
from fptlib.workbook.standard import OWN_PAGES, SET_ASIDE, Procedure, place

# What is read of a received folder, and what a job has beside it that can be made again. A star
# stands for a name without folders, so that nothing deeper is a part of a job.
_DATA = (JOB_FILE, READINGS_FILE, "trends/*", "record/[0-9]*.json", "record/[0-9]*.receipt")
_BESIDE = (REVIEW_FILE, *(f"workbooks/{step.file}" for step in STEPS),
           *(f"record/[0-9]*.{kind}" for kind in ("html", "pdf", "csv", "xlsx")),
           # What the program writes beside the answers; a test holds the names together.
           *(f"{page}.{kind}" for page in ("operators_sheet", "procedure", "settings_sheet",
                                              "trend_request") for kind in ("html", "pdf")),
           "deficiencies.csv", "point_map.csv", "trend_request.csv", ".lock", ".cache/*",
           "workbooks/.ipynb_checkpoints/*.ipynb",
           f"workbooks/{SET_ASIDE}/*.ipynb", f"{OWN_PAGES}/*.ipynb")
# What lies among trends and is no trend: programs, pages and what a system runs when it is opened.
_NO_TRENDS = {".py", ".pyc", ".pyd", ".pth", ".so", ".dll", ".dylib", ".exe", ".bat", ".cmd",
              ".com", ".ps1", ".sh", ".js", ".vbs", ".lnk", ".scr", ".msi", ".jar", ".ipynb",
              ".html", ".htm", ".svg", ".url", ".desktop"}
_MOST_NAMED = 20


@dataclass(frozen=True)
class Received:
    """What was found in a folder.

    Attributes:
        data: what is taken, by name from the folder.
        foreign: what a job does not need, by name, with what it is where that is not a file.
    """

    data: Mapping[str, Path] = field(default_factory=dict)
    foreign: tuple[str, ...] = ()

    def left_out(self) -> list[str]:
        """The foreign files as lines, no more than anybody reads."""
        named = [f"left out, no part of a job: {name}" for name in self.foreign[:_MOST_NAMED]]
        more = len(self.foreign) - len(named)
        return [*named, *([f"left out, no part of a job: {more} more"] if more else [])]


def look(folder: Path) -> Received:
    """What a folder holds; nothing of it is opened.

    Raises:
        JobError: it is no job folder.
    """
    data: dict[str, Path] = {}
    foreign = []
    for path in _files(folder):
        name = path.relative_to(folder).as_posix()
        if not stat.S_ISREG(path.lstat().st_mode):
            foreign.append(f"{name} (a link or a device, not a file)")
        elif _is(name, _DATA) and not (path.parent.name == "trends" and (
                path.suffix.lower() in _NO_TRENDS or path.name.startswith("."))):
            data[name] = path
        elif not _is(name, _BESIDE):
            foreign.append(name)
    if JOB_FILE not in data:
        raise JobError(f"'{folder.name}' is not a job folder: it has no {JOB_FILE}; name the "
                       "folder that holds it")
    return Received(data, tuple(foreign))


def _files(folder: Path) -> Iterator[Path]:
    """Everything below a folder that is no folder, in order; no link is followed."""
    for here, folders, files in os.walk(folder):
        folders.sort()
        links = [name for name in folders if (Path(here) / name).is_symlink()]
        yield from (Path(here) / name for name in sorted([*files, *links]))


def _is(name: str, patterns: tuple[str, ...]) -> bool:
    return any(name.count("/") == pattern.count("/") and fnmatchcase(name, pattern)
               for pattern in patterns)


def take_in(folder: Path, into: Path, firm: Procedure | None = None, kept: bool = True) -> Job:
    """A new job folder with the data of a received one and the workbooks of this installation.

    Nothing is written into the received folder, and its lock is not taken.

    Args:
        folder: the received folder.
        into: the new folder, outside of the received one.
        firm: your firm's own procedure, whose workbooks take the place of the standard's.
        kept: whether the copy stays; nothing can be signed in one that does not.

    Raises:
        JobError: ``folder`` is no job folder, or ``into`` exists or lies in it.
    """
    found = look(folder)
    if into.exists() and (not into.is_dir() or any(into.iterdir())):
        raise JobError(f"'{into.name}' is there already and not empty; name a new folder")
    if into.resolve().is_relative_to(folder.resolve()):
        raise JobError(f"'{into.name}' lies in the received folder; name one outside of it")
    for room in ("trends", "workbooks", "record"):
        (into / room).mkdir(parents=True, exist_ok=True)
    for name, path in found.data.items():
        shutil.copyfile(path, into / name, follow_symlinks=False)
    for name, workbook in workbooks().items():
        write_atomically(into / "workbooks" / name, workbook)
    if firm:
        place(firm, into)
    made = {"folder": str(folder.resolve()), "kept": kept,
            "files": {name: sha256(into / name) for name in found.data}}
    write_atomically(into / RECEIVED_FILE, tomlkit.dumps(made).encode("utf-8"))
    owner.claim(into)
    return Job(into)


def review(folder: Path, into: Path, firm: Procedure | None = None) -> Job:
    """The review workspace of a received folder: a new one, or the one begun before.

    Raises:
        JobError: ``into`` is something else, or the received folder changed since.
    """
    held = note(into)
    if held.get("folder") != str(folder.resolve()):
        return take_in(folder, into, firm)
    now = {name: sha256(path) for name, path in look(folder).data.items()}
    if now != held["files"]:
        raise JobError(f"'{folder.name}' changed since its review was begun in '{into.name}'; "
                       "name a new folder with --into")
    return Job(into)


def same_words(first: Path, second: Path) -> bool:
    """Whether two workbooks have the same code and text; a damaged or absent one has neither."""
    try:
        return workbook_digest(first) == workbook_digest(second)
    except (OSError, RecordError):
        return False


def adopt(folder: Path) -> list[str]:
    """Make a received folder your own, to work in it; returns the workbooks that were replaced.

    The folder's workbooks are run from then on, so each that is not the installed one gives way
    to it: answers lie in ``job.toml``, and outputs can be made again.

    Raises:
        JobError: it is no job folder, or it holds something that a job does not need.
    """
    found = look(folder)
    # A page of the procedure's own would take the place of the installed one, and one that was
    # set aside can be opened and run.
    pages = [f"{room}/{path.name}" for room in (OWN_PAGES, f"workbooks/{SET_ASIDE}")
             for path in sorted((folder / room).glob("*"))]
    if foreign := [*found.foreign, *pages]:
        named = ", ".join(foreign[:_MOST_NAMED])
        raise JobError(f"'{folder.name}' holds what is no part of a job: {named}; move it out, "
                       f"then write 'fptlib adopt {pasted(folder)}' again")
    (folder / "workbooks").mkdir(exist_ok=True)
    replaced = []
    for name, workbook in workbooks().items():
        if not same_words(folder / "workbooks" / name, data_folder("workbooks") / name):
            write_atomically(folder / "workbooks" / name, workbook)
            replaced.append(name)
    owner.claim(folder)
    return replaced
