"""The attack suite: what is altered is not accepted, what was saved is not lost, what is hostile
costs a sentence. Counts and seed are printed at the end of the run; FPTLIB_ATTACKS=fresh takes
another seed. Trend files are attacked in ``intake/test_fuzz.py`` with the same seed."""

from __future__ import annotations

import csv
import io
import json
import os
import random
import re
import resource
import signal
import subprocess
import sys
import textwrap
import tomllib
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pikepdf
import pytest
import record_support as support
import tomlkit
from attacks import dice

from fptlib.errors import FptError, RecordError
from fptlib.job.folder import Job
from fptlib.record import canonical, render, signing, store, text
from fptlib.record.pdf import record_of_pdf
from fptlib.record.verify import verify
from fptlib.workbook import reception

pytestmark = [pytest.mark.full,
              pytest.mark.skipif(os.name == "nt", reason="needs POSIX processes and limits")]
KEYS = support.make_keys()
TRUSTED = support.trust(KEYS)
Counted = Callable[[str], None]


@pytest.fixture
def counted(record_property: Callable[[str, object], None]) -> Counted:
    return lambda said: record_property("attacks", said)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    job = support.make_job(tmp_path_factory.mktemp("attacked") / "job")
    return support.signed(support.make_payload(job), KEYS, ("technician", "engineer"))


def accepted(record: bytes) -> bool:
    return not verify(record, TRUSTED, None).refused


def damaged(data: bytes, throw: random.Random) -> bytes:
    """Bytes flipped, left out, put in or moved, one place or several."""
    found = bytearray(data)
    for _ in range(throw.randint(1, 3)):
        at, other = throw.randrange(len(found)), throw.randrange(len(found))
        match throw.randrange(4):
            case 0:
                found[at] ^= 1 << throw.randrange(8)
            case 1:
                del found[at:at + throw.randint(1, 40)]
            case 2:
                found[at:at] = found[other:other + throw.randint(1, 40)]
            case _:
                found[at], found[other] = found[other], found[at]
    return bytes(found)


def test_altered_bytes_of_a_record(record: bytes, counted: Counted) -> None:
    throw, tried = dice("flips"), 0
    for _ in range(3000):
        changed = damaged(record, throw)
        if changed != record:
            tried += 1
            assert not accepted(changed), changed
    counted(f"altered bytes of a record: {tried} tried, none accepted")


def altered(value: Any, throw: random.Random) -> Any:
    """A JSON value with one of its places given another value, taken away, doubled or moved."""
    whole = json.loads(json.dumps(value))
    places: list[tuple[Any, Any]] = []
    rooms = [whole]
    while rooms:
        room = rooms.pop()
        for key in list(room) if isinstance(room, dict) else range(len(room)):
            places.append((room, key))
            if isinstance(room[key], dict | list):
                rooms.append(room[key])
    room, key = throw.choice(places)
    match throw.randrange(4):
        case 0:
            room[key] = throw.choice([None, True, 0, -1.5, "", "pass", [], {}, [room[key]]])
        case 1:
            del room[key]
        case 2 if isinstance(room, list):
            room.append(room[key])
        case 2:
            room[f"{key} "] = room[key]
        case _:
            other, place = throw.choice(places)
            room[key] = json.loads(json.dumps(other[place])) if other in (room, whole) else "moved"
    return whole


def test_altered_structures_of_a_record(record: bytes, counted: Counted) -> None:
    """Well-formed and canonical, so that nothing but meaning can refuse it."""
    throw, tried, taken_off = dice("structures"), 0, 0
    for turn in range(1500):
        outer = json.loads(record)
        if turn % 3 == 0:
            outer = altered(outer, throw)
        elif turn % 3 == 1:
            content = json.loads(canonical.from_base64(outer["payload"], "it"))
            outer["payload"] = canonical.to_base64(canonical.encode(altered(content, throw)))
        else:
            entry = throw.choice(outer["signatures"])
            header = json.loads(canonical.from_base64(entry["protected"], "it"))
            entry["protected"] = canonical.to_base64(canonical.encode(altered(header, throw)))
        changed = canonical.encode(outer)
        if changed == record:
            continue
        tried += 1
        if accepted(changed):
            # The last signature taken off leaves the record as it was before: it is awaited, and
            # in the job folder the record that has it shows (``test_verify``).
            assert outer == {**json.loads(record), "signatures": json.loads(record)[
                "signatures"][:1]} and verify(changed, TRUSTED, None).code == 3, changed
            taken_off += 1
    counted(f"altered structures of a record: {tried} tried, none accepted but {taken_off} from "
            "which the last signature was taken off, which is awaited")


