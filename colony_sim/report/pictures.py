"""Figures as text that a page can hold: each sharp, in the smaller of two forms."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass

import matplotlib

from colony_sim.figures import style
from colony_sim.figures.slide import Slide


@dataclass(frozen=True)
class Picture:
    """A figure as a data address, with its size in CSS pixels."""

    address: str
    width: int
    height: int


def picture(slide: Slide) -> Picture:
    """Draw a slide: as SVG with its letters as outlines or, where that is larger, as PNG.

    A phone has not the typeface of the figures; outlines look the same everywhere.
    """
    with style.theme():
        matplotlib.rcParams["svg.fonttype"] = "path"
        figure = slide.paint()
        svg, png = io.BytesIO(), io.BytesIO()
        figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
        figure.savefig(png, format="png", dpi=style.DPI, metadata={"Software": None})
        width, height = (round(96 * inches) for inches in figure.get_size_inches())
    kind, data = min(
        (("svg+xml", svg.getvalue()), ("png", png.getvalue())), key=lambda form: len(form[1])
    )
    text = base64.b64encode(data).decode("ascii")
    return Picture(f"data:image/{kind};base64,{text}", width, height)
