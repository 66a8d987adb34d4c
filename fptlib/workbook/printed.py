"""Pages to print: headings, paragraphs, lists and tables, as one file with its own style and
nothing to load, and the same as PDF."""

from __future__ import annotations

import base64
import html
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from fptlib import __version__
from fptlib.job.folder import write_atomically
from fptlib.job.start import EDITION
from fptlib.record.typesetting import MAIN, printable, template, typeset
from fptlib.workbook import static

_STYLE = ("@page { margin: 12mm } body { font: 10.5pt/1.4 sans-serif; color: #1b2733; "
          "max-width: 62rem; margin: 0 auto; padding: 0 1rem } table { max-width: none !important; "
          "font-size: 9pt } h2 { break-after: avoid; border-bottom: 2px solid #1b2733 } "
          "tr, li { break-inside: avoid } "
          "p.caution { border: 2px solid #1b2733; padding: .4em .8em }")
SAFETY = ("Rotating and electrical equipment can start without warning; follow the site's lockout "
          "rules. Electrical work is for licensed people, at approach limits that local codes set. "
          "Basins and pits are confined spaces. Refrigerant, pressure and freezing can injure. "
          "Critical loads are agreed with the owner first. Local codes and the manufacturers' "
          "limits govern wherever they differ from this page.")
# A column of shorter cells is as wide as they are; longer ones share what is left by their
# letters, up to so many.
_NARROW, _WIDE = 22, 60


@dataclass(frozen=True)
class Block:
    """A piece of a page; of a table, ``items`` are the heads; a picture is a PNG, its ``text`` for
    who cannot see it."""

    kind: str
    text: str = ""
    items: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    level: int = 2
    picture: bytes = b""

    @property
    def markup(self) -> str:
        """The piece as HTML."""
        if self.kind == "table":
            return static.table(self.text, self.items, self.rows).markup
        words = html.escape(self.text)
        if self.kind == "picture":
            data = base64.b64encode(self.picture).decode("ascii")
            return f"<img style='max-width:100%' alt='{words}' src='data:image/png;base64,{data}'>"
        if self.kind == "heading":
            return f"<h{self.level}>{words}</h{self.level}>"
        if self.kind in ("bullets", "numbers"):
            tag = "ul" if self.kind == "bullets" else "ol"
            return f"<{tag}>{''.join(f'<li>{html.escape(i)}</li>' for i in self.items)}</{tag}>"
        return f"<p class='{self.kind}'>{words}</p>"

    @property
    def widths(self) -> list[int]:
        """The share of each column of a table; 0 for one as wide as its cells."""
        longest = [max(map(len, column)) for column in zip(self.items, *self.rows, strict=True)]
        return [0 if each <= _NARROW else min(each, _WIDE) for each in longest]


def heading(text: str, level: int = 2) -> Block:
    """A heading."""
    return Block("heading", text, level=level)


def text(words: str) -> Block:
    """A paragraph."""
    return Block("text", words)


def caution(words: str) -> Block:
    """A paragraph in a frame."""
    return Block("caution", words)


def listed(items: Sequence[str], numbered: bool = False) -> Block:
    """A list."""
    return Block("numbers" if numbered else "bullets", items=tuple(items))


def table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Block:
    """A table; without rows a sentence that says so."""
    if not rows:
        return text(f"{caption}: nothing entered".lstrip(": ").capitalize())
    return Block("table", caption, tuple(heads), tuple(map(tuple, rows)))


def picture(png: bytes, words: str) -> Block:
    """A picture, and a sentence for who cannot see it."""
    return Block("picture", words, picture=png)


def write(path: Path, title: str, blocks: Sequence[Block], landscape: bool = False) -> list[Path]:
    """Write the page and, beside it, its PDF; both say when and with what they were made.

    Raises:
        RecordError: the PDF cannot be set.
        OSError: a file cannot be written.
    """
    now = datetime.now().astimezone()
    made = f"Made {now:%Y-%m-%d %H:%M %z} with fptlib {__version__}, {EDITION}."
    content = {"title": title, "made": made, "paper": "us-letter", "landscape": landscape,
               "blocks": [{**asdict(each), "picture": f"{n}.png" if each.picture else "",
                           "widths": each.widths if each.rows else []}
                          for n, each in enumerate(blocks)]}
    pictures = {f"{n}.png": each.picture for n, each in enumerate(blocks) if each.picture}
    pdf = typeset({**pictures, "content.json": json.dumps(printable(content)).encode(),
                   MAIN: template("page.typ")}, int(now.timestamp()))
    style = _STYLE + ("@page { size: landscape }" if landscape else "")
    page = ("<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'>"
            f"<title>{html.escape(title)}</title><style>{style}</style></head><body>"
            f"<h1>{html.escape(title)}</h1><p>{html.escape(made)}</p>"
            f"{''.join(each.markup for each in blocks)}</body></html>\n")
    beside = path.with_suffix(".pdf")
    write_atomically(path, page.encode())
    write_atomically(beside, pdf)
    return [path, beside]
