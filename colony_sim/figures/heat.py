"""Heat maps of numbers over two keys, as break-even maps and sweeps show them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.collections import Collection
from matplotlib.colors import Colormap, FuncNorm, Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from colony_sim.figures import style
from colony_sim.words.estimate import dashed

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ABOVE, BELOW = "#545f65", "#d8d8d5"
"""Shades of the two sides of a difference, for legends: dark is above 0."""
HATCH = "///"
LEAST = 12.0
"""Least type size (points) of the numbers in the cells; smaller ones are left out."""


def tiles(
    axes: Axes,
    values: np.ndarray,
    norm: Normalize,
    colours: Colormap = style.SHADES,
    hatched: np.ndarray | None = None,
    words: Callable[[int, int], str] = lambda i, j: "",
) -> Collection:
    """Draw an array of shape (y, x), the first row lowest; returns the mesh, for a colour bar.

    Parameters
    ----------
    axes : Axes
        Its size must be final.
    values : array
        NaN: the cell stays white.
    norm : Normalize
    colours : Colormap
    hatched : array of bool, optional
        Cells to hatch.
    words : callable
        Text of a cell by row and column; all are left out if one has no room.
    """
    import seaborn as sns

    rows, columns = values.shape
    sns.heatmap(values, ax=axes, cmap=colours, norm=norm, cbar=False, xticklabels=False,
                yticklabels=False)  # fmt: skip
    axes.invert_yaxis()
    mesh = axes.collections[0]
    hatched = np.zeros(values.shape, dtype=bool) if hatched is None else hatched
    for i, j in np.argwhere(hatched):
        axes.add_patch(Rectangle((j, i), 1, 1, fill=False, hatch=HATCH, edgecolor=style.QUIET,
                                 linewidth=0))  # fmt: skip
    texts = {(i, j): words(i, j) for i in range(rows) for j in range(columns)}
    size = _size(axes, [text for text in texts.values() if text], columns, rows)
    for (i, j), text in texts.items():
        if text and size:
            pale = hatched[i, j] or not math.isfinite(values[i, j])
            rgb = np.array(mesh.cmap(norm(values[i, j])))[:3]
            dark = not pale and float(rgb @ [0.299, 0.587, 0.114]) < 0.5
            box = {"facecolor": "white", "edgecolor": "none", "pad": 1.2} if hatched[i, j] else None
            axes.text(j + 0.5, i + 0.5, text, ha="center", va="center", size=size, bbox=box,
                      color="white" if dark else style.INK, zorder=4)  # fmt: skip
    return mesh


def _size(axes: Axes, texts: Sequence[str], columns: int, rows: int) -> float:
    """Type size at which every text fits its cell; 0 if it would be too small."""
    if not texts:
        return 0.0
    box = axes.get_window_extent()
    wide, high = (side / axes.figure.dpi for side in (box.width / columns, box.height / rows))
    widest = max(style.text_width(axes.figure, text, style.BODY) for text in texts)
    size = min(style.BODY, 0.86 * style.BODY * wide / widest, 0.7 * 72 * high)
    return size if size >= LEAST else 0.0


def ticks(axes: Axes, x: Sequence[str], y: Sequence[str]) -> None:
    """Values of the keys at the middles of the cells, some left out where there are many."""
    box = axes.get_window_extent()
    widest = max(style.text_width(axes.figure, text, style.BODY) for text in x) + 0.12
    for shown, which, side, need in (
        (x, axes.xaxis, box.width, widest),
        (y, axes.yaxis, box.height, 1.3 * style.BODY / 72),
    ):
        step = math.ceil(need / (side / axes.figure.dpi / len(shown)))
        places = range(0, len(shown), step)
        which.set_ticks([p + 0.5 for p in places], labels=[shown[p] for p in places])
    axes.tick_params(length=0, rotation=0)
    axes.spines[:].set_visible(False)


def frame(axes: Axes, column: int, row: int) -> None:
    """Frame one cell."""
    axes.add_patch(Rectangle((column, row), 1, 1, fill=False, edgecolor=style.INK, linewidth=3,
                             zorder=5))  # fmt: skip


def difference_norm(values: np.ndarray) -> tuple[FuncNorm, float]:
    """Colours alike on both sides of 0 and where they end; a root scale keeps small ones apart."""
    most = float(np.nanmax(np.abs(values))) if np.isfinite(values).any() else 1.0
    most = most or 1.0
    return FuncNorm((_root, _square), vmin=-most, vmax=most), most


def difference_bar(figure: Figure, mesh: Collection, axes: Axes, most: float) -> None:
    """Colour bar of differences with a few round ticks."""
    bar = figure.colorbar(mesh, cax=axes)
    bar.outline.set_visible(False)
    high = axes.get_window_extent().height / figure.dpi
    shares = (1, 0.4, 0.1, 0) if high > 2.2 else (1, 0.25, 0)
    at = sorted({sign * _tidy(most * share) for sign in (-1, 1) for share in shares})
    bar.set_ticks(at, labels=[dashed(f"{tick:+g}" if tick else "0") for tick in at])
    axes.tick_params(length=0)


def signed(most: float) -> Callable[[float], str]:
    """How differences are written in cells, the largest of which is `most` in size."""
    places = 2 if most >= 0.1 or most <= 0 else 1 - math.floor(math.log10(most))

    def text(value: float) -> str:
        shown = f"{value:+.1f}" if abs(value) >= 10 else f"{value:+.{places}f}"
        return dashed("0" if float(shown) == 0 else shown)

    return text


def _root(value: np.ndarray) -> np.ndarray:
    return np.sign(value) * np.sqrt(np.abs(value))


def _square(value: np.ndarray) -> np.ndarray:
    return np.sign(value) * np.square(value)


def _tidy(value: float) -> float:
    """The value cut down to one significant digit."""
    if value <= 0:
        return 0.0
    size = 10.0 ** math.floor(math.log10(value))
    return math.floor(value / size + 1e-9) * size
