"""Starting a job with this edition's workbooks: an empty one, or a sample plant."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path, PurePath

from fptlib import owner
from fptlib.errors import JobError
from fptlib.job.folder import JOB_FILE, Job, now, write_atomically

EDITION = "standard 2"
SAMPLES = ("sound", "before")
_DRAWS_A_FORM = re.compile(
    r"\bopen_page\(|\bpage\.(form|rows|panel|prerequisites|overrides|approval)\(")

_EMPTY_JOB = """\
# Answers of this job. The workbooks write here; you may edit it too, comments are kept.
[job]
title = {title}
procedure = {edition}
condition = "natural"    # natural, simulated or forced
created = "{created}"

[site]

[plant]

[points]
"""


def data_folder(name: str) -> Path:
    """A folder that comes with fptlib: inside the package, or beside it in a checkout.

    Raises:
        JobError: the installation lacks it.
    """
    here = Path(__file__).resolve().parents[1]
    for folder in (here / "_data" / name, here.parent / name):
        if folder.is_dir():
            return folder
    raise JobError(f"this installation lacks its folder '{name}'; install fptlib again")


def start(folder: Path | str, title: str) -> Job:
    """A new job folder with empty answers and cleared workbooks.

    Raises:
        JobError: the folder is there already and not empty.
    """
    return start_with(folder, _EMPTY_JOB.format(
        title=json.dumps(title, ensure_ascii=False), edition=json.dumps(EDITION),
        created=now().isoformat(),
    ))


def start_sample(folder: Path | str, sample: str = "sound") -> Job:
    """A new job folder with an invented sample plant, ``sound`` or ``before``.

    Raises:
        JobError: there is no such sample, or the folder is not empty.
    """
    if sample not in SAMPLES:
        raise JobError(f"there is no sample plant '{sample}'; there are: {', '.join(SAMPLES)}")
    folder = _new(Path(folder))
    shutil.copytree(data_folder("sample_trends") / sample, folder, dirs_exist_ok=True,
                    ignore=shutil.ignore_patterns(".*"))
    return _with_rooms(folder)


def start_with(folder: Path | str, text: str) -> Job:
    """A new job folder with ``text`` as its ``job.toml`` and cleared workbooks.

    Raises:
        JobError: the folder is there already and not empty.
    """
    folder = _new(Path(folder))
    write_atomically(folder / JOB_FILE, text.encode("utf-8"))
    return _with_rooms(folder)


def _new(folder: Path) -> Path:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise JobError(f"'{folder.name}' is there already and not empty; name a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _with_rooms(folder: Path) -> Job:
    for room in ("trends", "workbooks", "record"):
        (folder / room).mkdir(exist_ok=True)
    for name, workbook in workbooks().items():
        write_atomically(folder / "workbooks" / name, workbook)
    owner.claim(folder)
    return Job(folder)


def workbooks() -> dict[str, bytes]:
    """The blank workbooks of this installation, by their names."""
    return {path.name: clear(path.read_bytes())
            for path in sorted(data_folder("workbooks").glob("*.ipynb"))}


def clear(workbook: bytes) -> bytes:
    """The workbook as a job gets it: without outputs and execution counts, its cells neither
    deletable nor editable, and those that draw forms marked, for they run when it is opened."""
    content = json.loads(workbook)
    for cell in content["cells"]:
        marks = cell.setdefault("metadata", {})
        marks["deletable"] = marks["editable"] = False
        if cell["cell_type"] == "code":
            cell["outputs"], cell["execution_count"] = [], None
            if _DRAWS_A_FORM.search("".join(cell["source"])):
                marks["tags"] = [*dict.fromkeys([*marks.get("tags", []), "form"])]
    return (json.dumps(content, indent=1, ensure_ascii=False) + "\n").encode("utf-8")


def pasted(folder: PurePath) -> str:
    """A path as it can be pasted into a command line: in double quotes where it needs them."""
    text = str(folder)
    return text if re.fullmatch(r"[\w./\\:-]+", text) else f'"{text}"'
