"""Small helpers over NiceGUI: elements of text, and changes that are sent only if there are any."""

from __future__ import annotations

import html
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