def _append(made: bytes) -> bytes:
    with pikepdf.open(io.BytesIO(made)) as document:
        out = io.BytesIO()
        document.add_blank_page()
        document.save(out)
    # What a reader shows is the last revision; the first is still in front of it.
    return made + out.getvalue()


def _in_document(change: Callable[[Any, random.Random], None]) -> Callable[..., bytes]:
    def made(data: bytes, throw: random.Random) -> bytes:
        out = io.BytesIO()
        with pikepdf.open(io.BytesIO(data)) as document:
            change(document, throw)
            document.save(out)
        return out.getvalue()

    return made


def _acting(document: Any, throw: random.Random) -> None:
    name = throw.choice(["/JavaScript", "/Launch", "/URI", "/GoToR", "/SubmitForm", "/Named"])
    action = pikepdf.Dictionary(S=pikepdf.Name(name), JS="app.alert(1)", URI="x:y", F="a.exe")
    room = throw.choice([document.Root, document.pages[0].obj])
    room[throw.choice(["/AA", "/OpenAction", "/A", "/Extra"])] = document.make_indirect(action)


def _annotation(document: Any, throw: random.Random) -> None:
    kind = throw.choice(["/FreeText", "/Stamp", "/Square", "/Screen", "/FileAttachment", "/Redact"])
    note = pikepdf.Dictionary(Type=pikepdf.Name.Annot, Subtype=pikepdf.Name(kind),
                              Rect=[0, 0, 600, 800], Contents="pass")
    page = throw.choice(list(document.pages)).obj
    page.Annots = pikepdf.Array([*page.get("/Annots", []), document.make_indirect(note)])


def _second_file(document: Any, throw: random.Random) -> None:
    name = throw.choice(["record.json ", "other.json", "a.exe"])
    document.attachments[name] = pikepdf.AttachedFileSpec(
        document, b"{}", filename=name)


def _other_record(document: Any, throw: random.Random) -> None:
    (name,) = document.attachments
    data = document.attachments[name].get_file().read_bytes()
    document.attachments[name] = pikepdf.AttachedFileSpec(
        document, damaged(data, throw), filename=name)


PDFS: dict[str, Callable[[bytes, random.Random], bytes]] = {
    "bytes": damaged, "revision": lambda data, _: _append(data), "action": _in_document(_acting),
    "annotation": _in_document(_annotation), "second file": _in_document(_second_file),
    "other record": _in_document(_other_record)}


def test_altered_pdfs(record: bytes, counted: Counted) -> None:
    """Refused, or what comes out is the record that went in."""
    throw, refused, same = dice("pdfs"), 0, 0
    made = render.pdf(record, {})
    for turn in range(120):
        name = list(PDFS)[turn % len(PDFS)]
        changed = PDFS[name](made, throw)
        try:
            found = record_of_pdf(changed)
        except RecordError as error:
            assert len(str(error)) < 400
            refused += 1
            continue
        assert name in ("bytes", "other record"), name
        same += found == record
        assert found == record or not accepted(found), name
    counted(f"altered PDFs: {refused + same} refused or with the same record, of 120; "
            "no other record accepted")
    assert refused >= 120 * 4 // 6


CHILD = """
import os, signal, sys
sys.path[:0] = {paths!r}
from pathlib import Path
from fptlib.job.folder import Job
from fptlib.record import keys, store, trusted_keys
from fptlib.record.trusted_keys import TrustedKeys
folder, record, number = Path(sys.argv[1]), Path(sys.argv[2]).read_bytes(), int(sys.argv[3])
job, firm = Job(folder), folder.parent / "firm.jwks"
{body}
"""


def child(body: str, job: Job, record: bytes, number: int) -> subprocess.Popen[str]:
    file = job.folder.parent / "signed"
    file.write_bytes(record)
    code = CHILD.format(paths=[path for path in sys.path if path], body=textwrap.dedent(body))
    return subprocess.Popen([sys.executable, "-c", code, str(job.folder), str(file), str(number)],
                            stdout=subprocess.PIPE, text=True)


