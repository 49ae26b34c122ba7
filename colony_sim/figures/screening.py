"""Morris plane, and Sobol' indices, of a sensitivity analysis."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.lines import Line2D

from colony_sim.experiment.sensitivity_words import floor
from colony_sim.experiment.wording import number
from colony_sim.figures import style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from colony_sim.experiment.sensitivity import Sensitivity

NAMED, SHOWN = 9, 14
TURNS, PLAIN = "#e06010", "#14508c"


def draw(result: Sensitivity, folder: Path) -> list[Path]:
    """Draw ``screening.png`` and ``screening.svg``; from the methods ``morris`` and ``sobol``."""
    with style.theme():
        make = plane if result.method == "morris" else indices
        return style.save(make(result), Path(folder), "screening")


def headline(result: Sensitivity) -> str:
    """The finding in one sentence, from the numbers.

    A key is put first only where its bootstrap interval lies above that of the next.
    """
    table = result.table
    top = table.iloc[0]
    sobol = result.method == "sobol"
    what = "total index" if sobol else "mean effect"
    value = number(top["influence"]) + ("" if sobol else f" {result.unit}")
    if len(table) > 1 and not top["influence_low"] > table["influence_high"].iloc[1:].max():
        text = (
            f"The intervals do not rank the keys: {top['key']} has the largest {what} seen, {value}"
        )
    else:
        text = f"{top['key']} has the largest {what}, {value}"
    if result.is_difference:
        count = int((table["sign_changes"] > 0).sum())
        turned = f"{count} of {len(table)} turned the sign"
        text += f"; {turned if count else 'none of the keys turned the sign'}"
    return text


def plane(result: Sensitivity) -> Figure:
    """Mean absolute effect against the spread of effects (Morris 1991), one dot per key."""
    slide = style.new_figure()
    top = style.headed(slide, headline(result))
    axes = style.axes(slide, 1.2, 1.5, 8.3, top - 0.4 - 1.5)
    table = result.table
    colours = np.where((table["sign_changes"] > 0) & result.is_difference, TURNS, PLAIN)
    low = (table["mu_star"] - table["influence_low"]).to_numpy()
    high = (table["influence_high"] - table["mu_star"]).to_numpy()
    for i, row in enumerate(table.itertuples()):
        axes.errorbar(row.mu_star, row.sigma, xerr=[[low[i]], [high[i]]], fmt="o",
                      color=colours[i], markersize=8, elinewidth=1, zorder=3,
                      alpha=1 if i < NAMED else 0.6)  # fmt: skip
        if i < NAMED:
            axes.annotate(str(i + 1), (row.mu_star, row.sigma), (7, 6), size=13, weight="bold",
                          textcoords="offset points", zorder=5)  # fmt: skip
    limit = axes.get_xlim()[1]
    axes.plot([0, limit], [0, limit], color=style.FAINT, linewidth=1.2, zorder=1)
    axes.annotate("spread as large as the mean", (0.97 * limit, 0.97 * limit), (-14, 2),
                  textcoords="offset points", color=style.QUIET, size=12, ha="right")  # fmt: skip
    if math.isfinite(result.noise.variance):
        axes.axvspan(0, floor(result), color=style.SHADE, zorder=0)
    axes.set(xlim=(0, limit), ylim=(0, max(axes.get_ylim()[1], 1e-9)))
    axes.set_xlabel(f"Mean absolute effect of the whole range, mu*  ({result.unit})")
    axes.set_ylabel(f"Spread of the effects, sigma  ({result.unit})")
    left = 9.9
    lines = [f"{i}  {row.key}" for i, row in enumerate(table.head(NAMED).itertuples(), start=1)]
    slide.text(left / style.WIDTH, (top - 0.4) / style.HEIGHT, "\n".join(lines), va="top", size=12,
               linespacing=1.7)  # fmt: skip
    handles = [Line2D([], [], marker="o", linestyle="", color=PLAIN, label="key")]
    if result.is_difference:
        handles = [
            Line2D([], [], marker="o", linestyle="", color=TURNS, label="turned the sign, alone"),
            Line2D([], [], marker="o", linestyle="", color=PLAIN, label="did not"),
        ]
    handles.append(Line2D([], [], color=PLAIN, linewidth=1, label="95 % bootstrap interval"))
    handles.append(Line2D([], [], color=style.SHADE, linewidth=9, label="noise of seeds alone"))
    slide.legend(handles=handles, loc="lower left", fontsize=12, borderpad=0, labelspacing=0.6,
                 bbox_to_anchor=((left - 0.05) / style.WIDTH, 1.35 / style.HEIGHT))  # fmt: skip
    _foot(slide, result, "effects along random trajectories (Morris 1991)")
    return slide


def indices(result: Sensitivity) -> Figure:
    """First-order and total Sobol' indices with bootstrap intervals."""
    slide = style.new_figure()
    top = style.headed(slide, headline(result))
    rows = result.table.head(SHOWN)
    axes = style.axes(slide, 4.6, 1.5, style.WIDTH - 5.2, top - 0.8 - 1.5)
    for i, row in enumerate(rows.itertuples()):
        for name, shift, colour in (("ST", -0.15, PLAIN), ("S1", 0.15, TURNS)):
            value, half = getattr(row, name), getattr(row, f"{name}_conf")
            axes.errorbar(value, i + shift, xerr=half, fmt="o" if name == "ST" else "D",
                          color=colour, markersize=8, elinewidth=2, zorder=3)  # fmt: skip
    axes.axvline(0, color=style.QUIET, linewidth=1)
    share = result.noise.share
    if math.isfinite(share):
        axes.axvspan(0, share, color=style.SHADE, zorder=0)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), labels=list(rows["key"]))
    axes.tick_params(axis="y", labelsize=13)
    axes.set_xlabel("Index: share of the variance of the result")
    handles = [
        Line2D([], [], marker="o", color=PLAIN, label="total index, 95 % bootstrap interval"),
        Line2D([], [], marker="D", color=TURNS, label="first-order index"),
        Line2D([], [], color=style.SHADE, linewidth=9, label="noise of seeds"),
    ]
    slide.legend(handles=handles, ncols=3, loc="upper left", fontsize=13, borderpad=0,
                 bbox_to_anchor=(0.4 / style.WIDTH, (top - 0.15) / style.HEIGHT))  # fmt: skip
    _foot(slide, result, "all keys drawn together from their plausible ranges")
    return slide


def _foot(slide: Figure, result: Sensitivity, how: str) -> None:
    text = (
        f"Result: {result.output}, days {result.span.warm_up + 1} to {result.span.days}, mean of "
        f"{result.noise.seeds} seeds, the same at all points; {len(result.sampled)} points, {how}. "
        "A statement about the model under its assumptions."
    )
    style.footed(slide, text)
