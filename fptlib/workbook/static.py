"""Output that needs no kernel: tables and sentences with inline style, and plain text.

A notebook opened elsewhere loses scripts, style sheets and widgets; tables with inline style
stay. Every piece of output therefore carries both a table and the same content as text.
"""

from __future__ import annotations

import html
import re
from collections.abc import Sequence
from typing import Any

from fptlib.procedure.verdict import MARKS, Verdict

# Every colour has a contrast of at least 4.5:1 against its ground, and a sign beside it.
_COLORS = {
    Verdict.PASS: ("#00603f", "#e3f4ec"),
    Verdict.FAIL: ("#9c1c1c", "#fbe6e6"),
    Verdict.INDETERMINATE: ("#6b4a00", "#fdf1d6"),
    Verdict.NOT_TESTED: ("#404a54", "#eceff2"),
    Verdict.DEFERRED: ("#1f4e79", "#e4eef7"),
    Verdict.NOT_APPLICABLE: ("#404a54", "#eceff2"),
}
SIGNS = {
    **{verdict.value: (mark, *_COLORS[verdict]) for verdict, mark in MARKS.items()},
    "done": ("✓", "#1f4e79", "#e4eef7"),
    "waiting": ("…", "#6b4a00", "#fdf1d6"),
    "out of date": ("↻", "#6b4a00", "#fdf1d6"),
    "incomplete": ("◐", "#6b4a00", "#fdf1d6"),
    "returned": ("↩", "#9c1c1c", "#fbe6e6"),
    "not started": ("○", "#404a54", "#eceff2"),
}
# Cells may be broken anywhere, but not below a few letters, so that a narrow window is enough.
_CELL = (
    "text-align:left;vertical-align:top;padding:.35em .3em;min-width:3.4em;"
    "border-bottom:1px solid #c8d0d8;"
)
_TABLE = (
    "border-collapse:collapse;table-layout:auto;width:100%;max-width:60rem;margin:.4em 0;"
    "color:#1b2733;background:#fff;font-size:.95em;overflow-wrap:anywhere;white-space:normal;"
)


# Where a name may be broken: after its underscores, and after a full stop between letters.
_BREAK = re.compile(r"(?<=_)|(?<=[^\W\d]\.)(?=[^\W\d])")
# A window of 560 px has room for so many bold digits beside each other; a cell's edges take one of
# them, and none is narrower than five. A letter is about as wide, and narrower where not bold.
_ROOM, _NARROW, _WINDOW = 45.0, 5.0, "(100vw - 560px)"


class Shown:
    """A piece of static output: markup for the page, text for readers without it."""

    def __init__(self, markup: str, text: str) -> None:
        self.markup, self.text = markup, text

    def _repr_mimebundle_(self, **_: Any) -> dict[str, str]:
        return {"text/html": self.markup, "text/plain": self.text}

    def __add__(self, other: Shown) -> Shown:
        return Shown(self.markup + other.markup, f"{self.text}\n{other.text}")


def live(widget: Any, fallback: str, **kwargs: Any) -> dict[str, Any]:
    """A widget's output with a fixed text for where it cannot live."""
    made = widget._repr_mimebundle_(**kwargs) or {}
    bundle = made[0] if isinstance(made, tuple) else made
    return {**bundle, "text/plain": fallback}


def verdict_markup(verdict: str) -> str:
    """A verdict or state as a sign, a word and a colour."""
    sign, ink, ground = SIGNS.get(verdict, ("•", "#1b2733", "#eceff2"))
    return (
        f"<span style='color:{ink};background:{ground};padding:.1em .5em;border-radius:.6em;"
        f"white-space:nowrap;font-weight:600'>{sign} {html.escape(verdict)}</span>"
    )


def table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]],
          empty: str = "nothing entered") -> Shown:
    """A table of plain texts."""
    escaped = [["<wbr>".join(map(html.escape, _BREAK.split(cell))) for cell in row]
               for row in rows]
    lines = [" | ".join(row) for row in ([list(heads)] if any(heads) else []) + list(rows)]
    if not rows:
        return Shown(f"<p><b>{html.escape(caption)}</b>: {html.escape(empty)}</p>",
                     f"{caption}: {empty}")
    markup = table_markup(caption, heads, escaped, _narrowest([heads, *rows]))
    return Shown(markup, "\n".join([f"{caption}:", *lines]))


def _narrowest(rows: Sequence[Sequence[str]]) -> list[str]:
    """The least width of each column, so that its longest word is not broken; in a crowd what a
    narrow window has room for, and more as the window is wider."""
    more = [max(0.0, 1.02 * _longest(head) - _NARROW, *(
        0.9 * _longest(cell) - _NARROW for cell in cells))
            for head, *cells in zip(*rows, strict=True)]
    least = min(_NARROW, _ROOM / len(more) - 1.0)
    room, total = max(_ROOM - (_NARROW + 1.0) * len(more), 0.0), sum(more)
    if total <= room:
        return [f"{_NARROW + each:.1f}ch" for each in more]
    return [f"min({_NARROW + each:.1f}ch,{least + room * each / total:.1f}ch + "
            f"{_WINDOW}*{each / total:.3f})" for each in more]


def _longest(cell: str) -> int:
    """Letters of the longest piece that is not broken."""
    words = (word for part in _BREAK.split(cell) for word in part.replace("-", "- ").split())
    return max(map(len, words), default=0)


def table_markup(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]],
                 narrowest: Sequence[str] = ()) -> str:
    """A table whose cells are markup already, with the least width of each column."""
    least = [f"min-width:{width};" for width in narrowest] or [""] * len(heads)
    head = "".join(
        f"<th scope='col' style='{_CELL}{wide}background:#eef2f5'>{html.escape(h)}</th>"
        for h, wide in zip(heads, least, strict=True)
    )
    # Without heads the first row holds the columns' widths.
    plain = [""] * len(heads)
    body = "".join(
        "<tr>" + "".join(f"<td style='{_CELL}{wide}'>{cell}</td>" for wide, cell in zip(
            least if not any(heads) and row is rows[0] else plain, row, strict=True)) + "</tr>"
        for row in rows
    )
    shown = (
        f"<caption style='text-align:left;font-weight:600;padding:.3em 0;color:#1b2733'>"
        f"{html.escape(caption)}</caption>"
    )
    # Labels and values without heads stand close together; a wide gap is hard to follow.
    style = _TABLE if any(heads) else _TABLE.replace("width:100%", "width:auto;min-width:16rem", 1)
    top = f"<thead><tr>{head}</tr></thead>" if any(heads) else ""
    return f"<table style='{style}'>{shown}{top}<tbody>{body}</tbody></table>"


def facts(caption: str, pairs: Sequence[tuple[str, str]]) -> Shown:
    """Labels and what stands for them."""
    return table(caption, ("", ""), pairs)


def note(text: str, kind: str = "done") -> Shown:
    """One sentence in a bar, with a sign."""
    sign, ink, ground = SIGNS[kind]
    markup = (
        f"<p style='border-left:.3em solid {ink};background:{ground};color:#1b2733;"
        f"padding:.5em .8em;margin:.4em 0;max-width:60rem'>{sign} {html.escape(text)}</p>"
    )
    return Shown(markup, f"{sign} {text}")


def notes(texts: Sequence[str], kind: str) -> Shown:
    """Several sentences, each in its bar."""
    return joined([note(text, kind) for text in texts])


def joined(parts: Sequence[Shown]) -> Shown:
    """Several parts, one below the other."""
    return Shown("".join(part.markup for part in parts), "\n".join(part.text for part in parts))
