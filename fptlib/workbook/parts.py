"""Widgets with shared layouts and styles.

Every widget would else bring a layout and a style of its own, three messages to the browser
instead of one; a page with eighty fields opens in half the time when they are shared.
"""

from __future__ import annotations

import html as markup
from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets
from ipywidgets.widgets.widget_description import DescriptionStyle
from ipywidgets.widgets.widget_string import HTMLStyle, TextStyle

LABEL_WIDTH = "15rem"
WIDE = widgets.Layout(width="42rem", max_width="100%")
NUMBER_WIDTH = widgets.Layout(width="24rem", max_width="100%")
UNIT_WIDTH = widgets.Layout(width="6.5rem")
AUTO_WIDTH = widgets.Layout(width="auto", max_width="100%")
_PLAIN = widgets.Layout()
_TEXT = TextStyle(description_width=LABEL_WIDTH)
_CHOICE = DescriptionStyle(description_width=LABEL_WIDTH)
_HTML = HTMLStyle()


def html(content: str = "", *names: str) -> widgets.HTML:
    """A piece of markup with handles."""
    return _named(widgets.HTML(content, layout=_PLAIN, style=_HTML), names)


def title(text: str, below: str = "") -> widgets.HTML:
    """The title of a form, with markup below it."""
    return html(f"<h3 class='fpt-form-title'>{markup.escape(text)}</h3>{below}")


def column(parts: Sequence[widgets.Widget], *names: str) -> widgets.VBox:
    """Parts one below the other."""
    return _named(widgets.VBox(list(parts), layout=_PLAIN), names)


def line(parts: Sequence[widgets.Widget], *names: str) -> widgets.HBox:
    """Parts beside each other, wrapped where the window is narrow."""
    return _named(widgets.HBox(list(parts), layout=_PLAIN), ("fpt-line", *names))


def text(label: str, *names: str, layout: widgets.Layout = WIDE, **traits: Any) -> widgets.Text:
    """A field for text, with its label."""
    made = widgets.Text(description=label, continuous_update=False, style=_TEXT, layout=layout,
                        **traits)
    return _named(made, names)


def suggested(label: str, *names: str, **traits: Any) -> widgets.Combobox:
    """A field for text that offers some."""
    made = widgets.Combobox(description=label, continuous_update=False, ensure_option=False,
                            style=_TEXT, layout=WIDE, **traits)
    return _named(made, names)


def area(label: str, *names: str, rows: int = 4) -> widgets.Textarea:
    """A field for several lines of text."""
    made = widgets.Textarea(description=label, rows=rows, continuous_update=False, style=_TEXT,
                            layout=WIDE)
    return _named(made, names)


def choice(label: str, *names: str, layout: widgets.Layout = WIDE,
           **traits: Any) -> widgets.Dropdown:
    """A field to choose from."""
    made = widgets.Dropdown(description=label, style=_CHOICE, layout=layout, **traits)
    return _named(made, names)


def tick(label: str, layout: widgets.Layout = AUTO_WIDTH, **traits: Any) -> widgets.Checkbox:
    """A box to tick, with its label."""
    return widgets.Checkbox(description=label, indent=False, layout=layout, **traits)


def files(label: str, name: str, **traits: Any) -> widgets.FileUpload:
    """A field on which files are dropped, or for which they are chosen."""
    return _named(widgets.FileUpload(description=label, tooltip=label, layout=AUTO_WIDTH,
                                     **traits), (name,))


def secret(label: str, name: str) -> widgets.Password:
    """A field for a passphrase."""
    return _named(widgets.Password(description=label, style=_TEXT, layout=WIDE), (name,))


def button(label: str, name: str, style: str = "") -> widgets.Button:
    """A button with a handle."""
    return _named(widgets.Button(description=label, button_style=style, layout=AUTO_WIDTH),
                  (name,))


def _named(made: Any, names: Sequence[str]) -> Any:
    for name in names:
        made.add_class(name)
    return made
