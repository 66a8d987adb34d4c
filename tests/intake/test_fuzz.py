"""Whatever the bytes: a right result or a clear sentence, soon, in bounded memory."""

from __future__ import annotations

import gzip
import io
import os
import random
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import attacks
import pytest
from intake_cases import FORMS, PLAIN, ZONE, Case, workbook, zipped

from fptlib.errors import IntakeError
from fptlib.trends.grid import Grid
from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends
from fptlib.trends.suggest import propose
from fptlib.trends.weather import read_weather

SECONDS = 10.0
FILES = [case for case in FORMS if not isinstance(case.expected, str)]


def cut(data: bytes, dice: random.Random) -> bytes:
    return data[: dice.randrange(len(data))]


def flipped(data: bytes, dice: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(dice.randint(1, 8)):
        changed[dice.randrange(len(changed))] = dice.randrange(256)
    return bytes(changed)


def stuffed(data: bytes, dice: random.Random) -> bytes:
    at = dice.randrange(len(data))
    noise = dice.choice([b"\0", b'"', b"\n", b",", b"\xff\xfe", b"=1+1", b"\x1a", b"9" * 400,
                         "\u202e".encode(), b'"\n"', b"\r", b"1e999", b"-" * 50])
    return data[:at] + noise + data[at:]


def recoded(data: bytes, dice: random.Random) -> bytes:
    text = data.decode(dice.choice(["utf-8", "cp1252", "utf-16-le"]), "replace")
    return text.encode(dice.choice(["utf-8", "utf-16", "utf-16-be", "cp1252", "utf-32"]), "replace")


def noise(data: bytes, dice: random.Random) -> bytes:
    return dice.randbytes(dice.randint(1, 4000))


def lines_shuffled(data: bytes, dice: random.Random) -> bytes:
    lines = data.splitlines(keepends=True)
    dice.shuffle(lines)
    return b"".join(lines)


@pytest.mark.parametrize("change", [cut, flipped, stuffed, recoded, noise, lines_shuffled],
                         ids=lambda change: change.__name__)
def test_changed_files(change: Callable[[bytes, random.Random], bytes], tmp_path: Path,
                       record_property: Callable[[str, object], None]) -> None:
    dice = attacks.dice(change.__name__)
    for turn in range(60):
        case = FILES[turn % len(FILES)]
        folder = tmp_path / str(turn)
        folder.mkdir()
        for name, data in case.files.items():
            (folder / name).write_bytes(change(data, dice))
        read_or_refuse(folder, case)
        assert sorted(p.name for p in folder.iterdir()) == sorted(case.files)
    record_property("attacks", f"trend files, {change.__name__}: 60 tried, read or refused")


def read_or_refuse(folder: Path, case: Case) -> None:
    begin = time.monotonic()
    try:
        assert isinstance(read_trends(folder, PointMap.from_answers(case.answers)), Grid)
    except IntakeError as error:
        assert str(error) and "\n" not in str(error), error
        assert len(str(error)) < 1500
    propose(folder, {})
    assert time.monotonic() - begin < SECONDS


def test_weather_files_cut_and_changed(tmp_path: Path) -> None:
    dice, path = attacks.dice("weather"), tmp_path / "w.epw"
    head = "LOCATION,Invented,XX,YY,Z,0,40,-105,-7.0,1600.0\n" + "x\n" * 7
    row = "2005,1,1,1,0,flags,3.0,-8.0,41,81100" + ",0" * 25 + "\n"
    for turn in range(40):
        data = (head + row * 20).encode()
        path.write_bytes(dice.choice([cut, flipped, stuffed, noise, recoded])(data, dice))
        with pytest.raises(IntakeError) as error:
            read_weather(path)
        assert "\n" not in str(error.value), turn


def bombs(folder: Path) -> Iterator[tuple[str, str]]:
    """Name of a file in ``folder`` and what reading it must say."""
    rows = "".join(f"2026-01-05 10:{at % 60:02d},44\n" for at in range(20_000))

    # Two gigabytes without a line end; the hole takes no room on the disk.
    with (folder / "line.csv").open("wb") as out:
        out.write(("Time,X\n" + rows).encode())
        out.seek(2 << 30, io.SEEK_CUR)
        out.write(b"\n")
    yield "line.csv", "has a line of more than"

    (folder / "line.gz").write_bytes(gzip.compress(("Time,X\n" + rows).encode())
                                     + gzip.compress(b"4" * (16 << 20)) * 128)
    yield "line.gz", "has a line of more than"

    (folder / "rows.gz").write_bytes(gzip.compress(b"Time,X\n")
                                     + gzip.compress((rows * 8).encode()) * 1000)
    yield "rows.gz", "export a shorter span"

    (folder / "zeros.zip").write_bytes(zipped({"t.csv": b"\0" * (64 << 20)}))
    yield "zeros.zip", "not a text file"

    header = ",".join(f"c{i}" for i in range(30_000)) + "\n"
    (folder / "wide.csv").write_bytes(header.encode() * 2)
    yield "wide.csv", ""

    (folder / "strings.xlsx").write_bytes(_packed({"xl/sharedStrings.xml": b"<si>" * (80 << 20)}))
    yield "strings.xlsx", "unpacks to"

    laughs = b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "' + b"x" * 1000 + b'">'
    laughs += b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 100) for i in range(8))
    (folder / "laughs.xlsx").write_bytes(_packed(
        {"xl/worksheets/sheet1.xml": laughs + b"]><worksheet>&i;</worksheet>"}))
    yield "laughs.xlsx", "'laughs.xlsx'"

    corner = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    (folder / "corner.xlsx").write_bytes(_changed("xl/worksheets/sheet1.xml",
                                                  b"</sheetData>", corner))
    yield "corner.xlsx", ""

    (folder / "long.csv").write_bytes(b"Time,X\n2026-01-05 10:00," + b"9" * 900_000 + b"\n")
    yield "long.csv", ""


