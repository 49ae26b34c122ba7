"""The talk as a PowerPoint file: a picture a slide, its title as text, the notes in their place."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from datetime import datetime
from io import BytesIO
from pathlib import Path
from types import ModuleType

from colony_sim.atomic import new_file
from colony_sim.extras import require
from colony_sim.figures import style
from colony_sim.figures.slide import Slide

_MADE = datetime(2000, 1, 1)
"""In place of the time of writing, so that the same slides give the same bytes."""
_TITLE_ONLY = 5
"""Place of the layout with a title alone in the template of python-pptx."""


def library() -> ModuleType:
    """The package that writes it.

    Raises
    ------
    MissingExtra
        If python-pptx is not installed.
    """
    return require("pptx", "python-pptx>=1.0", "talk")


def write(path: Path, title: str, slides: Sequence[tuple[str, Slide]]) -> None:
    """Write the file from the pictures beside it, by stem.

    Raises
    ------
    MissingExtra
        If python-pptx is not installed.
    """
    deck = library().Presentation()
    inch = 914400
    deck.slide_width, deck.slide_height = round(style.WIDTH * inch), round(style.HEIGHT * inch)
    for stem, slide in slides:
        page = deck.slides.add_slide(deck.slide_layouts[_TITLE_ONLY])
        # Behind the picture, which shows it too: for the outline and for screen readers.
        head = page.shapes.title
        head.left, head.top, head.width, head.height = inch // 2, inch // 3, 12 * inch, inch
        head.text_frame.text = slide.title
        picture = page.shapes.add_picture(
            str(path.parent / f"{stem}.png"), 0, 0, deck.slide_width, deck.slide_height
        )
        picture.name = stem
        picture._element.nvPicPr.cNvPr.set("descr", slide.alt)
        page.notes_slide.notes_text_frame.text = "\n\n".join(
            [slide.say, f"But: {slide.caveat}", f"In the picture: {slide.alt}"]
        )
    about = deck.core_properties
    about.title, about.author, about.last_modified_by = title, "colony_sim", "colony_sim"
    about.created = about.modified = _MADE
    about.revision = 1
    packed = BytesIO()
    deck.save(packed)
    with new_file(path) as file:
        file.write(_dateless(packed))


def _dateless(packed: BytesIO) -> bytes:
    """The archive with one date for all its parts."""
    out = BytesIO()
    with zipfile.ZipFile(packed) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for item in old.infolist():
            entry = zipfile.ZipInfo(item.filename, _MADE.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, old.read(item.filename))
    return out.getvalue()
