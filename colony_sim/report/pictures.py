"""Figures as text that a page can hold: each sharp, in the smaller of two forms."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from typing import Any

import matplotlib
from matplotlib.figure import Figure
from PIL import Image

from colony_sim.figures import style
from colony_sim.figures.slide import Slide

LARGE = 120_000
"""Bytes of an SVG above which a PNG is tried; the figures take about as much as PNG."""


@dataclass(frozen=True)
class Picture:
    """A figure as a data address, with its size in CSS pixels."""

    address: str
    width: int
    height: int


def picture(slide: Slide) -> Picture:
    """Draw a slide: as SVG with its letters as outlines or, where that is smaller, as PNG.

    A phone has not the typeface of the figures; outlines look the same everywhere.
    """
    with style.theme():
        matplotlib.rcParams["svg.fonttype"] = "path"
        figure = slide.paint()
        width, height = (round(96 * inches) for inches in figure.get_size_inches())
        kind, data = "svg+xml", _saved(figure, format="svg", metadata={"Date": None})
        if len(data) > LARGE:
            png = _fewer(_saved(figure, format="png", dpi=style.DPI, metadata={"Software": None}))
            kind, data = ("png", png) if len(png) < len(data) else (kind, data)
    text = base64.b64encode(data).decode("ascii")
    return Picture(f"data:image/{kind};base64,{text}", width, height)


def _fewer(png: bytes) -> bytes:
    """The same with 256 colours, which flat areas do with; a third of the bytes."""
    file = io.BytesIO()
    drawn = Image.open(io.BytesIO(png)).convert("RGB")
    few = drawn.quantize(256, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    few.save(file, format="PNG", optimize=True)
    return file.getvalue()


def _saved(figure: Figure, **options: Any) -> bytes:
    file = io.BytesIO()
    figure.savefig(file, **options)
    return file.getvalue()
