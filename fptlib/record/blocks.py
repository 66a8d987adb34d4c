"""The blocks that a report's sections are made of: text, facts, tables and figures, all of them
plain, so that page and PDF are set from the same."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from PIL import Image

from fptlib.procedure.verdict import Verdict
from fptlib.record.text import clean

Content = Mapping[str, Any]
Block = dict[str, Any]
Figures = Mapping[str, bytes]
ANSWERS = {"What": 40, "Answer": 60}


def section(title: str, blocks: list[Block]) -> dict[str, Any]:
    """A section of a report."""
    return {"title": clean(title), "blocks": blocks}


def text(words: str) -> Block:
    """A paragraph."""
    return {"kind": "text", "text": clean(words)}


def facts(rows: Mapping[str, Any]) -> list[Block]:
    """Labels with their values; an empty value is left out."""
    shown = [[label, clean(value)] for label, value in rows.items() if str(value or "").strip()]
    return [{"kind": "facts", "rows": shown}] if shown else []


def table(
    caption: str, columns: Mapping[str, int], rows: Iterable[Sequence[Any]], doubled: bool = False
) -> list[Block]:
    """A table, none where it has no row.

    Args:
        caption: what stands above it.
        columns: heads with their shares of the line.
        rows: rows of cells, each a text or a verdict.
        doubled: two rows to a line, down the left half first.
    """
    made = [[_cell(cell) for cell in row] for row in rows]
    heads, widths = list(columns), list(columns.values())
    if doubled:
        half = (len(made) + 1) // 2
        right = [*made[half:], [_cell("")] * len(heads)]
        made = [[*row, *right[n]] for n, row in enumerate(made[:half])]
        heads, widths = heads * 2, widths * 2
    return [{"kind": "table", "caption": caption, "head": heads, "rows": made,
             "widths": widths}] if made else []


def _cell(cell: Any) -> dict[str, str]:
    if isinstance(cell, Verdict):
        return {"verdict": cell.value, "text": cell.value}
    return {"verdict": "", "text": clean(cell)}


def figure(name: str, about: str, figures: Figures) -> list[Block]:
    """The figure of that name, where there is one; its own description is read out for it."""
    if name not in figures:
        return []
    with Image.open(io.BytesIO(figures[name]), formats=["PNG"]) as opened:
        said = str(opened.info.get("Description", ""))
        ratio = opened.height / opened.width
    return [{"kind": "figure", "key": name, "caption": f"Evidence: {clean(about)}",
             "alt": clean(said or f"Chart of the trends behind: {about}"), "ratio": ratio}]


def members(entries: Iterable[Content], names: str) -> list[list[Any]]:
    """The named members of each entry; one that it does not have is empty."""
    return [[entry.get(name, "") for name in names.split()] for entry in entries]
