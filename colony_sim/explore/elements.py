"""Small helpers over NiceGUI: elements of text, and changes that are sent only if there are any."""

from __future__ import annotations

import html
import json
from typing import Any

from nicegui import ui

#: What an input tells the server: its value, or whether it is ticked.
VALUE = "(event) => emit(event.target.value)"
CHECKED = "(event) => emit(event.target.checked)"


def words(tag: str, text: str, classes: str = "") -> ui.html:
    """An element with text in it."""
    return ui.html(html.escape(text), tag=tag, sanitize=False).classes(classes)


def put(element: ui.html, text: str) -> None:
    """Change the text of an element made by `words`, if it differs."""
    put_html(element, html.escape(text))


def put_html(element: ui.html, content: str) -> None:
    """Change the content of an element, if it differs; nothing of a user's may be in it."""
    if element.content != content:
        element.content = content


def prop(element: ui.element, name: str, to: Any) -> None:
    """Change an attribute, if it differs."""
    if element.props.get(name) != to:
        element.props[name] = to
        element.update()


class Input:
    """An input element whose value the reader and the server both change.

    The value is no property of the element for Vue: it would put the server's value back at every
    change anywhere on the page, under the hands of one who types or drags.

    Parameters
    ----------
    attributes : str
        As for NiceGUI's ``props``.
    """

    def __init__(self, attributes: str) -> None:
        self.element = ui.element("input").props(attributes)
        self._known: str | None = None

    def told(self, value: object) -> None:
        """The browser has told its value."""
        self._known = str(value)

    def show(self, value: str) -> None:
        """Let it show a value, unless it does."""
        if self._known is None:
            # An attribute of the markup, by the caret: only the value to begin with.
            self.element.props["^value"] = value
        elif self._known != value:
            field = f"getHtmlElement({self.element.id})"
            ui.run_javascript(f"{field}.value = {json.dumps(value)}")
        self._known = value
