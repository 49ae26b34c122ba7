"""A drawn scene in a Matplotlib figure: the same outlines as in the SVG of pages."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.path import Path
from matplotlib.transforms import Affine2D

from colony_sim.drawing.glyphs import GLYPHS
from colony_sim.drawing.scene import Mark, Part, Place, Scene, Words
from colony_sim.figures import style

_CODES = {"M": (Path.MOVETO, 1), "L": (Path.LINETO, 1), "C": (Path.CURVE4, 3)}


@cache
def path_of(data: str) -> Path:
    """Path data of absolute ``M``, ``L``, ``C`` and ``Z`` commands as Matplotlib's path."""
    points: list[tuple[float, float]] = []
    codes: list[np.uint8] = []
    words = iter(data.split())
    for command in words:
        if command == "Z":
            points.append((0.0, 0.0))
            codes.append(Path.CLOSEPOLY)
            continue
        code, count = _CODES[command]
        for _ in range(count):
            points.append((float(next(words)), float(next(words))))
            codes.append(code)
    return Path(points, codes)


def paint(panel: Axes, scene: Scene) -> None:
    """Draw a scene so that it fills the axes without being stretched; the axes show nothing else.

    Lines and type keep their proportions to the drawing.
    """
    panel.set_xlim(0, scene.width)
    panel.set_ylim(scene.height, 0)
    panel.set_aspect("equal")
    panel.set_axis_off()
    page = panel.get_figure(root=True)
    assert page is not None
    place = panel.get_position()
    wide, high = page.get_size_inches()
    across, down = place.width * wide * 72, place.height * high * 72
    unit = min(across / scene.width, down / scene.height)
    parts = [
        (part, item.at)
        for item in scene.items
        if isinstance(item, Mark) and item.shown
        for part in GLYPHS[item.glyph]
    ]
    if parts:
        panel.add_collection(outlines(parts, unit), autolim=False)
    # Words stand on the fronts of bins, above all that is drawn.
    for item in scene.items:
        if isinstance(item, Words):
            panel.text(
                item.x, item.y, item.text, size=item.size * unit,
                weight="bold" if item.bold else "normal", color=item.colour or style.INK,
                ha={"start": "left", "middle": "center", "end": "right"}[item.anchor],
                va="baseline", zorder=3,
            )  # fmt: skip


def outlines(parts: Sequence[tuple[Part, Place]], unit: float) -> PathCollection:
    """All outlines in their order as one artist: a rack has thousands."""
    drawn = [part for part, _ in parts]
    return PathCollection(
        [turned(part, at) for part, at in parts],
        facecolors=["none" if part.fill == "none" else part.fill for part in drawn],
        edgecolors=["none" if part.stroke == "none" else part.stroke for part in drawn],
        linewidths=[part.width * unit if part.stroke != "none" else 0.0 for part in drawn],
        linestyles=[
            (0, tuple(x / max(part.width, 0.1) for x in part.dash)) if part.dash else "-"
            for part in drawn
        ],
        capstyle="round", joinstyle="round", zorder=2,
    )  # fmt: skip


def turned(part: Part, at: Place) -> Path:
    """The outline of a part of a sign where the sign is."""
    return path_of(part.path).transformed(
        Affine2D().scale(at.across, at.down).rotate_deg(at.turn).translate(at.x, at.y)
    )
