"""What every slide must be: readable, and the picture that is kept of it.

Kept pictures are in ``tests/golden/figures``: small ones, without the type, which FreeType draws a
little differently from version to version (other tests read the words). After a change that is
meant, and after looking at the slides, renew them with::

    COLONY_SIM_PICTURES=renew python -m pytest -n 0 -k picture
"""

from __future__ import annotations

import os
from itertools import combinations
from pathlib import Path

import matplotlib
from matplotlib.testing.compare import compare_images
from test_figures import texts

from colony_sim.figures import style
from colony_sim.figures.slide import Slide

KEPT = Path(__file__).with_name("golden") / "figures"
DOTS, LIMIT = 40, 0.7
"""Dots per inch of the kept pictures, and the largest root mean square of grey levels (0 to 255)
by which a picture may be off. Measured on the sweeps here: 0 with glyphs hinted differently, 1.3 or
more with one mark moved by a seventh of the scale or one set of dots gone."""


def drawn(slide: Slide) -> matplotlib.figure.Figure:
    """The figure of a slide, as it is written."""
    figure = slide.figure()
    with style.theme():
        figure.canvas.draw()
    return figure


def readable(slide: Slide, least: float = style.BODY) -> matplotlib.figure.Figure:
    """Type of `least` points and more but for the foot, nothing cut, nothing upon another.

    Numbers in cells of a map and headings of narrow panels may be smaller, 12 points and more.
    Returns the figure.
    """
    figure = drawn(slide)
    found = texts(figure)
    fitted = {id(t) for axes in figure.axes for t in [*axes.texts, axes.title, axes._left_title]}
    for text in found:
        size = text.get_fontsize()
        small = size == style.FOOT and text.get_color() == style.QUIET
        assert small or size >= (12 if id(text) in fitted else least), (text.get_text(), size)
    boxes = [(t.get_text(), t.get_window_extent()) for t in found]
    wide, high = figure.bbox.width, figure.bbox.height
    for text, box in boxes:
        assert box.x0 > 0 and box.y0 > 0 and box.x1 < wide and box.y1 < high, text
    for (one, a), (other, b) in combinations(boxes, 2):
        across, up = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        # Boxes hold room for descenders, so a sliver of shared height is no overlap.
        assert across <= 1 or up <= 0.17 * style.BODY / 72 * figure.dpi, (one, other)
    title = max(found, key=lambda t: t.get_window_extent().y1).get_text()
    assert " ".join(title.split()) == " ".join(slide.title.split())
    assert slide.say.startswith(slide.title) and slide.caveat and slide.alt and slide.runs
    return figure


def as_kept(slide: Slide, name: str, folder: Path) -> None:
    """The picture of a slide is the one that is kept under this name."""
    with style.theme():
        figure = slide.figure()
        for text in figure.findobj(matplotlib.text.Text):
            text.set_visible(False)
        new = folder / f"{name}.png"
        figure.savefig(new, dpi=DOTS, metadata={"Software": None})
    kept = KEPT / f"{name}.png"
    if os.environ.get("COLONY_SIM_PICTURES") == "renew":
        KEPT.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(new.read_bytes())
    told = compare_images(str(kept), str(new), tol=LIMIT)
    assert told is None, told
