"""How the figures look: size, type, colours, and how they are written to files.

One figure fills one slide of 13.33 x 7.5 in. Colours keep apart for readers with normal sight,
deuteranopia and protanopia (least CIELAB distance 40) and stand out from white by 3 : 1 or more;
beyond five policies they come again with another marker.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import matplotlib
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

WIDTH, HEIGHT, DPI = 40 / 3, 7.5, 150
"""Size of a figure (in) and dots per inch of the PNG."""
BODY, HEAD, TITLE, FOOT = 16.0, 18.0, 26.0, 12.0
"""Type sizes (points): all text, panel headings, the largest title, the footer."""
LEAST_TITLE = 22.0
INK, QUIET, FAINT, SHADE = "#1a1a1a", "#575757", "#b4b4b4", "#e4e4e4"
PALETTE = ("#14508c", "#e06010", "#4aa08f", "#3d0c1a", "#3a35d8")
MARKERS = ("o", "s", "D", "^", "v", "P", "X")
LOSSES = {"age": "#cfd6de", "background": "#8793a1", "handling": "#37424e"}
"""Shades of one hue, light to dark, for the causes of adult losses."""


@contextmanager
def theme() -> Iterator[None]:
    """Matplotlib settings of the figures; the reader's own come back afterwards."""
    with matplotlib.rc_context():
        # From the defaults, so that a figure does not depend on a personal matplotlibrc.
        matplotlib.rcdefaults()
        matplotlib.rcParams.update({
            "font.family": ["DejaVu Sans"], "font.size": BODY, "text.parse_math": False,
            "text.color": INK, "axes.labelcolor": INK, "axes.labelsize": BODY,
            "axes.edgecolor": QUIET, "axes.linewidth": 1.0, "axes.spines.top": False,
            "axes.spines.right": False, "axes.spines.left": False, "axes.axisbelow": True,
            "xtick.color": INK, "ytick.color": INK, "xtick.labelsize": BODY,
            "ytick.labelsize": BODY, "xtick.major.size": 5, "ytick.major.size": 0,
            "legend.fontsize": BODY, "legend.frameon": False,
            "svg.fonttype": "none", "svg.hashsalt": "colony_sim",
        })  # fmt: skip
        yield


def colour(index: int) -> str:
    """Colour of the policy with this place in the table."""
    return PALETTE[index % len(PALETTE)]


def marker(index: int) -> str:
    """Marker of the policy with this place in the table."""
    return MARKERS[index % len(MARKERS)]


def new_figure() -> Figure:
    """An empty slide, drawn by Agg without pyplot, so that no window or global figure is made."""
    figure = Figure(figsize=(WIDTH, HEIGHT), facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def save(figure: Figure, folder: Path, name: str) -> list[Path]:
    """Write PNG and SVG (text as text); the same figure always gives the same bytes."""
    png, svg = folder / f"{name}.png", folder / f"{name}.svg"
    figure.savefig(png, dpi=DPI, metadata={"Software": None})
    figure.savefig(svg, metadata={"Date": None, "Creator": None})
    return [png, svg]


def text_width(figure: Figure, text: str, size: float, weight: str = "normal") -> float:
    """Width (in) of a line of text."""
    probe = figure.text(0, 0, text, size=size, weight=weight)
    width = probe.get_window_extent(figure.canvas.get_renderer()).width / figure.dpi
    probe.remove()
    return width


def shortened(name: str, most: int) -> str:
    """`name` in at most `most` characters; the middle goes, as names differ at the ends."""
    if len(name) <= most:
        return name
    tail = (most - 1) // 2
    return f"{name[: most - 1 - tail].rstrip()}…{name[-tail:].lstrip()}"


def label(name: str, width: int = 18) -> str:
    """`name` on one line of `width` characters, or on two."""
    lines = textwrap.wrap(name, width)
    if len(lines) > 2:
        lines = textwrap.wrap(shortened(name, 2 * width - 4), width)
    if len(lines) > 2:
        short = shortened(name, 2 * width)
        lines = [short[:width], short[width:]]
    return "\n".join(lines)


def fitted(figure: Figure, text: str, width: float, most: int) -> tuple[str, float] | None:
    """The title broken into as few lines as go into `width` (in), and its size; None: too long.

    One line at 26 points is tried first, then down to 22 points, then the next line. A break
    after a colon or semicolon is best.
    """
    halves = re.split(r"(?<=[:;]) ", text, maxsplit=1)
    for count in range(1, most + 1):
        for size in (TITLE, 24.0, LEAST_TITLE):
            lines = _broken(figure, text, width, size)
            if len(lines) > count:
                continue
            parts = [line for half in halves for line in _broken(figure, half, width, size)]
            return "\n".join(parts if 1 < len(parts) == len(lines) else lines), size
    return None


def _broken(figure: Figure, text: str, width: float, size: float) -> list[str]:
    lines = [""]
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width(figure, longer, size, "bold") > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines
