"""Drawn scenes as pixels, fast enough for a film: each sign is drawn once and then pasted."""

from __future__ import annotations

import math
import re
from functools import cache

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image, ImageDraw, ImageFont

from colony_sim.drawing import palette, typeface
from colony_sim.drawing.glyphs import GLYPHS
from colony_sim.drawing.scene import Place, Scene, Words
from colony_sim.figures.drawn import outlines

_ANCHOR = {"start": "ls", "middle": "ms", "end": "rs"}
#: Corners of the signs of policies in a square of side 1; the first is a disc.
_SIGNS = (
    None,
    ((0.06, 0.06), (0.94, 0.06), (0.94, 0.94), (0.06, 0.94)),
    ((0.5, 0), (1, 0.5), (0.5, 1), (0, 0.5)),
    ((0.5, 0), (1, 1), (0, 1)),
    ((0, 0), (1, 0), (0.5, 1)),
)
_FINER = 4


def paint(image: Image.Image, scene: Scene, x: float, y: float, unit: float) -> None:
    """Draw a scene with its upper left corner at (x, y), `unit` pixels to a unit of it.

    Signs go to whole pixels.
    """
    pen = ImageDraw.Draw(image)
    for item in scene.items:
        if isinstance(item, Words):
            write(
                pen, x + item.x * unit, y + item.y * unit, item.text, item.size * unit,
                bold=item.bold, anchor=item.anchor, colour=item.colour or palette.INK,
            )  # fmt: skip
        elif item.shown:
            at = item.at
            sprite, left, top = _sprite(item.glyph, at.across, at.down, at.turn, round(unit, 4))
            place = round(x + at.x * unit) + left, round(y + at.y * unit) + top
            image.paste(sprite, place, sprite)


def write(
    pen: ImageDraw.ImageDraw,
    x: float,
    base: float,
    text: str,
    size: float,
    *,
    bold: bool = False,
    anchor: str = "start",
    colour: str = palette.INK,
) -> None:
    """A line of text with its baseline at `base`; `size` in pixels."""
    pen.text((x, base), text, fill=colour, font=face(size, bold), anchor=_ANCHOR[anchor])


@cache
def face(size: float, bold: bool) -> ImageFont.FreeTypeFont:
    """The typeface at a size in pixels."""
    basic = ImageFont.Layout.BASIC  # The same whatever shapes text on a machine.
    return ImageFont.truetype(str(typeface.path(bold)), size, layout_engine=basic)


@cache
def sign(index: int, side: int) -> Image.Image:
    """The sign of the policy with this place, `side` pixels wide."""
    large = Image.new("L", (_FINER * side, _FINER * side))
    pen, corners = ImageDraw.Draw(large), _SIGNS[index % len(_SIGNS)]
    whole = _FINER * side - 1
    if corners is None:
        pen.ellipse((0, 0, whole, whole), fill=255)
    else:
        pen.polygon([(whole * x, whole * y) for x, y in corners], fill=255)
    found = Image.new("RGBA", (side, side), palette.POLICY)
    found.putalpha(large.resize((side, side), Image.Resampling.BOX))
    return found


@cache
def _sprite(
    glyph: str, across: float, down: float, turn: float, unit: float
) -> tuple[Image.Image, int, int]:
    """A sign as pixels, and where its upper left corner is from its own middle (pixels)."""
    low, high = _extent(glyph, across, down, turn)
    left, top = (math.floor(unit * value) - 1 for value in low)
    wide, tall = (
        math.ceil(unit * value) + 1 - start for value, start in zip(high, (left, top), strict=True)
    )
    # At 72 dots an inch a point is a pixel.
    figure = Figure(figsize=(wide / 72, tall / 72), dpi=72)
    canvas = FigureCanvasAgg(figure)
    figure.patch.set_visible(False)
    panel = figure.add_axes((0, 0, 1, 1))
    panel.set_axis_off()
    panel.set_xlim(left / unit, (left + wide) / unit)
    panel.set_ylim((top + tall) / unit, top / unit)
    at = Place(0, 0, across, down, turn)
    panel.add_collection(outlines([(part, at) for part in GLYPHS[glyph]], unit), autolim=False)
    canvas.draw()
    return Image.fromarray(np.asarray(canvas.buffer_rgba()).copy(), "RGBA"), left, top


def _extent(
    glyph: str, across: float, down: float, turn: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Corners of a frame that holds a sign in its place: control points hold their curves."""
    angle = math.radians(turn)
    xs, ys = [], []
    for part in GLYPHS[glyph]:
        values = [float(text) for text in re.findall(r"-?[\d.]+", part.path)]
        half = part.width / 2
        for px, py in zip(values[::2], values[1::2], strict=True):
            x, y = px * across, py * down
            turned = (
                x * math.cos(angle) - y * math.sin(angle),
                (x * math.sin(angle) + y * math.cos(angle)),
            )
            xs += [turned[0] - half, turned[0] + half]
            ys += [turned[1] - half, turned[1] + half]
    return (min(xs), min(ys)), (max(xs), max(ys))
