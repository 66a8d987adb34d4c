"""A page to print: one file with its own style, tables and lists, and nothing to load."""

from __future__ import annotations

import html
from collections.abc import Sequence

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


def page(title: str, body: Sequence[str], landscape: bool = False) -> bytes:
    """A whole page of parts that are markup already."""
    style = _STYLE + ("@page { size: landscape }" if landscape else "")
    return ("<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'>"
            f"<title>{html.escape(title)}</title><style>{style}</style></head><body>"
            f"<h1>{html.escape(title)}</h1>{''.join(body)}</body></html>\n").encode()


def heading(text: str, level: int = 2) -> str:
    """A heading."""
    return f"<h{level}>{html.escape(text)}</h{level}>"


def text(words: str, kind: str = "") -> str:
    """A paragraph."""
    opened = f"<p class='{kind}'>" if kind else "<p>"
    return f"{opened}{html.escape(words)}</p>"


def listed(items: Sequence[str], numbered: bool = False) -> str:
    """A list; nothing where there is no item."""
    tag = "ol" if numbered else "ul"
    rows = "".join(f"<li>{html.escape(item)}</li>" for item in items)
    return f"<{tag}>{rows}</{tag}>" if items else ""
