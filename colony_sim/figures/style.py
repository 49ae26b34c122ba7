"""How the figures look: size, type, colours, and how they are written to files.

One figure fills one slide of 13.33 x 7.5 in. Colours keep apart for readers with normal sight,
deuteranopia and protanopia (least CIELAB distance 40) and stand out from white by 3 : 1 or more;
beyond five policies they come again with another marker.
"""

from __future__ import annotations

import os
import re
import textwrap
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure, SubFigure
from matplotlib.font_manager import FontProperties, fontManager
from matplotlib.ticker import MaxNLocator
from matplotlib.typing import LineStyleType

from colony_sim.drawing import palette, typeface
from colony_sim.words.labels import shortened

WIDTH, HEIGHT, DPI = 40 / 3, 7.5, 150
"""Size of a figure (in) and dots per inch of the PNG."""
BODY, HEAD, TITLE, FOOT = 16.0, 18.0, 26.0, 12.0
"""Type sizes (points): all text, panel headings, the largest title, the footer."""
LEAST_TITLE = 22.0
FONTS = [typeface.NAME, "DejaVu Sans", "Verdana", "sans-serif"]
"""What the typeface of the package has no sign for comes from the next."""
for _bold in (False, True):
    fontManager.addfont(typeface.path(_bold))
INK, QUIET, FAINT, SHADE = palette.INK, palette.QUIET, palette.FAINT, palette.RULE
PALETTE = ("#14508c", "#e06010", "#4aa08f", "#3d0c1a", "#3a35d8")
MARKERS = ("o", "s", "D", "^", "v", "P", "X")
LOSSES = {"age": "#cfd6de", "background": "#8793a1", "handling": "#37424e"}
"""Shades of one hue, light to dark, for the causes of adult losses."""
STAGES: dict[str, tuple[str, LineStyleType]] = {
    "eggs": (palette.STAGES["eggs"], (0, (5, 2))),
    "larvae": (palette.STAGES["larvae"], "-"),
    "pupae": (palette.STAGES["pupae"], (0, (1.5, 1.2))),
    "adults": (palette.STAGES["adults"], (0, (7, 2, 1.5, 2))),
}
"""Colour and dashes of each stage."""


