"""The figure of a break-even map: which policy is ahead where, over two keys."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import FuncNorm
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from colony_sim.biology.parameters import catalogue as parameter_catalogue
from colony_sim.experiment.breakeven import Axis, BreakEven, headline
from colony_sim.experiment.finding import dashed, shortened
from colony_sim.experiment.measures import catalogue
from colony_sim.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS = "PuOr"
"""Diverging, readable with deuteranopia and protanopia: orange the second ahead, violet the first.
"""
_LABELS = {
    "predation.adult_egg": "Egg hazard per beetle",
    "rotation.most_breeders_per_bin": "Beetles per bin, at most",
    "start.breeders": "Founder beetles",
    "start.larvae": "Founder larvae",
}


def draw(result: BreakEven, folder: Path, replicates_note: str = "") -> list[Path]:
    """Draw ``breakeven.png`` and ``breakeven.svg`` into a folder."""
    with style.theme():
        return style.save(figure(result, replicates_note), Path(folder), "breakeven")


def figure(result: BreakEven, replicates_note: str = "") -> Figure:
    """The map: colour for the difference, hatching where it is not separated from 0."""
    slide = style.new_figure()
    bottom = style.headed(slide, headline(result))
    axes = style.axes(slide, 2.0, 1.75, 7.35, bottom - 0.3 - 1.75)
    rows, columns = len(result.y.values), len(result.x.values)
    d = _grid(result, "difference")
    most = float(np.nanmax(np.abs(d))) or 1.0
    # A root scale keeps the small differences near the break-even line apart in colour.
    norm = FuncNorm((_root, _square), vmin=-most, vmax=most)
    mesh = axes.imshow(d, origin="lower", aspect="auto", cmap=COLOURS, norm=norm)
    better = _grid(result, "better")
    for i in range(rows):
        for j in range(columns):
            if better[i, j] == "not separated":
                axes.add_patch(Rectangle((j - 0.5, i - 0.5), 1, 1, fill=False, hatch="///",
                                         edgecolor=style.QUIET, linewidth=0))  # fmt: skip
            if math.isfinite(d[i, j]):
                dark = math.sqrt(abs(d[i, j]) / most) > 0.62 and better[i, j] != "not separated"
                axes.text(j, i, dashed(_short(d[i, j])), ha="center", va="center", size=11,
                          color="white" if dark else style.INK, zorder=4,
                          bbox=None if better[i, j] != "not separated" else
                          {"facecolor": "white", "edgecolor": "none", "pad": 1.2})  # fmt: skip
    if np.nanmin(d) < 0 < np.nanmax(d):
        axes.contour(np.arange(columns), np.arange(rows), np.nan_to_num(d), levels=[0],
                     colors=style.INK, linewidths=2.2)  # fmt: skip
    _default(axes, result)
    _ticks(axes, result)
    bar_axes = style.axes(slide, 9.65, 1.75, 0.25, bottom - 0.3 - 1.75)
    bar = slide.colorbar(mesh, cax=bar_axes)
    bar.outline.set_visible(False)
    ticks = sorted({sign * _tidy(most * share) for sign in (-1, 1) for share in (1, 0.4, 0.1, 0)})
    bar.set_ticks(ticks, labels=[dashed(f"{tick:+g}" if tick else "0") for tick in ticks])
    bar_axes.tick_params(length=0)
    _legend(slide, result, bottom)
    _footer(slide, result, replicates_note)
    return slide


def _legend(slide: Figure, result: BreakEven, top: float) -> None:
    measure = catalogue()[result.measure]
    left = 10.75
    text = f"{measure.label}, difference\n({measure.unit})"
    slide.text(left / style.WIDTH, (top - 0.3) / style.HEIGHT, text, va="top", weight="bold",
               size=14, linespacing=1.3)  # fmt: skip
    name = [shortened(policy, 20) for policy in (result.first, result.second)]
    better = measure.better == "more"
    handles = [
        Patch(facecolor="#7f6fae" if better else "#d8801b", label=f"{name[0]}\nis ahead"),
        Patch(facecolor="#d8801b" if better else "#7f6fae", label=f"{name[1]}\nis ahead"),
        Patch(facecolor="white", edgecolor=style.QUIET, hatch="///",
              label="not separated: 95 %\ninterval includes 0"),
    ]  # fmt: skip
    handles.append(Line2D([], [], color=style.INK, linewidth=2.2, label="mean difference 0"))
    handles.append(Patch(facecolor="none", edgecolor=style.INK, linewidth=3,
                         label="cell nearest to the\nexperiment file"))  # fmt: skip
    slide.legend(handles=handles, loc="upper left", fontsize=13, labelspacing=0.9,
                 bbox_to_anchor=((left - 0.12) / style.WIDTH, (top - 0.95) / style.HEIGHT),
                 borderpad=0)  # fmt: skip


def _footer(slide: Figure, result: BreakEven, extra: str) -> None:
    n = len(result.seeds)
    text = (
        f"{result.first} minus {result.second}, days {result.span.warm_up + 1} to "
        f"{result.span.days}, {n} seeds per cell, the same for both policies and all cells. "
        "Each cell's interval stands for itself. A statement about the model under its assumptions."
    )
    if extra:
        text = f"{text} {extra}"
    style.footed(slide, text)


def _default(axes: Axes, result: BreakEven) -> None:
    """Frame the cell of the experiment file's own values, if they are on the map."""
    spot = [_nearest(axis, value) for axis, value in zip((result.x, result.y), result.default,
                                                         strict=True)]  # fmt: skip
    if None not in spot:
        axes.add_patch(Rectangle((spot[0] - 0.5, spot[1] - 0.5), 1, 1, fill=False,
                                 edgecolor=style.INK, linewidth=3, zorder=5))  # fmt: skip


def _nearest(axis: Axis, value: float) -> int | None:
    values = np.array(axis.values, dtype=float)
    if not values[0] <= value <= values[-1]:
        return None
    return int(np.argmin(np.abs(values - value)))


def _ticks(axes: Axes, result: BreakEven) -> None:
    for axis, which in ((result.x, axes.xaxis), (result.y, axes.yaxis)):
        which.set_ticks(range(len(axis.values)), labels=[f"{value:g}" for value in axis.values])
    axes.tick_params(length=0)
    axes.set_xlabel(_label(result.x))
    axes.set_ylabel(_label(result.y))
    axes.spines[:].set_visible(False)


def _label(axis: Axis) -> str:
    words = _LABELS.get(axis.key)
    if words is None:
        about = parameter_catalogue()[axis.key].about.split(". ")[0].rstrip(".")
        words = shortened(about, 60)
    unit = f", {axis.unit}" if axis.unit else ""
    return f"{words}\n({axis.key}{unit})"


def _grid(result: BreakEven, column: str) -> np.ndarray:
    wide = result.table.pivot(index=result.y.key, columns=result.x.key, values=column)
    return wide.sort_index().sort_index(axis=1).to_numpy()


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


def _short(value: float) -> str:
    return f"{value:+.1f}" if abs(value) >= 10 else f"{value:+.2f}"
