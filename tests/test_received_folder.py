"""A job folder that somebody sent: none of its code runs, and what is no job is named."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import nbformat
import pytest
from browser_desk import Office

import fptlib
from fptlib import owner
from fptlib.cli.commands import AWAITED, main
from fptlib.errors import JobError, RecordError
from fptlib.job.folder import Job, now
from fptlib.job.start import start_sample
from fptlib.procedure.assemble import assemble
from fptlib.procedure.steps import STEPS, step
from fptlib.record import keys, signing
from fptlib.workbook import (
    deficiency_table,
    document,
    operators_sheet,
    reception,
    run,
    settings_page,
    sign_off,
    state,
    trend_request,
)

SECRET = "a passphrase for tests"
TECHNICIAN = "Avery Field"
# What the code of a sender does here: it leaves a mark, and with it the passphrase if it can.
CODE = """import os, pathlib
pathlib.Path({mark!r}).open('a').write(__file__ if '__file__' in globals() else 'cell')
"""


@pytest.fixture(autouse=True)
def passphrase(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FPTLIB_PASSPHRASE", SECRET)


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sender's job, signed, as it lies on the sender's computer; keys beside it."""
    room = tmp_path_factory.mktemp("sender")
    job = start_sample(room / "job", "sound")
    test = assemble(job)
    for each in STEPS:
        state.record_run(job, each, each.judge(test) if each.judged else (),
                         state.basis(job))
    for role in ("technician", "engineer"):
        keys.make_key(room / f"{role}.key", SECRET)
    sign_off.sign(job, room / "technician.key", SECRET, TECHNICIAN)
    return room


def module(name: str) -> Callable[[Path, str], None]:
    def put(folder: Path, code: str) -> None:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(code, encoding="utf-8")

    return put


def cell(folder: Path, code: str) -> None:
    """Code in the workbook of the review itself."""
    path = folder / "workbooks" / "11_review.ipynb"
    book = nbformat.read(path, as_version=4)
    book.cells[1].source = code + book.cells[1].source
    nbformat.write(book, path)


def settings(folder: Path, code: str) -> None:
    """Settings that name code to be run, wherever a notebook server or kernel may look."""
    for name in ("jupyter_server_config.py", "jupyter_lab_config.py", "jupyter_config.py",
                 "ipython_config.py", "ipython_kernel_config.py", "conftest.py"):
        module(name)(folder, code)
        module(f"workbooks/{name}")(folder, code)


WAYS = {
    "the server's module": module("jupyterlab.py"),
    "the library itself": module("workbooks/fptlib.py"),
    "the kernel's launcher": module("workbooks/ipykernel_launcher.py"),
    "a module of Python": module("multiprocessing.py"),
    "what Python imports by itself": module("workbooks/sitecustomize.py"),
    "a cell": cell,
    "settings": settings,
}


