"""The record as one PDF for the owner: PDF/A-3a and PDF/UA-1, the signed record inside.

Typeset with typst from data: typed text reaches the template as JSON strings, which typst
never reads as markup. The same record and figures give the same bytes.
"""

from __future__ import annotations

import io
import json
import re
import tempfile
from collections.abc import Mapping
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import typst
from fontTools.ttLib import TTFont
from pypdf import PdfReader
from pypdf.errors import PyPdfError

from fptlib.errors import RecordError
from fptlib.record.report import MARKS, report
from fptlib.record.text import NOT_PLAIN, shorten, written_out
from fptlib.record.trusted import read_moment

RECORD_NAME = "record.json"
PAPERS = ("us-letter", "a4")
_STANDARDS: list[Any] = ["a-3a", "ua-1"]
_FONTS = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
# Digests and thumbprints stand in cells wide enough and must be copied whole.
_WHOLE = re.compile(r"[0-9a-f]{64}|[\w-]{43}")
# A cell of this length fills most of a page; the whole text is in the attached record.
_LONGEST_TEXT = 4000
_LONG_WORD = re.compile(r"\S{20}(?=\S)")


def typeset(record: bytes, figures: Mapping[str, bytes], paper: str = "us-letter") -> bytes:
    """The PDF of a record.

    Args:
        record: the record's bytes; its signatures must match.
        figures: PNG images by check id (``lift.minimum``) or by step (``lift``).
        paper: ``us-letter`` or ``a4``.

    Raises:
        RecordError: the record is damaged or of an unknown kind, a figure is no PNG, or the
            paper is unknown.
    """
    if paper not in PAPERS:
        raise RecordError(f"paper '{paper}' is not one of: {', '.join(PAPERS)}")
    shown = report(record, figures)
    moment = read_moment(shown["signed_at"], "the moment of signing")
    with tempfile.TemporaryDirectory() as folder, as_file(_data("fonts")) as fonts:
        _write(Path(folder), record, figures, _printable({**shown, "paper": paper}))
        return _compile(Path(folder), fonts, int(moment.timestamp()))


def _data(name: str) -> Any:
    return files("fptlib.record") / name


def _write(
    folder: Path, record: bytes, figures: Mapping[str, bytes], shown: dict[str, Any]
) -> None:
    # Figures are numbered: a name that was typed somewhere must not become a path.
    images = {name: f"figure-{n}.png" for n, name in enumerate(figures, start=1)}
    for name, image in figures.items():
        (folder / images[name]).write_bytes(image)
    content = {"report": shown, "marks": MARKS, "images": images}
    (folder / "content.json").write_text(json.dumps(content), encoding="utf-8")
    (folder / RECORD_NAME).write_bytes(record)
    template = (_data("templates") / "record.typ").read_text(encoding="utf-8")
    (folder / "main.typ").write_text(template, encoding="utf-8")


def _compile(folder: Path, fonts: Path, timestamp: int) -> bytes:
    try:
        made = typst.compile(
            folder / "main.typ", root=folder, font_paths=[fonts], ignore_system_fonts=True,
            format="pdf", pdf_standards=_STANDARDS, timestamp=timestamp,
        )
    except typst.TypstError as error:
        raise RecordError(f"the PDF cannot be made: {str(error)[:300]}") from error
    return bytes(made)  # type: ignore[arg-type]


def _printable(value: Any) -> Any:
    """Every text of the report, made fit for the bundled fonts and the width of a cell."""
    if isinstance(value, dict):
        return {name: _printable(entry) for name, entry in value.items()}
    if isinstance(value, list):
        return [_printable(entry) for entry in value]
    return _breakable(_drawn(shorten(value, _LONGEST_TEXT))) if isinstance(value, str) else value


def _drawn(text: str) -> str:
    # PDF/A fails on a letter that the font cannot draw.
    return NOT_PLAIN.sub(
        lambda hit: hit[0] if hit[0] in _letters() else written_out(hit[0]), text)


@cache
def _letters() -> frozenset[str]:
    covered = []
    for name in _FONTS:
        with as_file(_data("fonts") / name) as path, TTFont(path, lazy=True) as font:
            covered.append({chr(code) for code in font.getBestCmap()})
    return frozenset.intersection(*map(frozenset, covered))


def _breakable(text: str) -> str:
    if _WHOLE.fullmatch(text):
        return text
    # A zero-width space lets a word break that is longer than any of a language.
    return _LONG_WORD.sub(lambda hit: hit[0] + "\u200b", text)


def record_of_pdf(pdf: bytes) -> bytes:
    """The signed record that a PDF carries; whether it is good is ``verify``'s matter.

    Raises:
        RecordError: the file is no PDF, or does not carry exactly one record.
    """
    try:
        attached = PdfReader(io.BytesIO(pdf)).attachments
        found = [data for name in attached for data in _each(attached[name])]
    except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, OSError,
            RecursionError) as error:
        raise RecordError(f"this PDF cannot be read: {type(error).__name__}") from error
    if len(found) != 1 or RECORD_NAME not in attached:
        raise RecordError(f"this PDF carries {len(found)} attachments; it must carry the record "
                          "and nothing beside it")
    return found[0]


def _each(attached: bytes | list[bytes]) -> list[bytes]:
    return [attached] if isinstance(attached, bytes) else list(attached)
