"""Forms as widgets, for tests without a browser."""

from __future__ import annotations

import html

from fptlib.workbook.rows import JobStore, RowsView


def rows_view(job, rows, **kwargs):
    """A list of a job that is filled row by row."""
    return RowsView(JobStore(job, rows), rows, **kwargs)


def said(message):
    """What a message says, as its reader sees it."""
    return html.unescape(message.widget.value)
