"""The figure of a break-even map: which policy is ahead where, over two keys.

Over worlds colour is the probability that the first policy is ahead, with the line of one half and
hatching where nobody knows; in one world it is the mean difference, hatched where that is not
separated from 0.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.colors import Normalize
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from colony_sim.figures import heat, style
from colony_sim.figures.slide import Slide
from colony_sim.measuring.catalogue import catalogue
from colony_sim.statistics.worlds_pointwise import KNOWN, NOBODY
from colony_sim.studies.breakeven.run import NEITHER, Axis, BreakEven, headline
from colony_sim.studies.origin import Origin, count, days
from colony_sim.words import labels
from colony_sim.words.estimate import number, signed
from colony_sim.words.labels import shortened
from colony_sim.words.units import here, named

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


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
    """The map: colour for the probability or difference, hatching where it goes to no policy."""
    page = style.new_figure()
    bottom = style.headed(page, headline(result)) - 0.3
    low = 0.85 + origin.foot(
        page,
        f"{shortened(result.first, 40)} minus {shortened(result.second, 40)}, {_sample(result)}. "
        f"{result.x.key} by {result.y.key}.",
        count(runs(result), "run"),
        days(result.span),
    )
    across, up = ([labels.shown(v, axis.key) for v in axis.values] for axis in (result.x, result.y))
    widest = max(style.text_width(page, text, style.BODY) for text in up)
    left = 0.95 + widest
    axes = style.axes(page, left, low, 9.05 - left, bottom - low)
    bar = style.axes(page, 9.3, low, 0.22, bottom - low)
    crossed = (_probabilities if result.over_worlds else _differences)(page, axes, bar, result)
    column, row = map(_nearest, (result.x, result.y), result.default)
    if framed := column is not None and row is not None:
        heat.frame(axes, column, row)
    heat.ticks(axes, across, up)
    axes.set_xlabel(labels.axis(result.x.key))
    axes.set_ylabel(labels.axis(result.y.key))
    _legend(page, result, bottom, crossed, framed)
    return page


def _differences(page: Figure, axes: Axes, bar: Axes, result: BreakEven) -> bool:
    """Mean differences in one world; whether a border is drawn."""
    d = _gains(result)
    hatched = _grid(result, "better") == NEITHER
    norm, most = heat.difference_norm(d)
    shown = heat.signed(most)
    mesh = heat.tiles(
        axes, d, norm, hatched=hatched,
        words=lambda i, j: shown(d[i, j]) if np.isfinite(d[i, j]) else "",
    )  # fmt: skip
    heat.difference_bar(page, mesh, bar, most)
    return _border(axes, _grid(result, "better"))


def _probabilities(page: Figure, axes: Axes, bar: Axes, result: BreakEven) -> bool:
    """Probability that the first policy is ahead, gains below it; whether one half is crossed."""
    lead, d = _grid(result, "lead").astype(float), _gains(result)
    hatched = _grid(result, "better") == NOBODY
    shown = heat.signed(float(np.nanmax(np.abs(d))) if np.isfinite(d).any() else 0.0)

    def words(i: int, j: int) -> str:
        return f"{lead[i, j]:.2f}\n{shown(d[i, j])}" if np.isfinite(lead[i, j]) else ""

    mesh = heat.tiles(axes, lead, Normalize(0.0, 1.0), hatched=hatched, words=words)
    colours = page.colorbar(mesh, cax=bar)
    colours.outline.set_visible(False)
    colours.set_ticks([0.0, 1 - KNOWN, 0.5, KNOWN, 1.0], labels=["0", ".3", ".5", ".7", "1"])
    bar.tick_params(length=0)
    known = lead[np.isfinite(lead)]
    if not (known.size and known.min() < 0.5 < known.max()):
        return False
    rows, columns = lead.shape
    axes.contour(np.arange(columns) + 0.5, np.arange(rows) + 0.5, lead, levels=[0.5],
                 colors=[style.INK], linewidths=4, zorder=3)  # fmt: skip
    return True


def _sample(result: BreakEven) -> str:
    """How many runs a cell has, and how it is judged."""
    if not result.over_worlds:
        n = len(result.seeds)
        return (
            f"{n} seeds per cell, the same everywhere; each cell's 95 % interval stands for itself"
        )
    worlds, error = int(result.table["worlds"].max()), result.table["probability_se"].max()
    return (
        f"{worlds} worlds per cell, the same everywhere: probability that the first is ahead "
        f"(standard error up to {number(error)}), and below it the expected difference"
    )


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
    head = f"{measure.label},\ndifference\n({named(measure.unit)})"
    neither, line = "not separated:\n95 % interval\nincludes 0", "the lead changes"
    if result.over_worlds:
        head = "Probability;\nbelow it the\ndifference" + f" ({named(measure.unit)})"
        neither, line = "nobody knows:\n.3 to .7", "one half"
    page.text(left / style.WIDTH, top / style.HEIGHT, head, va="top", weight="bold", size=size,
              linespacing=1.2)  # fmt: skip
    name = [textwrap.fill(f"{shortened(policy, 36)} ahead", 17)
            for policy in (result.first, result.second)]  # fmt: skip
    straight = result.over_worlds or measure.better == "more"
    sides = (heat.ABOVE, heat.BELOW) if straight else (heat.BELOW, heat.ABOVE)
    handles: list[Patch | Line2D] = [
        *(Patch(facecolor=side, label=text) for side, text in zip(sides, name, strict=True)),
        Patch(facecolor="white", edgecolor=style.QUIET, hatch=heat.HATCH,
              label=neither),
    ]  # fmt: skip
    if crossed:
        handles.append(Line2D([], [], color=style.INK, linewidth=4, label=line))
    if framed:
        handles.append(Patch(facecolor="none", edgecolor=style.INK, linewidth=3,
                             label="nearest to the\nexperiment file"))  # fmt: skip
    page.legend(handles=handles, loc="upper left", fontsize=size, labelspacing=0.7,
                bbox_to_anchor=((left - 0.12) / style.WIDTH, (top - 0.95) / style.HEIGHT),
                borderpad=0, handlelength=1.4)  # fmt: skip


def _say(result: BreakEven) -> str:
    counts = result.table["better"].value_counts()
    left = counts.get(result.neither, 0)
    what = f"{len(result.seeds)} seeds"
    who = "the runs do not tell"
    if result.over_worlds:
        what, who = f"{int(result.table['worlds'].max())} worlds", "nobody knows"
    text = (
        f"{headline(result)}. Each cell is one combination of {labels.label(result.x.key)} and "
        f"{labels.label(result.y.key)}, run under both policies with the same {what}."
    )
    if left:
        text += (
            f" In the hatched cell {who} which is ahead."
            if left == 1
            else f" In the {left} hatched cells {who} which is ahead."
        )
    return text


def _caveat(result: BreakEven) -> str:
    total = len(result.table)
    if result.over_worlds:
        return (
            "A probability is a share of worlds, sets of values that the published experiments "
            "allow, and no better than they are. The map holds for the handling of the experiment "
            "file; what is on its axes is as shown in every world."
        )
    chance = max(round(0.05 * total), 1)
    return (
        f"Each cell is judged by its own 95 % interval: were there no difference anywhere, about "
        f"{chance} of the {total} cells would still go to one of the policies by chance. The map "
        "holds for the other values of the experiment file."
    )


def _alt(result: BreakEven) -> str:
    known = catalogue()[result.measure]
    table, unit = result.table, named(known.unit)
    most, least = (table.loc[table["difference"].agg(how)] for how in ("idxmax", "idxmin"))

    def spot(row: pd.Series) -> str:
        at = " and ".join(f"{labels.label(axis.key)} {labels.with_unit(axis.key, row[axis.key])}"
                          for axis in (result.x, result.y))  # fmt: skip
        return f"{signed(here(row['difference'], known.unit))} at {at}"

    if result.over_worlds:
        low, high = table["lead"].min(), table["lead"].max()
        return (
            f"Heat map of the probability over worlds that “{result.first}” is ahead of "
            f"“{result.second}” in {known.label.lower()}: {labels.label(result.x.key)} across "
            f"({len(result.x.values)} values), {labels.label(result.y.key)} upward "
            f"({len(result.y.values)} values). It goes from {number(low)} to {number(high)}; the "
            f"largest difference is {spot(most)}, the smallest {spot(least)} ({unit}). "
            f"{int((table['better'] == NOBODY).sum())} of {len(table)} cells hatched, where nobody "
            "knows which is ahead."
        )
    return (
        f"Heat map of the difference in {known.label.lower()} ({unit}), “{result.first}” "
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


def _gains(result: BreakEven) -> np.ndarray:
    """Differences in the unit of the house."""
    found = here(_grid(result, "difference"), catalogue()[result.measure].unit)
    return np.asarray(found)


def _grid(result: BreakEven, column: str) -> np.ndarray:
    wide = result.table.pivot(index=result.y.key, columns=result.x.key, values=column)
    return wide.sort_index().sort_index(axis=1).to_numpy()