@pytest.fixture(scope="module")
def received(signed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The job as it arrives, with seven ways of code in it; the mark lies beside it."""
    room = tmp_path_factory.mktemp("received")
    folder = room / "in" / "job"
    shutil.copytree(signed / "job", folder)
    code = CODE.format(mark=str(room / "mark"))
    for put in WAYS.values():
        put(folder, code)
    for name in ("json.py", "fptlib.py", "sitecustomize.py", "matplotlib.py"):
        module(name)(folder, code)
        module(f"trends/{name}")(folder, code)
    shutil.copy(folder / "multiprocessing.py", folder.parent)
    return folder


def command(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """The command as it is typed in the received folder."""
    here = str(Path(__file__).resolve().parents[1])
    script = "import sys; from fptlib.cli.commands import process; sys.exit(process())"
    # The command's own script lies in the installation, and so does its first folder for modules.
    environment = {**os.environ, "PYTHONPATH": here}
    return subprocess.run([sys.executable, "-P", "-c", script, *arguments], cwd=cwd, text=True,
                          capture_output=True, timeout=240, env=environment)


def test_no_code_of_a_sender_runs_from_the_command_line(
    received: Path, signed: Path, tmp_path: Path
) -> None:
    mark = received.parent.parent / "mark"
    # Returning the record writes: into a copy of its own.
    received = shutil.copytree(received.parent, tmp_path / "in") / received.name
    stopped = command("run", ".", cwd=received)
    assert stopped.returncode and "was not started here" in stopped.stderr
    for arguments in (
        ["check", "."], ["verify", "."], ["recalculate", "."], ["export", "."],
        ["screen", "..", "--workers", "1"],
        ["countersign", ".", "--key", str(signed / "engineer.key"), "--name", "Blair Senior",
         "--return", "code in the folder"],
    ):
        done = command(*arguments, cwd=received)
        assert "Traceback" not in done.stderr, done.stderr
        assert not mark.exists(), (arguments, mark.read_text())
    assert "code in the folder" in command("verify", ".", cwd=received).stdout


def test_the_module_form_of_the_command_takes_nothing_from_where_it_is_called(
    received: Path
) -> None:
    mark = received.parent.parent / "mark"
    done = subprocess.run([sys.executable, "-m", "fptlib", "verify", str(received)],
                          cwd=received.parent, capture_output=True, text=True, timeout=240)
    assert "record" in done.stdout and not mark.exists()


def run_through(office: Office, name: str) -> str:
    """Start the kernel of a workbook, as the page does, and wait until it lives."""
    body = json.dumps({"path": f"workbooks/{name}", "type": "notebook", "name": name,
                       "kernel": {"name": "python3"}}).encode()
    request = urllib.request.Request(office.address + "/api/sessions", data=body, headers={
        "Authorization": f"token {office.server.token}"})
    with urllib.request.urlopen(request, timeout=60) as answer:
        return str(json.loads(answer.read())["kernel"]["id"])


@pytest.fixture
def workspace(received: Path, tmp_path: Path) -> Job:
    return reception.review(received, tmp_path / "review")


def test_no_code_of_a_sender_runs_in_the_browser(received: Path, workspace: Job, tmp_path: Path
                                                 ) -> None:
    mark = received.parent.parent / "mark"
    copy = reception.take_in(received, tmp_path / "copy", kept=False)
    for job in (workspace, copy):
        (tmp_path / f"{job.folder.name}-settings").mkdir()
        office = Office(job, tmp_path / f"{job.folder.name}-settings")
        try:
            run_through(office, "11_review.ipynb")
            time.sleep(2)
            environment = Path(f"/proc/{office.server.process.pid}/environ")
            assert not environment.exists() or b"FPTLIB_PASSPHRASE" not in environment.read_bytes()
        finally:
            office.close()
    assert not mark.exists()


def test_the_review_workspace_runs_the_installed_workbooks_and_verifies(
    received: Path, workspace: Job, signed: Path, tmp_path: Path
) -> None:
    mark = received.parent.parent / "mark"
    result = run.run_one(workspace, step("review"), tmp_path)
    assert not result.stopped
    record = sign_off.countersign(workspace, signed / "engineer.key", SECRET, "Blair Senior",
                                  "accept", "")
    assert record.parent.parent == workspace.folder and not mark.exists()
    # The sample's plan asks for a witness, whose signature is still awaited.
    assert main(["verify", str(workspace.folder)]) == AWAITED


def test_a_kernel_never_knows_the_passphrase(tmp_path: Path) -> None:
    job = start_sample(tmp_path / "job")
    code = "import os, sys\nprint(os.environ.get('FPTLIB_PASSPHRASE'), os.getcwd(), sys.path[:1])"
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(code)])
    nbformat.write(book, job.workbooks_folder / "00_plan.ipynb")
    run.run_one(job, step("plan"), tmp_path)
    said = nbformat.read(job.workbooks_folder / "00_plan.ipynb", 4).cells[0].outputs[0].text
    assert said.startswith("None ") and str(job.folder) not in said


def test_what_is_no_part_of_a_job_is_named_and_left_out(received: Path, workspace: Job) -> None:
    found = reception.look(received)
    for name in ("jupyterlab.py", "workbooks/fptlib.py", "workbooks/ipykernel_launcher.py",
                 "multiprocessing.py", "trends/json.py"):
        assert name in found.foreign
        assert not (workspace.folder / name).exists()
    assert "left out, no part of a job" in found.left_out()[0]


def test_what_the_program_itself_writes_is_a_part_of_a_job(signed: Path, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    shutil.copytree(signed / "job", folder)
    for name in (deficiency_table.NAME, operators_sheet.NAME, "operators_sheet.pdf", document.NAME,
                 "procedure.pdf", settings_page.NAME, "settings_sheet.pdf",
                 *(f"{trend_request.NAME}.{kind}" for kind in ("csv", "html", "pdf"))):
        (folder / name).write_bytes(b"")
    assert reception.look(folder).foreign == ()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
def test_links_and_devices_are_never_followed(signed: Path, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    shutil.copytree(signed / "job", folder)
    (folder / "readings.csv").unlink(missing_ok=True)
    (folder / "readings.csv").symlink_to(signed / "technician.key")
    os.mkfifo(folder / "trends" / "pipe.csv")
    (folder / "record" / "more").symlink_to(signed)
    found = reception.look(folder)
    assert [name.split(" ")[0] for name in found.foreign] == [
        "readings.csv", "record/more", "trends/pipe.csv"]


def test_a_review_writes_nothing_into_the_received_folder(signed: Path, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    shutil.copytree(signed / "job", folder)
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    reception.review(folder, tmp_path / "review")
    assert before == {path: path.stat().st_mtime_ns for path in folder.rglob("*")}


def test_a_review_is_taken_up_again_unless_the_folder_changed(signed: Path, tmp_path: Path
                                                              ) -> None:
    folder = tmp_path / "job"
    shutil.copytree(signed / "job", folder)
    first = reception.review(folder, tmp_path / "review")
    (first.folder / "review.toml").write_text("[comments]\n", encoding="utf-8")
    reception.review(folder, tmp_path / "review")
    assert (first.folder / "review.toml").exists()
    (folder / "readings.csv").write_bytes(b"time\n")
    with pytest.raises(JobError, match="changed since its review was begun"):
        reception.review(folder, tmp_path / "review")


def test_a_copy_to_look_at_cannot_be_signed(signed: Path, tmp_path: Path) -> None:
    copy = reception.take_in(signed / "job", tmp_path / "copy", kept=False)
    with pytest.raises(Exception, match="copy of a received folder"):
        sign_off.countersign(copy, signed / "engineer.key", SECRET, "Blair Senior", "accept", "")


def test_a_folder_is_adopted_when_nothing_foreign_is_left(
    received: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "job"
    shutil.copytree(received, folder)
    assert main(["adopt", str(folder)]) == 1
    assert "jupyterlab.py" in capsys.readouterr().err and not owner.is_own(folder)
    for name in reception.look(folder).foreign:
        (folder / name).unlink()
    assert main(["adopt", str(folder)]) == 0
    assert "11_review.ipynb was not the installed one" in capsys.readouterr().out
    assert owner.is_own(folder)


def test_what_a_sender_wrote_cannot_steer_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "job\x1b[2J\u202e"
    folder.mkdir()
    (folder / "job.toml").write_text("[plant]\nchillers = '\u202e2'\n", encoding="utf-8")
    for command in ("check", "verify", "run", "adopt"):
        main([command, str(folder)])
    said = capsys.readouterr()
    assert "[U+001B]" in said.out + said.err
    assert not {"\x1b", "\u202e"} & set(said.out + said.err)


def test_settings_where_the_command_is_called_change_no_figure(tmp_path: Path) -> None:
    code = ("import hashlib; from fptlib.workbook.figures.base import nothing\n"
            "print(hashlib.sha256(nothing('a title', 'no trend').png()).hexdigest())")
    drawn = []
    for name in ("plain", "settings"):
        (tmp_path / name).mkdir()
        (tmp_path / "settings" / "matplotlibrc").write_text(
            "font.size: 30\nlines.linewidth: 9\nsavefig.facecolor: red\n",
            encoding="utf-8") if name == "settings" else None
        drawn.append(subprocess.run([sys.executable, "-c", code], cwd=tmp_path / name, text=True,
                                    capture_output=True, timeout=120, check=True).stdout)
    assert drawn[0] == drawn[1]


INVENTED = "measured with a faulty logger, found in order"


@pytest.fixture
def forged(signed: Path, tmp_path: Path) -> Callable[[str], Job]:
    """A job whose technician signed anew a record with other words, and the version it names."""
    def made(version: str) -> Job:
        folder = tmp_path / "forged"
        shutil.copytree(signed / "job", folder)
        path = folder / "record" / "0001.json"
        stated = signing.read(path.read_bytes()).payload
        for check in stated["checks"]:
            check["reason"] = check["meaning"] = INVENTED
            for event in check["events"]:
                event["text"] = INVENTED
        stated["program"]["version"] = version
        key = keys.load_key(signed / "technician.key", SECRET)
        path.write_bytes(signing.sign(stated, key, "technician", TECHNICIAN, now()))
        return Job(folder)

    return made


def test_invented_words_of_the_same_version_are_not_countersigned(
    forged: Callable[[str], Job], signed: Path
) -> None:
    with pytest.raises(RecordError, match="of the record differ"):
        sign_off.countersign(forged(fptlib.__version__), signed / "engineer.key", SECRET,
                             "Blair Senior", "accept", "", accepts=lambda _: True)


def test_words_of_another_version_are_shown_and_accepted_one_by_one(
    forged: Callable[[str], Job], signed: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch
) -> None:
    job = forged("0.0.9")
    arguments = ["countersign", str(job.folder), "--key", str(signed / "engineer.key"), "--name",
                 "Blair Senior"]
    answers: list[str] = []
    monkeypatch.setattr("builtins.input", lambda _: answers.pop() if answers else "no")
    assert main(arguments) == 1
    said = capsys.readouterr()
    assert f"in the record: {INVENTED}" in said.out and "calculated now: " in said.out
    count = said.out.count("in the record: ")
    answers[:] = ["yes"] * (count - 1)
    assert main(arguments) == 1
    assert "1 sentences of the record are not those" in capsys.readouterr().err
    answers[:] = ["yes"] * count
    assert main(arguments) == 0


def test_a_signed_record_counts_though_its_pages_cannot_be_written(
    signed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str]
) -> None:
    job = shutil.copytree(signed / "job", tmp_path / "job")

    def full(*_: object) -> bytes:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(sign_off.render, "pdf", full)
    arguments = ["--key", str(signed / "engineer.key"), "--name", "Blair Senior"]
    assert main(["countersign", str(job), *arguments]) == 0
    said = capsys.readouterr().out
    assert "signed record: " in said and "fptlib export" in said and "counts" in said
    monkeypatch.undo()
    assert main(["export", str(job)]) == 0 and (job / "record" / "0002.pdf").is_file()


def test_a_sender_cannot_excuse_changed_workbooks(signed: Path, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    shutil.copytree(signed / "job", folder)
    cell(folder, "1 + 1\n")
    (folder / "received.toml").write_text("folder = 'x'\nkept = true\n", encoding="utf-8")
    assert main(["verify", str(folder)]) != 0


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """A process that holds a notebook server, and the server's process id."""
    start_sample(tmp_path / "job")
    (tmp_path / "settings").mkdir()
    code = ("import pathlib, sys, time; from fptlib.job.folder import Job\n"
            "from fptlib.procedure.steps import step; from fptlib.workbook import launch\n"
            "room = pathlib.Path(sys.argv[1])\n"
            "server = launch.serve(Job(room / 'job'), step('plan'), room / 'settings')\n"
            "print(server.process.pid, flush=True); time.sleep(60)")
    holder = subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], text=True,
                              stdout=subprocess.PIPE)
    assert holder.stdout
    yield holder, int(holder.stdout.readline())
    holder.kill()
    holder.wait()
    holder.stdout.close()


@pytest.mark.skipif(os.name == "nt", reason="looks at processes as Linux and macOS list them")
@pytest.mark.parametrize("after", [0.0, 3.0], ids=["before it is up", "later"])
def test_a_killed_open_leaves_no_server(
    opened: tuple[subprocess.Popen[str], int], after: float,
) -> None:
    holder, server = opened
    time.sleep(after)
    os.kill(server, 0)
    holder.send_signal(signal.SIGKILL)
    end = time.monotonic() + 20
    while time.monotonic() < end:
        try:
            os.kill(server, 0)
        except ProcessLookupError:
            return
        time.sleep(0.2)
    pytest.fail("the server outlived what opened it")