def test_saves_at_once(record: bytes, tmp_path: Path, counted: Counted) -> None:
    job = support.make_job(tmp_path / "job")
    body = """
    for turn in range(6):
        job.put(f"attack.p{number}.n{turn}", turn)
        store.save(job, record)
    """
    running = [child(body, job, record, number) for number in range(4)]
    for process in running:
        process.communicate(timeout=280)
        assert process.returncode == 0
    kept = tomllib.loads(job.file.read_text(encoding="utf-8"))["attack"]
    assert {name: len(each) for name, each in kept.items()} == {f"p{n}": 6 for n in range(4)}
    records = store.records(job)
    assert [int(path.stem) for path in records] == list(range(1, 25))
    assert all(path.read_bytes() == record for path in records)
    counted("saves at once: 24 answers and 24 records by 4 processes, none lost")


KILLS = """
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT
NAMES = {"os.rename", "os.link", "os.remove", "os.mkdir", "os.chmod", "tempfile.mkstemp"}
def one(at):
    left = [at]
    def count(*_):
        left[0] -= 1
        if not left[0]:
            os.kill(os.getpid(), signal.SIGKILL)
    def look(event, arguments):
        if event in NAMES or event == "open" and (arguments[2] or 0) & WRITING:
            count()
    sync = os.fsync
    os.fsync = lambda handle: (count(), sync(handle))[1]
    sys.addaudithook(look)
    job = Job(folder)
    job.put("attack.turn", at)
    store.save(job, record)
    with trusted_keys.locked(firm):
        TrustedKeys.read(firm).write(firm)
    os._exit(0)

TrustedKeys().write(firm)
at, before = 0, []
while True:
    at += 1
    pid = os.fork()
    if not pid:
        one(at)
    status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    assert status in (0, -signal.SIGKILL), at
    records = store.records(job)
    assert all(path.read_bytes() == record for path in records), at
    assert [path.name for path in records][:len(before)] == before, at
    before = [path.name for path in records]
    assert job.get("attack.turn", at) in (at, at - 1), at
    job.put("attack.turn", at)
    assert TrustedKeys.read(firm) == TrustedKeys(), at
    if not status:
        break
print(at - 1)
"""


def test_kills_at_each_file_call(record: bytes, tmp_path: Path, counted: Counted) -> None:
    process = child(KILLS, support.make_job(tmp_path / "job"), record, 0)
    said, _ = process.communicate(timeout=280)
    assert process.returncode == 0
    assert int(said) > 15
    counted(f"kills: one at each of {said.strip()} file calls of three saves, nothing lost")


HOSTILE = ("\x1b[2J\x1b]0;x\x07", "\u202eevil\u2066", "<script>alert(1)</script>",
           '"><img src=x onerror=alert(1)>', "=cmd|'/C calc'!A0", "{{7*7}}{% raw %}",
           "#eval(\"1\") $x$ \\ @x `x`", "\x00\x08\x7f", "a\r\nrecord: whole", "x" * 20_000,
           "\ud7ff\U000e0041\ufeff", "'; DROP TABLE x; --")


def hostile(document: Any, throw: random.Random) -> int:
    """Put a hostile text into every field of text; how many."""
    count = 0
    rooms = [document]
    while rooms:
        room = rooms.pop()
        for key in list(room) if isinstance(room, dict) else range(len(room)):
            if isinstance(room[key], dict | list):
                rooms.append(room[key])
            elif isinstance(room[key], str) and not re.match(r"\d{4}-|[A-Z]\w+/|R-\d", room[key]):
                room[key] = throw.choice(HOSTILE)
                count += 1
    return count


def test_hostile_text_in_every_field(tmp_path: Path, counted: Counted) -> None:
    throw, fields = dice("texts"), 0
    for turn in range(12):
        answers = tomlkit.parse(support.JOB_TOML)
        fields += hostile(answers, throw)
        job = support.make_job(tmp_path / str(turn), tomlkit.dumps(answers))
        content = support.make_payload(job)
        fields += hostile(content["checks"], throw)
        record = signing.sign(content, KEYS["technician"], "technician",
                              throw.choice(HOSTILE).strip("\x00\x08") or "x", support.MOMENT)
        shown = [verify(record, None, job).lines()]
        try:
            shown.append([render.html(record, {}).decode()])
            for table in render.tables(content):
                cells = csv.reader(io.StringIO(render.to_csv(table).decode("utf-8-sig")))
                assert not any(text.like_formula(cell) for row in cells for cell in row)
        except RecordError as error:
            shown.append([str(error)])
        for said in (line for lines in shown for line in lines):
            assert not any(mark in said for mark in ("\x1b", "\x07", "\x00", "\u202e", "\u2066"))
            assert "<script>alert" not in said or not said.startswith("<")
            assert "<img src=x" not in said or not said.startswith("<")
        assert all("\n" not in line for line in shown[0])
    counted(f"hostile text: {fields} fields, none steered terminal, page or spreadsheet")