@contextmanager
def theme() -> Iterator[None]:
    """Matplotlib settings of the figures; the reader's own come back afterwards."""
    with matplotlib.rc_context():
        # From the defaults, so that a figure does not depend on a personal matplotlibrc.
        matplotlib.rcdefaults()
        matplotlib.rcParams.update({
            "font.family": ["sans-serif"],
            "font.sans-serif": FONTS,
            "font.size": BODY, "text.parse_math": False, "text.color": INK,
            "axes.labelcolor": INK, "axes.labelsize": BODY,
            "axes.edgecolor": QUIET, "axes.linewidth": 1.0, "axes.spines.top": False,
            "axes.spines.right": False, "axes.spines.left": False, "axes.axisbelow": True,
            "xtick.color": INK, "ytick.color": INK, "xtick.labelsize": BODY,
            "ytick.labelsize": BODY, "xtick.major.size": 5, "ytick.major.size": 0,
            "legend.fontsize": BODY, "legend.frameon": False,
            "svg.fonttype": "none", "svg.hashsalt": "colony_sim", "pdf.fonttype": 42,
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


def text_width(figure: Figure | SubFigure, text: str, size: float, weight: str = "normal") -> float:
    """Width (in) of a text, of its longest line, on a figure of `new_figure`."""
    return max(_width(line, size, weight) for line in text.split("\n"))


@lru_cache(maxsize=20_000)
def _width(text: str, size: float, weight: str) -> float:
    # Fitting a title measures the same words again and again.
    renderer = _renderer()
    font = FontProperties(family=FONTS[0], size=size, weight=weight)
    with matplotlib.rc_context({"text.hinting": matplotlib.rcParamsDefault["text.hinting"]}):
        return renderer.get_text_width_height_descent(text, font, False)[0] / renderer.dpi


@lru_cache(maxsize=1)
def _renderer() -> Any:
    return FigureCanvasAgg(Figure(dpi=100)).get_renderer()


def labels(names: Sequence[str], lines: int, width: int = 18) -> list[str]:
    """The names on one line of `width` characters each or, if `lines` is 2, on two; all differ."""
    found = [_label(name, lines, width) for name in names]
    if len(set(found)) < len(names):
        # What they all begin with tells nothing.
        same = len(os.path.commonprefix(list(names)).rpartition(" ")[0])
        found = [_label(f"…{name[same:]}", lines, width) for name in names]
    if len(set(found)) < len(names):
        found = [_label(f"{i}: {name}", lines, width) for i, name in enumerate(names, start=1)]
    return found


def _label(name: str, lines: int, width: int) -> str:
    for most in range(lines * width, 0, -1):
        broken = textwrap.wrap(shortened(name, most), width)
        if len(broken) <= lines:
            break
    return "\n".join(broken)


def fitted(figure: Figure, text: str, width: float, most: int) -> tuple[str, float] | None:
    """The title broken into as few lines as go into `width` (in), and its size; None: too long.

    One line at 26 points is tried first, then down to 22 points, then the next line. Breaks
    after a colon or semicolon are best.
    """
    ends = [found.end() for found in re.finditer(r"[:;] ", text)]
    for count in range(1, most + 1):
        for size in (TITLE, 24.0, LEAST_TITLE):
            lines = _broken(figure, [text], width, size)
            if len(lines) > count:
                continue
            for cuts in (ends, ends[-1:], ends[:1]):
                edges = [0, *cuts, len(text)]
                parts = [text[a:b].strip() for a, b in zip(edges, edges[1:], strict=False)]
                better = _broken(figure, parts, width, size)
                if 1 < len(better) == count:
                    return "\n".join(better), size
            return "\n".join(lines), size
    return None


def _broken(figure: Figure, parts: list[str], width: float, size: float) -> list[str]:
    lines: list[str] = []
    for part in parts:
        lines.append("")
        for word in part.split(" "):
            longer = f"{lines[-1]} {word}".strip()
            if lines[-1] and text_width(figure, longer, size, "bold") > width:
                lines.append(word)
            else:
                lines[-1] = longer
    return lines


def headed(figure: Figure, text: str) -> float:
    """Write a finding as the slide's title, on as few lines as it takes; the height below (in)."""
    text, size = fitted(figure, text, WIDTH - 0.8, 12) or (text, LEAST_TITLE)
    figure.text(0.4 / WIDTH, 1 - 0.35 / HEIGHT, text, size=size, weight="bold", va="top")
    return HEIGHT - 0.35 - (text.count("\n") + 1) * size * 1.2 / 72


def axes(figure: Figure, left: float, low: float, width: float, height: float) -> Axes:
    """Axes at a place given in inches from the lower left corner."""
    return figure.add_axes((left / WIDTH, low / HEIGHT, width / WIDTH, height / HEIGHT))


def heading(panel: Axes, letter: str, text: str, below: str, across: float = 0.0) -> None:
    """Panel heading and, below it (or `across` in to its right), what is drawn how."""
    panel.annotate(
        f"{letter}  {text}",
        (0, 1),
        (0, 6 if across else 27),
        weight="bold",
        size=HEAD,
        xycoords="axes fraction",
        textcoords="offset points",
    )
    panel.annotate(
        below,
        (0, 1),
        (across * 72, 6),
        color=QUIET,
        xycoords="axes fraction",
        textcoords="offset points",
    )


def finish(panel: Axes, unit: str, any_value: bool) -> None:
    """Unit and a few ticks on the x axis; no scale where there is nothing to show."""
    panel.set_xlabel(unit)
    if any_value:
        panel.xaxis.set_major_locator(MaxNLocator(4))
        panel.margins(x=0.08)
    else:
        panel.set_xlim(-1, 1)
        panel.set_xticks([])
        # Where it would be below numbers.
        panel.xaxis.labelpad += 1.5 * BODY


def note(panel: Axes, x: float, y: float, text: str) -> None:
    """Words in a row, at `x` of the width of the panel."""
    panel.text(
        x, y, text, transform=panel.get_yaxis_transform(), va="center", color=QUIET, zorder=4
    )


def spread(values: np.ndarray, half: float = 0.11) -> np.ndarray:
    """Offsets that keep close values apart, the same each time."""
    span = float(np.ptp(values)) if len(values) else 0.0
    cell = np.floor((values - values.min()) / span * 24) if span > 0 else np.zeros(len(values))
    place = pd.Series(values).groupby(cell).cumcount().to_numpy()
    step = min(0.07, 2 * half / max(int(place.max(initial=0)), 1))
    return np.where(place % 2, 1, -1) * ((place + 1) // 2) * step


def groups(names: Sequence[str], most: int) -> list[list[str]]:
    """The names in order, in as few groups of at most `most` as there can be, evenly filled."""
    count = -(-len(names) // most)
    sizes = [len(part) for part in np.array_split(np.arange(len(names)), count)]
    edges = np.cumsum([0, *sizes])
    return [list(names[a:b]) for a, b in zip(edges, edges[1:], strict=False)]


def row_heading(panel: Axes, text: str) -> None:
    """A quiet heading above the left end of a panel."""
    panel.annotate(text, (0, 1), (0, 5), color=QUIET, xycoords="axes fraction",
                   textcoords="offset points")  # fmt: skip


def either(values: Collection[int]) -> str:
    """Least and greatest of some whole numbers, such as "21- or 28" before "-day means"."""
    return "- or ".join(str(value) for value in sorted({min(values), max(values)}))
