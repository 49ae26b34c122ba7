"""A drawn scene in a Matplotlib figure: the same outlines as in the SVG of pages."""

from __future__ import annotations

from functools import cache

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgba
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.transforms import Affine2D

from colony_sim.drawing.glyphs import GLYPHS
from colony_sim.drawing.scene import Part, Place, Scene, Words
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
    across, down = place.width * style.WIDTH * 72, place.height * style.HEIGHT * 72
    unit = min(across / scene.width, down / scene.height)
    for rank, item in enumerate(scene.items):
        if isinstance(item, Words):
            panel.text(
                item.x, item.y, item.text, size=item.size * unit,
                weight="bold" if item.bold else "normal", color=item.colour or style.INK,
                ha={"start": "left", "middle": "center", "end": "right"}[item.anchor],
                va="baseline", zorder=2 + rank / 1e4,
            )  # fmt: skip
            continue
        if item.shown:
            for part in GLYPHS[item.glyph]:
                panel.add_patch(patch(part, item.at, unit, 2 + rank / 1e4))


def patch(part: Part, at: Place, unit: float, above: float) -> PathPatch:
    """A part in its place; `unit` points of line to a unit of the drawing, `above` its rank."""
    turned = Affine2D().scale(at.across, at.down).rotate_deg(at.turn).translate(at.x, at.y)
    line = part.stroke != "none"
    return PathPatch(
        path_of(part.path).transformed(turned),
        facecolor=part.fill if part.fill != "none" else to_rgba("white", 0),
        edgecolor=part.stroke if line else "none",
        linewidth=part.width * unit if line else 0.0,
        linestyle=(0, tuple(x / max(part.width, 0.1) for x in part.dash)) if part.dash else "-",
        capstyle="round", joinstyle="round", zorder=above,
    )  # fmt: skip
