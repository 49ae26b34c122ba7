"""The talk as one page that any browser shows full screen, with the notes in a second window."""

from __future__ import annotations

import base64
import json
import os
import sys
import webbrowser
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path

from jinja2 import Environment
from markupsafe import Markup

from colony_sim.atomic import put_text
from colony_sim.drawing import typeface
from colony_sim.figures.slide import Slide


def write(path: Path, title: str, slides: Sequence[tuple[str, Slide]]) -> None:
    """Write the page; the pictures beside it, by stem, are put into it, so it needs nothing else.

    Parameters
    ----------
    path : Path
    title : str
    slides : sequence of (str, Slide)
        Stem of the picture of each slide, and the slide.
    """
    here = files("colony_sim.talk")
    page = Environment(autoescape=True).from_string(
        here.joinpath("present.html").read_text("utf-8")
    )
    told = [
        {"title": slide.title, "say": slide.say, "caveat": slide.caveat, "alt": slide.alt,
         "talk": slide.talk}
        for _, slide in slides
    ]  # fmt: skip
    text = page.render(
        title=title,
        css=Markup(typeface.css()),
        family=Markup(typeface.STACK),
        slides=[
            {"title": slide.title, "alt": slide.alt,
             "picture": base64.b64encode((path.parent / f"{stem}.png").read_bytes()).decode()}
            for stem, slide in slides
        ],
        # No character of it can end the script element.
        told=Markup(json.dumps(told, ensure_ascii=False).replace("<", "\\u003c")),
        script=Markup(here.joinpath("present.js").read_text("utf-8")),
    )  # fmt: skip
    put_text(path, text)


def has_display() -> bool:
    """Whether a browser could be seen by somebody."""
    if sys.platform.startswith(("win", "darwin")):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def present(path: Path) -> bool:
    """Open the page in the browser; whether that could be done."""
    return has_display() and webbrowser.open(path.resolve().as_uri())
