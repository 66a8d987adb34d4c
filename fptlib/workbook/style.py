"""Style of the forms, sent with them, so that it does not depend on how Jupyter was started."""

from __future__ import annotations

from functools import cache
from importlib import resources

import ipywidgets as widgets


@cache
def form_css() -> str:
    """The style sheet of the forms."""
    return resources.files(__package__).joinpath("forms.css").read_text(encoding="utf-8")


def sheet() -> widgets.HTML:
    """An invisible widget that brings the style sheet into the page."""
    made = widgets.HTML(f"<style>{form_css()}</style>", layout=widgets.Layout(height="0"))
    made.add_class("fpt-sheet")
    return made
