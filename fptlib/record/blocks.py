"""The blocks a report is made of: text, facts, tables and figures, all of plain text."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from PIL import Image

from fptlib.procedure.verdict import Verdict
from fptlib.record.text import clean, number

Block = dict[str, Any]


def section(title: str, blocks: list[Block]) -> dict[str, Any]:
    """A section of a report."""
    return {"title": clean(title), "blocks": blocks}


def text(words: str) -> Block:
    """A paragraph."""
    return {"kind": "text", "text": clean(words)}


def facts(rows: Iterable[tuple[str, Any]]) -> list[Block]:
    """Labels with their values; an empty value is left out."""
    shown = [[label, clean(value)] for label, value in rows if str(value or "").strip()]
    return [{"kind": "facts", "rows": shown}] if shown else []


def table(
    caption: str, head: Sequence[str], rows: Iterable[Sequence[Any]], widths: Sequence[int]
) -> list[Block]:
    """A table; a cell is text or a verdict; ``widths`` are shares of the line."""
    made = [[_cell(cell) for cell in row] for row in rows]
    if not made:
        return []
    return [{"kind": "table", "caption": caption, "head": list(head), "rows": made,
             "widths": list(widths)}]


def _cell(cell: Any) -> dict[str, str]:
    if isinstance(cell, Verdict):
        return {"verdict": cell.value, "text": cell.value}
    return {"verdict": "", "text": clean(cell)}


# The units of design data, as the plant's dataclasses state them.
_PLANT_UNITS = {
    "capacity": "tons", "load": "tons", "minimum_water_lift": "degF",
    "minimum_pressure_lift": "psi", "cutout": "degF", "loop_volume": "gal",
    "sump_volume": "gal", "chw_flow": "gpm", "cw_flow": "gpm", "chw_entering": "degF",
    "chw_leaving": "degF", "cw_entering": "degF", "cw_leaving": "degF",
    "tower_approach, value": "degF", "exchanger_approach, value": "degF",
}


def flat(entries: Any, name: str = "", last: str = "") -> list[list[str]]:
    """Nested answers as rows of name and value."""
    if isinstance(entries, Mapping):
        return [row for key, value in entries.items()
                for row in flat(value, f"{name}, {key}" if name else str(key), str(key))]
    if isinstance(entries, list):
        return [row for n, value in enumerate(entries, 1) for row in flat(value, f"{name} {n}")]
    unit = _PLANT_UNITS.get(name, _PLANT_UNITS.get(last, ""))
    return [[name.replace("_", " "), number(entries, unit)]]


def paired(rows: Iterable[Sequence[Any]]) -> list[list[Any]]:
    """Rows of two cells set side by side, two to a line, down the left half first."""
    entries = [list(row) for row in rows]
    half = (len(entries) + 1) // 2
    right = [*entries[half:], ["", ""]][:half]
    return [left + other for left, other in zip(entries[:half], right, strict=True)]


def figure(name: str, about: str, figures: Mapping[str, bytes]) -> list[Block]:
    """The figure of that name, where there is one; its own description is read out for it."""
    if name not in figures:
        return []
    said, ratio = _picture(figures[name])
    return [{"kind": "figure", "key": name, "caption": f"Evidence: {clean(about)}",
             "alt": clean(said or f"Chart of the trends behind: {about}"), "ratio": ratio}]


def _picture(image: bytes) -> tuple[str, float]:
    """The text under the PNG keyword ``Description``, or nothing, and height over width."""
    with Image.open(io.BytesIO(image), formats=["PNG"]) as opened:
        return str(opened.info.get("Description", "")), opened.height / opened.width