def large_workbook() -> bytes:
    """24 MB packed: within all bounds but one, or within all."""
    throw, out = dice("workbook"), io.BytesIO()
    rows = []
    for row in range(2, 5000):
        cells = "".join(f'<c r="{chr(65 + at)}{{at}}"><v>{throw.uniform(40, 60):.4f}</v></c>'
                        for at in range(1, 20))
        rows.append(f'<row r="{{at}}"><c r="A{{at}}"><v>{46000 + row / 1440:.6f}</v></c>{cells}'
                    "</row>")
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as book:
        for name, part in support_parts().items():
            book.writestr(name, part)
        with book.open("xl/worksheets/sheet1.xml", "w") as sheet:
            sheet.write(b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/'
                        b'main"><sheetData>')
            for turn in range(32):
                sheet.write("".join(row.format(at=turn * len(rows) + at + 1)
                                    for at, row in enumerate(rows)).encode())
            sheet.write(b"</sheetData></worksheet>")
    return out.getvalue()


def support_parts() -> dict[str, bytes]:
    from export_forms import book

    with zipfile.ZipFile(io.BytesIO(book({"T": [["Time", "c0"]]}))) as plain:
        return {name: plain.read(name) for name in plain.namelist()
                if not name.endswith("sheet1.xml")}


def test_a_large_workbook_in_a_received_folder(tmp_path: Path, counted: Counted) -> None:
    """Read or refused within 30 s of the processor's time and a gigabyte."""
    job = support.make_job(tmp_path / "job")
    data = large_workbook()
    (job.trends_folder / "large.xlsx").write_bytes(data)
    with (job.folder / "job.toml").open("a", encoding="utf-8") as out:
        out.write('[points.chw_supply_temp]\nfile = "large.xlsx"\ncolumn = "B"\nunit = "degF"\n')
    script = "import sys; from fptlib.cli.commands import process; sys.exit(process())"
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run([sys.executable, "-c", script, "check", str(job.folder)], text=True,
                          capture_output=True, timeout=280,
                          env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))})
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    seconds = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    assert "Traceback" not in done.stderr and "large.xlsx" in done.stdout + done.stderr
    counted(f"a workbook of {len(data) / 1e6:.0f} MB: {seconds:.0f} s of the processor, "
            f"{after.ru_maxrss // 1024} MiB at most of any process so far")
    assert len(data) > 20e6 and seconds < 30


def test_hostile_files_in_a_received_folder(tmp_path: Path, counted: Counted) -> None:
    """Pipes, links, devices, odd names, wild answers: looked at, taken in or refused, soon."""
    throw, tried, taken = dice("files"), 0, 0
    for turn in range(80):
        folder = support.make_job(tmp_path / f"in{turn}").folder
        for name in throw.sample(["x.py", ".bashrc", "a\x1b[2Jb", "\u202egpj.exe", "-rf", "~"], 3):
            (folder / throw.choice(["", "trends", "workbooks"]) / name).write_bytes(b"x")
        os.mkfifo(folder / throw.choice(["trends/pipe.csv", "pipe", "workbooks/pipe.ipynb"]))
        (folder / "trends" / "link.csv").symlink_to(throw.choice(
            ["/dev/zero", "/etc/passwd", "link.csv", "..", "nowhere"]))
        victim = throw.choice(["job.toml", "readings.csv", "trends/plant.csv",
                               "workbooks/04_lift.ipynb"])
        (folder / victim).write_bytes(throw.choice([
            damaged((folder / victim).read_bytes(), throw), b"", throw.randbytes(500),
            b"[" * 5000, b"a = " + b"[" * 900, b"[a]\n" * 2]))
        tried += 1
        signal.alarm(20)
        try:
            into = reception.take_in(folder, tmp_path / f"out{turn}").folder
            taken += 1
            assert not any(path.is_symlink() or path.suffix in (".py", ".exe")
                           or not (path.is_file() or path.is_dir()) for path in into.rglob("*"))
        except FptError as error:
            assert len(str(error)) < 1500
        finally:
            signal.alarm(0)
    counted(f"received folders: {tried} tried, {taken} taken in without what is no job, "
            "the others refused")
