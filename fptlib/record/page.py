"""The record as one HTML page: self-contained, printable, readable in grey.

Text reaches the page only through Jinja2's escaping. The page may load nothing and run
nothing, which its content security policy says to the browser too.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from fptlib.record.comparison import both, comparison_report
from fptlib.record.report import MARKS, report


def html(record: bytes, figures: Mapping[str, bytes]) -> bytes:
    """The page of a record, with the signed record itself attached as a link.

    Args:
        record: the record's bytes; its signatures must match.
        figures: PNG images by check id (``lift.minimum``) or by step (``lift``).

    Raises:
        RecordError: the record is damaged or of an unknown kind, or a figure is no PNG.
    """
    return _render(report(record, figures), figures, record)


def comparison(
    before: bytes, after: bytes, figures_before: Mapping[str, bytes],
    figures_after: Mapping[str, bytes],
) -> bytes:
    """The page that compares a retest with the record it refers to, per check and figure.

    Raises:
        RecordError: a record is damaged, or the second does not refer to the first.
    """
    figures = both(figures_before, figures_after)
    return _render(comparison_report(before, after, figures), figures, after)


def _render(shown: dict[str, Any], figures: Mapping[str, bytes], record: bytes) -> bytes:
    images = {name: _base64(image) for name, image in figures.items()}
    page = _template().render(report=shown, marks=MARKS, images=images, record=_base64(record))
    return page.encode("utf-8")


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


@cache
def _template() -> Template:
    environment = Environment(
        loader=PackageLoader("fptlib.record"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )
    return environment.get_template("record.html.j2")
