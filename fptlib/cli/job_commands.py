"""Commands of a job's folder, its trends, and its verdicts."""

from __future__ import annotations

import json
from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from time import monotonic

from fptlib.cli import api
from fptlib.cli.registry import JOB, command, job_of, say
from fptlib.errors import JobError

SAMPLES = {
    "sound": "a sound plant (invented)",
    "before": "the same plant before correction (invented)",
}


@command("Start a job from the standard workbooks.", {
    "folder": {"type": Path, "help": "a new folder"},
    "--title": {"default": "", "help": "title of the job"},
    "--procedure": {"type": Path, "help": "a firm's procedure folder"},
    "--sample": {"choices": [*SAMPLES], "help": "start with an invented plant"},
    "--retest": {"type": Path, "metavar": "RECORD",
                 "help": "repeat the test of this job folder, record or its PDF after correction"},
})
def start(stated: Namespace) -> None:
    from fptlib.job.start import pasted

    api.start(stated.folder, stated.title, stated.sample, stated.retest, stated.procedure)
    say(f"job folder {stated.folder} is ready; put the trend files into "
          f"{stated.folder / 'trends'}")
    say(f"open it:  fptlib open {pasted(stated.folder)}")


@command("Open a job's workbooks in the browser.", JOB)
def open_(stated: Namespace) -> int:
    from fptlib import owner
    from fptlib.workbook.launch import look_at, open_job

    job = job_of(stated)
    return open_job(job) if owner.is_own(job.folder) else look_at(job.folder)


@command("Review a job folder that somebody sent: a workspace of your own, the sender's data.", {
    "folder": {"type": Path, "help": "the received job folder; nothing is written into it"},
    "--into": {"type": Path, "help": "the workspace; 'NAME review' beside the received folder "
                                     "where left out"},
    "--procedure": {"type": Path, "help": "your firm's procedure folder, for its workbooks"},
})
def review(stated: Namespace) -> int:
    from fptlib.job.folder import Job
    from fptlib.procedure.steps import step
    from fptlib.workbook import reception
    from fptlib.workbook.launch import open_job
    from fptlib.workbook.standard import read

    folder = stated.folder.resolve()
    into = stated.into or folder.with_name(f"{folder.name} review")
    firm = read(stated.procedure) if stated.procedure else None
    say("\n".join(reception.look(folder).left_out()))
    job = reception.review(folder, into, firm)
    say("\n".join(api.verify(folder).lines()))
    say(f"review in {into}, with the installed workbooks; the sender's are not run")
    return open_job(Job(job.folder), step("review"))


@command("Make a received or moved job folder your own, to work in it.", JOB)
def adopt(stated: Namespace) -> None:
    from fptlib.workbook.reception import adopt as adopted

    for name in adopted(stated.job):
        say(f"workbook {name} was not the installed one and was replaced by it")
    say(f"{stated.job} is your own now")


@command("Run all workbooks of a job without a browser.", JOB)
def run(stated: Namespace) -> int:
    from tqdm import tqdm

    from fptlib import owner
    from fptlib.job.start import pasted

    job = job_of(stated)
    if not owner.is_own(job.folder):
        raise JobError(f"'{job.folder.name}' was not started here, so its workbooks are not run; "
                       f"look at it with 'fptlib open {pasted(stated.job)}', review it with "
                       f"'fptlib review {pasted(stated.job)}', or make it your own with 'fptlib "
                       f"adopt {pasted(stated.job)}'")
    with tqdm(total=len(list(job.workbooks_folder.glob("*.ipynb"))), unit="workbook",
              desc=job.folder.name) as bar:
        results = api.run(job, lambda _: bar.update())
    for result in results:
        say(f"{result.file}: {result.stopped or result.verdict or 'ran'}")
    return 1 if any(result.stopped for result in results) else 0


@command("Print every column of the trend files with the point it is or may be.", {
    **JOB,
    "--write": {"action": "store_true", "help": "put the accepted rows into the point map"},
    "--table": {"type": Path, "metavar": "FILE",
                "help": "write the rows as CSV, to be edited in a spreadsheet"},
    "--read": {"type": Path, "metavar": "FILE",
               "help": "read such a table back and put its accepted rows into the point map"},
    "--model": {"type": Path, "metavar": "FILE",
                "help": "a Brick model (.ttl) or Haystack grid (.json) that says what columns are"},
})
def map_(stated: Namespace) -> int:
    from fptlib.workbook import point_table

    job = job_of(stated)
    if stated.model and not stated.model.is_file():
        raise JobError(f"there is no file '{stated.model}'; name the model's file")
    table = point_table.of(job, stated.model)
    if stated.table:
        point_table.write(table, stated.table)
    say("\n".join(point_table.lines(table)))
    if stated.read or stated.write:
        rows = point_table.read(table, stated.read) if stated.read else table.rows
        say(f"the point map holds {point_table.save(job, rows)} points")
    return 1 if table.unread else 0


@command("Write the points and trend request for the controls contractor.", {
    **JOB,
    "--minutes": {"type": float, "default": 1.0, "help": "interval of the trends foreseen"},
})
def request(stated: Namespace) -> None:
    from fptlib.workbook import trend_request

    job = job_of(stated)
    say("\n".join(map(str, trend_request.write(job))))
    say(trend_request.foretold(job, stated.minutes).text)


@command("Write the deficiencies as a table for the contractor, or read it back.", {
    **JOB, "--read": {"type": Path, "metavar": "FILE", "help": "take over what was done"},
})
def deficiencies(stated: Namespace) -> None:
    from fptlib.workbook import deficiency_table

    job = job_of(stated)
    if stated.read:
        say(f"{deficiency_table.read(job, stated.read)} deficiencies changed")
    else:
        say(deficiency_table.write(job))
    for line in deficiency_table.lines(deficiency_table.of(job)):
        say(line)


@command("Print every verdict of a job.", {
    "job": {"type": Path, "nargs": "?", "help": "the job folder"},
    "--all": {"action": "store_true", "help": "every event, remark and limit"},
    "--json": {"type": Path, "metavar": "FILE", "help": "write all of it as JSON"},
    "--json-schema": {"action": "store_true", "help": "print the JSON Schema of that file"},
})
def check(stated: Namespace) -> int:
    from fptlib.cli.report import json_schema
    from fptlib.job.folder import write_atomically

    if stated.json_schema:
        say(json.dumps(json_schema(), indent=2))
        return 0
    if stated.job is None:
        raise JobError("no job folder is named; write 'fptlib check JOB'")
    with _reading() as progress:
        report = api.check(job_of(stated), progress)
    if stated.json:
        write_atomically(stated.json, report.json())
    say("\n".join(report.lines(stated.all)))
    return 1 if any(found.verdict == "fail" for found in report.checks) else 0


@contextmanager
def _reading() -> Iterator[Callable[[float, str], None]]:
    """A progress bar that appears, and is loaded, only where the reading takes more than two
    seconds."""
    begin, bar = monotonic(), None
    with ExitStack() as shown:
        def progress(share: float, text: str) -> None:
            nonlocal bar
            if bar is None and monotonic() - begin > 2.0:
                from tqdm import tqdm

                bar = shown.enter_context(tqdm(
                    total=100, leave=False, bar_format="{desc} {bar} {percentage:.0f}%"))
            if bar is not None:
                bar.set_description_str(text, refresh=False)
                bar.update(max(0.0, 100.0 * share - bar.n))

        yield progress
