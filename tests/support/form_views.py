"""Forms as widgets, for tests without a browser."""

from __future__ import annotations

import html

from fptlib.workbook import questionnaire
from fptlib.workbook.forms import FormView, RowsView


def form_view(job, path, **kwargs):
    """A form of a job."""
    return FormView(questionnaire.section(job, path), **kwargs)


def rows_view(job, path):
    """A list of a job that is filled row by row."""
    return RowsView(questionnaire.section(job, path))


def said(message):
    """What a message says, as its reader sees it."""
    return html.unescape(message.widget.value)
