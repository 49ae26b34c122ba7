"""Figures as text that a page can hold: each sharp, in the smaller of two forms."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import matplotlib
from matplotlib.figure import Figure
from PIL import Image

from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.running.beside import handed_over
from colony_sim.running.protocol import Executor

LARGE = 120_000
"""Bytes of an SVG above which a PNG is tried; the figures take about as much as PNG."""


@dataclass(frozen=True)
class Picture:
    """A figure as a data address, with its size in CSS pixels."""

    address: str
    width: int
    height: int


def pictures(slides: Sequence[Slide], executor: Executor | None = None) -> list[Picture]:
    """Draw slides: as SVG with letters as outlines or, where that is smaller, as PNG.

    A phone has not the typeface of the figures; outlines look the same everywhere. An executor
    makes PNG of what is drawn while the next is drawn.
    """
    coming = []
    with style.theme():
        matplotlib.rcParams["svg.fonttype"] = "path"
        for slide in slides:
            figure = slide.paint()
            width, height = (round(96 * inches) for inches in figure.get_size_inches())
            drawn = _saved(figure, format="svg", metadata={"Date": None})
            png = None
            if len(drawn) > LARGE:
                png = handed_over(partial(_as_png, *_pixels(figure)), executor)
            coming.append((drawn, png, width, height))
    return [_smaller(svg, png() if png else svg, *size) for svg, png, *size in coming]


def _smaller(svg: bytes, png: bytes, width: int, height: int) -> Picture:
    kind, data = ("png", png) if len(png) < len(svg) else ("svg+xml", svg)
    text = base64.b64encode(data).decode("ascii")
    return Picture(f"data:image/{kind};base64,{text}", width, height)


def _pixels(figure: Figure) -> tuple[bytes, int, int]:
    """Red, green and blue of every pixel, and how many there are across and down."""
    file = io.BytesIO()
    figure.savefig(file, format="rgba", dpi=style.DPI)
    wide, high = (int(style.DPI * inches) for inches in figure.get_size_inches())
    drawn = Image.frombytes("RGBA", (wide, high), file.getvalue()).convert("RGB")
    return drawn.tobytes(), wide, high


def _as_png(pixels: bytes, wide: int, high: int) -> bytes:
    """PNG with 256 colours, which flat areas do with; a third of the bytes."""
    file = io.BytesIO()
    drawn = Image.frombytes("RGB", (wide, high), pixels)
    few = drawn.quantize(256, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    few.save(file, format="PNG", optimize=True)
    return file.getvalue()


def _saved(figure: Figure, **options: Any) -> bytes:
    file = io.BytesIO()
    figure.savefig(file, **options)
    return file.getvalue()
