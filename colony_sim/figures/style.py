"""How the figures look: size, type, colours, and how they are written to files.

One figure fills one slide of 13.33 x 7.5 in. A stage has its colour (`drawing.palette`); policies
have none: they are told by marker, dashes and place.
"""

from __future__ import annotations

import os
import re
import textwrap
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure, SubFigure
from matplotlib.font_manager import FontProperties, findfont, fontManager, get_font
from matplotlib.ft2font import LoadFlags
from matplotlib.ticker import MaxNLocator
from matplotlib.typing import LineStyleType

from colony_sim.atomic import new_file
from colony_sim.drawing import palette, typeface
from colony_sim.words.labels import shortened

WIDTH, HEIGHT, DPI = 40 / 3, 7.5, 150
"""Size of a figure (in) and dots per inch of the PNG."""
BODY, HEAD, TITLE, FOOT = 16.0, 18.0, 26.0, 12.0
"""Type sizes (points): all text, panel headings, the largest title, the footer."""
LEAST_TITLE = 22.0
FONTS = [typeface.NAME, "DejaVu Sans", "sans-serif"]
"""What the typeface of the package has no sign for comes from the next."""
for _bold in (False, True):
    fontManager.addfont(typeface.path(_bold))
INK, QUIET, FAINT, SHADE = palette.INK, palette.QUIET, palette.FAINT, palette.RULE
POLICY, OTHER = palette.POLICY, "#87949b"
"""Marks and lines of every policy; of what is told from the main thing on a figure."""
MARKERS = ("o", "s", "D", "^", "v", "P", "X")
SIGNS = "●■◆▲▼✚✖"
"""The markers as they are written."""
DASHES: tuple[LineStyleType, ...] = (
    "-", (0, (5, 2)), (0, (1.5, 1.2)), (0, (7, 2, 1.5, 2)), (0, (3, 1.2)),
)  # fmt: skip
"""Lines of policies that cross each other."""
LOSSES = {"age": "#d3d8db", "background": "#8b979e", "handling": "#333d43"}
"""Shades of one hue, light to dark, for the causes of adult losses."""
SHADES = LinearSegmentedColormap.from_list("shades", ["#f3f0ea", "#a9b1b4", "#2a3338"])
"""Numbers as shades, low is light: prints without colour and has no colour of a stage."""
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
            "font.family": FONTS,
            "font.size": BODY, "text.parse_math": False, "text.color": INK,
            "axes.labelcolor": INK, "axes.labelsize": BODY,
            "axes.edgecolor": QUIET, "axes.linewidth": 1.0, "axes.spines.top": False,
            "axes.spines.right": False, "axes.spines.left": False, "axes.axisbelow": True,
            "xtick.color": INK, "ytick.color": INK, "xtick.labelsize": BODY,
            "ytick.labelsize": BODY, "xtick.major.size": 5, "ytick.major.size": 0,
            "xtick.major.pad": 6.5,
            "legend.fontsize": BODY, "legend.frameon": False,
            "svg.fonttype": "none", "svg.hashsalt": "colony_sim", "pdf.fonttype": 42,
        })  # fmt: skip
        yield


def marker(index: int) -> str:
    """Marker of the policy with this place in the table."""
    return MARKERS[index % len(MARKERS)]


def sign(index: int) -> str:
    """The marker of the policy as a character."""
    return SIGNS[index % len(SIGNS)]


def dash(index: int) -> LineStyleType:
    """Dashes of the policy with this place in the table."""
    return DASHES[index % len(DASHES)]


def new_figure() -> Figure:
    """An empty slide, drawn by Agg without pyplot, so that no window or global figure is made."""
    figure = Figure(figsize=(WIDTH, HEIGHT), facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def save(figure: Figure, folder: Path, name: str) -> list[Path]:
    """Write PNG and SVG (text as text); the same figure always gives the same bytes."""
    png, svg = folder / f"{name}.png", folder / f"{name}.svg"
    with new_file(png) as file:
        figure.savefig(file, format="png", dpi=DPI, metadata={"Software": None})
    with new_file(svg) as file:
        figure.savefig(file, format="svg", metadata={"Date": None, "Creator": None})
    return [png, svg]


def text_width(figure: Figure | SubFigure, text: str, size: float, weight: str = "normal") -> float:
    """Width (in) of a text, of its longest line, on a figure of `new_figure`."""
    return max(line_width(line, size, weight) for line in text.split("\n"))


def line_width(text: str, size: float, weight: str = "normal") -> float:
    """Width (in) of a line, as the sum of the advances of its letters."""
    return sum(_advance(letter, weight) for letter in text) * size / 72


@lru_cache(maxsize=4_000)  # Fitting a title measures the same letters again and again.
def _advance(letter: str, weight: str) -> float:
    """Width of a letter at a type size of 1, in the first of `FONTS` that has it."""
    for name in FONTS[:2]:
        font = get_font(findfont(FontProperties(family=name, weight=weight)))
        glyph = font.get_char_index(ord(letter))
        if glyph:
            font.set_size(1000, 72)
            # 16.16 numbers.
            return font.load_glyph(glyph, LoadFlags.NO_HINTING).linearHoriAdvance / 65536 / 1000
    return 0.6


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
    figure.text(0.4 / WIDTH, 1 - 0.35 / HEIGHT, text, size=size, weight="bold", va="top",
                linespacing=0.96)  # fmt: skip
    return HEIGHT - 0.35 - (text.count("\n") + 1) * size * 1.25 / 72


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


def from_zero(panel: Axes) -> None:
    """Let the x axis of amounts begin at 0, so that lengths compare."""
    low, high = panel.get_xlim()
    panel.set_xlim(min(0.0, low) if low < 0.0 else -0.02 * high, high)


def mark_break(panel: Axes) -> None:
    """Two strokes at the foot of a y axis that does not begin at 0."""
    low, high = panel.get_ylim()
    if not low > 0.0 or not high > low:
        return
    place = panel.get_position()
    width, height = 72 * WIDTH * place.width, 72 * HEIGHT * place.height
    for up in (0.0, 5.0):
        panel.plot([-6 / width, 6 / width], [(up + 8) / height, (up + 13) / height], color=INK,
                   linewidth=1.8, transform=panel.transAxes, clip_on=False, zorder=5)  # fmt: skip


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
