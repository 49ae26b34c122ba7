"""The figure of a break-even map: which policy is ahead where, over two keys."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from colony_sim.figures import heat, style
from colony_sim.figures.slide import Slide
from colony_sim.measuring.catalogue import catalogue
from colony_sim.studies.breakeven.run import Axis, BreakEven, headline
from colony_sim.studies.origin import Origin, count, days
from colony_sim.words import labels
from colony_sim.words.estimate import signed
from colony_sim.words.labels import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NEITHER = "not separated"


def slide(result: BreakEven, origin: Origin) -> Slide:
    """The map with what to say of it."""
    return Slide(
        name="breakeven",
        title=headline(result),
        say=_say(result),
        caveat=_caveat(result),
        alt=_alt(result),
        data=_data(result),
        paint=lambda: figure(result, origin),
        runs=count(runs(result), "run"),
    )


def runs(result: BreakEven) -> int:
    """Number of runs behind the map."""
    return 2 * len(result.table) * len(result.seeds)


def figure(result: BreakEven, origin: Origin) -> Figure:
    """The map: colour for the difference, hatching where it is not separated from 0."""
    page = style.new_figure()
    bottom = style.headed(page, headline(result)) - 0.3
    n = len(result.seeds)
    low = 0.85 + origin.foot(
        page,
        f"{shortened(result.first, 40)} minus {shortened(result.second, 40)}, {n} seeds per cell, "
        f"the same everywhere; each cell's 95 % interval stands for itself. {result.x.key} by "
        f"{result.y.key}.",
        count(runs(result), "run"),
        days(result.span),
    )
    widest = max(style.text_width(page, labels.shown(v), style.BODY) for v in result.y.values)
    left = 0.95 + widest
    axes = style.axes(page, left, low, 9.05 - left, bottom - low)
    d = _grid(result, "difference")
    hatched = _grid(result, "better") == NEITHER
    norm, most = heat.difference_norm(d)
    shown = heat.signed(most)
    mesh = heat.tiles(
        axes, d, norm, heat.DIVERGING, hatched, lambda i, j: shown(d[i, j])
        if np.isfinite(d[i, j]) else ""
    )  # fmt: skip
    crossed = _border(axes, _grid(result, "better"))
    column, row = map(_nearest, (result.x, result.y), result.default)
    if framed := column is not None and row is not None:
        heat.frame(axes, column, row)
    heat.ticks(axes, result.x.values, result.y.values)
    axes.set_xlabel(labels.axis(result.x.key))
    axes.set_ylabel(labels.axis(result.y.key))
    bar = style.axes(page, 9.3, low, 0.22, bottom - low)
    heat.difference_bar(page, mesh, bar, most)
    _legend(page, result, bottom, crossed, framed)
    return page


def _border(axes: Axes, better: np.ndarray) -> bool:
    """Draw the border between cells of one policy and cells of the other; whether there is any.

    Where cells are not separated they are themselves the break-even zone.
    """
    drawn = False
    for i, j in np.ndindex(better.shape):
        for up, across in ((1, 0), (0, 1)):
            k, m = i + up, j + across
            if k >= better.shape[0] or m >= better.shape[1]:
                continue
            if better[i, j] == better[k, m] or NEITHER in (better[i, j], better[k, m]):
                continue
            axes.plot([m, j + 1], [k, i + 1], color=style.INK, linewidth=4, zorder=4,
                      solid_capstyle="projecting")  # fmt: skip
            drawn = True
    return drawn


def _legend(page: Figure, result: BreakEven, top: float, crossed: bool, framed: bool) -> None:
    measure = catalogue()[result.measure]
    left, size = 10.5, style.BODY
    head = f"{measure.label},\ndifference\n({measure.unit})"
    page.text(left / style.WIDTH, top / style.HEIGHT, head, va="top", weight="bold", size=size,
              linespacing=1.2)  # fmt: skip
    name = [textwrap.fill(f"{shortened(policy, 36)} ahead", 17)
            for policy in (result.first, result.second)]  # fmt: skip
    sides = (heat.ABOVE, heat.BELOW) if measure.better == "more" else (heat.BELOW, heat.ABOVE)
    handles: list[Patch | Line2D] = [
        *(Patch(facecolor=side, label=text) for side, text in zip(sides, name, strict=True)),
        Patch(facecolor="white", edgecolor=style.QUIET, hatch=heat.HATCH,
              label="not separated:\n95 % interval\nincludes 0"),
    ]  # fmt: skip
    if crossed:
        handles.append(Line2D([], [], color=style.INK, linewidth=4, label="the lead changes"))
    if framed:
        handles.append(Patch(facecolor="none", edgecolor=style.INK, linewidth=3,
                             label="nearest to the\nexperiment file"))  # fmt: skip
    page.legend(handles=handles, loc="upper left", fontsize=size, labelspacing=0.7,
                bbox_to_anchor=((left - 0.12) / style.WIDTH, (top - 0.95) / style.HEIGHT),
                borderpad=0, handlelength=1.4)  # fmt: skip


def _say(result: BreakEven) -> str:
    counts = result.table["better"].value_counts()
    left = counts.get(NEITHER, 0)
    text = (
        f"{headline(result)}. Each cell is one combination of {labels.label(result.x.key)} and "
        f"{labels.label(result.y.key)}, run under both policies with the same "
        f"{len(result.seeds)} seeds."
    )
    if left:
        text += (
            " In the hatched cell the runs do not tell which is ahead."
            if left == 1
            else f" In the {left} hatched cells the runs do not tell which is ahead."
        )
    return text


def _caveat(result: BreakEven) -> str:
    total = len(result.table)
    chance = max(round(0.05 * total), 1)
    return (
        f"Each cell is judged by its own 95 % interval: were there no difference anywhere, about "
        f"{chance} of the {total} cells would still go to one of the policies by chance. The map "
        "holds for the other values of the experiment file."
    )


def _alt(result: BreakEven) -> str:
    known = catalogue()[result.measure]
    table = result.table
    most, least = (table.loc[table["difference"].agg(how)] for how in ("idxmax", "idxmin"))

    def spot(row: pd.Series) -> str:
        at = " and ".join(f"{labels.label(axis.key)} {labels.with_unit(axis.key, row[axis.key])}"
                          for axis in (result.x, result.y))  # fmt: skip
        return f"{signed(row['difference'])} at {at}"

    return (
        f"Heat map of the difference in {known.label.lower()} ({known.unit}), “{result.first}” "
        f"minus “{result.second}”: {labels.label(result.x.key)} across ({len(result.x.values)} "
        f"values), {labels.label(result.y.key)} upward ({len(result.y.values)} values). The "
        f"largest difference is {spot(most)}, the smallest {spot(least)}. "
        f"{int((table['better'] == NEITHER).sum())} of {len(table)} cells hatched, not "
        "separated from 0."
    )


def _data(result: BreakEven) -> pd.DataFrame:
    return result.table.assign(measure=result.measure, unit=catalogue()[result.measure].unit)


def _nearest(axis: Axis, value: float) -> int | None:
    values = np.array(axis.values, dtype=float)
    if not values[0] <= value <= values[-1]:
        return None
    return int(np.argmin(np.abs(values - value)))


def _grid(result: BreakEven, column: str) -> np.ndarray:
    wide = result.table.pivot(index=result.y.key, columns=result.x.key, values=column)
    return wide.sort_index().sort_index(axis=1).to_numpy()