def _packed(parts: dict[str, bytes]) -> bytes:
    """A workbook with some of its parts replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook([["Time", "X"], ["2026-01-05 10:00", 44]]))) as old:
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as new:
            for name in {*old.namelist(), *parts}:
                new.writestr(name, parts.get(name) or old.read(name))
    return out.getvalue()


def _changed(part: str, old: bytes, new: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(workbook([["Time", "X"], ["2026-01-05 10:00", 44]]))) as book:
        return _packed({part: book.read(part).replace(old, new)})


def read_bombs(folder: Path) -> None:
    """Read each bomb and print what was said, the seconds, and the peak memory [MiB]."""
    for name, said in bombs(folder):
        answers = {"site": {"time_zone": ZONE}, "points": {
            "chw_supply_temp": {"file": name, "column": "X", "unit": "degF"}}}
        begin = time.monotonic()
        try:
            read_trends(folder, PointMap.from_answers(answers))
            text = "read"
        except IntakeError as error:
            text = str(error)
        assert said in text, (name, text)
        print(f"{name}|{time.monotonic() - begin:.1f}|{_peak():.0f}|{text[:90]}", flush=True)
        (folder / name).unlink()


def _peak() -> float:
    """Peak memory of this program alone [MiB].

    The usual accounting (``ru_maxrss``) starts at the peak of the test run that forked it.
    """
    status = Path("/proc/self/status").read_text(encoding="ascii")
    line = next(line for line in status.splitlines() if line.startswith("VmHWM"))
    return float(line.split()[1]) / 1024


@pytest.mark.skipif(not Path("/proc/self/status").is_file(), reason="peak memory is not told here")
def test_bombs(tmp_path: Path) -> None:
    """In a process of its own, so that its peak memory is its own."""
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, __file__, str(tmp_path)], capture_output=True, text=True, timeout=240,
        env={**os.environ, "PYTHONPATH": f"{root}{os.pathsep}{root / 'tests' / 'support'}"},
        cwd=tmp_path, check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    lines = [line.split("|") for line in done.stdout.splitlines()]
    assert len(lines) == 9
    for name, seconds, peak, text in lines:
        assert float(seconds) < 60.0, (name, seconds)
        assert float(peak) < 1024.0, (name, peak, text)
    assert not list(tmp_path.iterdir())


def test_formula_cells_are_never_run(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text(PLAIN.replace("44.5", '"=HYPERLINK(""x"")"'))
    with pytest.raises(IntakeError, match="is no number"):
        read_or_raise(tmp_path)


def test_link_out_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text(PLAIN)
    inner = tmp_path / "trends"
    inner.mkdir()
    try:
        (inner / "t.csv").symlink_to(tmp_path / "secret.csv")
    except OSError:
        pytest.skip("links cannot be made here")
    with pytest.raises(IntakeError, match="leads out of trends"):
        read_or_raise(inner)


def read_or_raise(folder: Path) -> Grid:
    case = next(case for case in FILES if case.name == "plain comma")
    return read_trends(folder, PointMap.from_answers(case.answers))


if __name__ == "__main__":
    read_bombs(Path(sys.argv[1]))
