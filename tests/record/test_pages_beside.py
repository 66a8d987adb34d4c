"""The page, PDF and tables beside a record: a changed one is named."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import record_support as support

from fptlib.record import pages, render, store
from fptlib.record.signing import read

FIGURES = {"recovery.rate": support.png(), "lift": support.png(60, 30)}


@pytest.fixture
def saved(tmp_path: Path) -> Path:
    """A record with what is exported beside it."""
    job = support.make_job(tmp_path / "job")
    record = support.signed(support.make_payload(job), support.make_keys(), ("technician",))
    path = store.save(job, record)
    tables = render.tables(read(record).payload)
    path.with_suffix(".html").write_bytes(render.html(record, FIGURES))
    path.with_suffix(".pdf").write_bytes(render.pdf(record, FIGURES))
    path.with_suffix(".xlsx").write_bytes(render.to_xlsx(tables))
    for table in tables:
        path.with_name(f"{path.stem}-{table.name}.csv").write_bytes(render.to_csv(table))
    return path


def said(path: Path) -> str:
    return "\n".join(pages.beside(path, path.read_bytes()))


def test_what_lies_beside_a_record_is_compared_and_what_was_not_is_said(saved: Path) -> None:
    assert said(saved) == (
        "compared with the record: 0001-checks.csv, 0001-readings.csv, 0001-deficiencies.csv, "
        "0001-script.csv, 0001-events.csv, 0001.xlsx, 0001.html, 0001.pdf; not compared: the "
        "pictures, which 'fptlib export JOB' makes anew from the trends")


def _word(data: bytes) -> bytes:
    return data.replace(b"fail", b"pass", 1)


@pytest.mark.parametrize(("name", "change"), [
    ("0001.html", _word), ("0001-checks.csv", _word), ("0001.xlsx", lambda data: data[:-30]),
    ("0001.html", lambda data: b""), ("0001.xlsx", lambda data: b"PK"),
    ("0001.pdf", lambda data: data.replace(b"/Title", b"/Titlf", 1)),
])
def test_a_changed_page_is_named(saved: Path, name: str, change: Callable[[bytes], bytes]) -> None:
    file = saved.with_name(name)
    data = file.read_bytes()
    assert change(data) != data
    file.write_bytes(change(data))
    assert f"{name} is not as this version makes it" in said(saved)


def test_of_a_pdf_alone_its_pages_are_said_not_to_be_compared(saved: Path) -> None:
    (line,) = pages.beside(saved.with_suffix(".pdf"), saved.read_bytes())
    assert line.startswith("the pages of this PDF were not compared")


def test_a_page_of_another_record_is_named(saved: Path, tmp_path: Path) -> None:
    job = support.make_job(tmp_path / "other", support.JOB_TOML.replace("T-001", "T-002"))
    other = support.signed(support.make_payload(job), support.make_keys(), ("technician",))
    saved.write_bytes(other)
    assert "0001.html is not as" in said(saved) and "0001.pdf is not as" in said(saved)
