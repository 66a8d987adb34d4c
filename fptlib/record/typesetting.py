"""Pages as PDF: typst, a template and data, with the package's own fonts and nothing of the system.

Typed text reaches a template as JSON strings, which typst never reads as markup. The same parts
and moment give the same bytes, PDF/A-3a and PDF/UA-1.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from fptlib.errors import RecordError
from fptlib.record.text import NOT_PLAIN, shorten, written_out

MAIN = "main.typ"
_PACKAGE = files("fptlib.record")
_STANDARDS: list[Any] = ["a-3a", "ua-1"]
_FONTS = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
# Digests and thumbprints stand in cells wide enough and must be copied whole.
_WHOLE = re.compile(r"[0-9a-f]{64}|[\w-]{43}")
# A cell of this length fills most of a page; the whole text is in the attached record.
_LONGEST_TEXT = 4000
# A zero-width space lets a word break that is longer than any of a language: between the parts
# of a name, and within a part only where it too is that long.
_LONG_WORD = re.compile(r"\S{13,}")
_PART = re.compile(r"(?<=[_./\\:,-])(?=\S)|(?<=[^\s_./\\:,-]{20})(?=\S)")


def template(name: str) -> bytes:
    """A template of the package."""
    return (_PACKAGE / "templates" / name).read_bytes()


def typeset(parts: Mapping[str, bytes], timestamp: int) -> bytes:
    """The PDF that ``main.typ`` makes of the parts beside it.

    Args:
        parts: files by name, ``main.typ`` among them.
        timestamp: the moment the document says it was made, seconds since 1970.

    Raises:
        RecordError: the template cannot be set with these parts.
    """
    import typst

    with tempfile.TemporaryDirectory() as made, as_file(_PACKAGE / "fonts") as fonts:
        folder = Path(made)
        for name, data in parts.items():
            (folder / name).write_bytes(data)
        try:
            return bytes(typst.compile(
                folder / MAIN, root=folder, font_paths=[fonts], ignore_system_fonts=True,
                format="pdf", pdf_standards=_STANDARDS, timestamp=timestamp))
        except typst.TypstError as error:
            raise RecordError(f"the PDF cannot be made: {str(error)[:300]}") from error


def printable(value: Any) -> Any:
    """Every text of the data, made fit for the bundled fonts and the width of a cell."""
    if isinstance(value, dict):
        return {name: printable(entry) for name, entry in value.items()}
    if isinstance(value, list | tuple):
        return [printable(entry) for entry in value]
    if not isinstance(value, str):
        return value
    # PDF/A fails on a letter that the font cannot draw.
    drawn = NOT_PLAIN.sub(lambda hit: hit[0] if hit[0] in _letters() else written_out(hit[0]),
                          shorten(value, _LONGEST_TEXT))
    if _WHOLE.fullmatch(drawn):
        return drawn
    return _LONG_WORD.sub(lambda word: _PART.sub("\u200b", word[0]), drawn)


@cache
def _letters() -> frozenset[str]:
    from fontTools.ttLib import TTFont

    covered = []
    for name in _FONTS:
        with as_file(_PACKAGE / "fonts" / name) as path, TTFont(path, lazy=True) as font:
            covered.append({chr(code) for code in font.getBestCmap()})
    return frozenset.intersection(*map(frozenset, covered))
