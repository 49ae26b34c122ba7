"""Morris plane, and Sobol' indices, of a sensitivity analysis."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D

from colony_sim.figures import style
from colony_sim.figures.placing import beside
from colony_sim.figures.slide import Slide
from colony_sim.studies.origin import Origin, count, days
from colony_sim.studies.sensitivity import say_worlds
from colony_sim.studies.sensitivity.say import WIDE, floor
from colony_sim.studies.sensitivity.tornado import runs, subject
from colony_sim.words import labels
from colony_sim.words.estimate import Estimate, dashed, number

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from colony_sim.studies.sensitivity.run import Sensitivity

NAMED, SHOWN = 8, 8
TURNS, PLAIN = style.INK, style.OTHER


def slide(result: Sensitivity, origin: Origin) -> Slide:
    """The picture of the method with what to say of it."""
    tables, result = result, result.in_house()
    make = plane if result.method == "morris" else indices
    return Slide(
        name="screening",
        title=headline(result),
        say=_say(result),
        caveat=_caveat(result),
        alt=_alt(result),
        data=_data(tables),
        paint=lambda: make(result, origin),
        runs=count(runs(result), "run"),
    )


def ranks(result: Sensitivity) -> bool:
    """Whether the bootstrap interval of the first key lies above that of every other."""
    table = result.table
    if len(table) == 1:
        return True
    return bool(table["influence_low"].iloc[0] > table["influence_high"].iloc[1:].max())


def headline(result: Sensitivity) -> str:
    """The finding in one sentence, from the numbers.

    A key is put first only where its bootstrap interval lies above that of every other.
    """
    if result.over_worlds:
        return say_worlds.headline(result)
    top = result.table.iloc[0]
    sobol = result.method == "sobol"
    what = "total index" if sobol else "mean effect"
    value = number(top["influence"]) + ("" if sobol else f" {result.unit}")
    if ranks(result):
        text = f"{labels.heading(top['key'])} has the largest {what} on {subject(result)}, {value}"
    elif sobol and top["influence_high"] - top["influence_low"] > WIDE:
        text = (
            f"The intervals do not rank the values: with {len(result.sampled)} points the total "
            f"index of {labels.label(top['key'])} is anywhere from "
            f"{Estimate.of(top, 'influence', 'influence_{}').limits}"
        )
    else:
        text = (
            f"The intervals do not rank the values: {labels.label(top['key'])} has the largest "
            f"{what} seen on {subject(result)}, {value}"
        )
    if result.is_difference:
        turned = int((result.table["sign_changes"] > 0).sum())
        some = f"{turned} of {len(result.table)} turned the sign"
        text += f"; {some if turned else 'none turned the sign'}"
    return text


def plane(result: Sensitivity, origin: Origin) -> Figure:
    """Mean absolute effect against the spread of effects (Morris 1991), one dot per key."""
    page = style.new_figure()
    top = style.headed(page, headline(result)) - 0.3
    low = 0.95 + _foot(page, result, origin, _moves(result))
    axes = style.axes(page, 1.2, low, 7.3, top - low)
    table = result.table
    colours = np.where((table["sign_changes"] > 0) & result.is_difference, TURNS, PLAIN)
    below = (table["mu_star"] - table["influence_low"]).to_numpy()
    above = (table["influence_high"] - table["mu_star"]).to_numpy()
    for i, row in enumerate(table.itertuples()):
        axes.errorbar(row.mu_star, row.sigma, xerr=[[below[i]], [above[i]]], fmt="o",
                      color=colours[i], markersize=11, elinewidth=1.6, zorder=3,
                      alpha=1 if i < NAMED else 0.6)  # fmt: skip
    right = axes.get_xlim()[1]
    axes.plot([0, right], [0, right], color=style.FAINT, linewidth=1.6, zorder=1)
    if math.isfinite(result.noise.variance):
        axes.axvspan(0, floor(result), color=style.SHADE, zorder=0)
    axes.set(xlim=(0, right), ylim=(0, 1.12 * table["sigma"].max() or 1))
    named = table.head(NAMED)
    beside(axes, list(zip(named["mu_star"], named["sigma"], strict=True)),
           [str(i) for i in range(1, len(named) + 1)], style.BODY, 7)  # fmt: skip
    axes.locator_params(nbins=7)
    of = "another world's value" if result.over_worlds else "the whole range"
    axes.set_xlabel(f"Mean absolute effect of {of}, mu* ({result.unit})")
    axes.set_ylabel(f"Spread of effects, sigma ({result.unit})")
    left = 8.9
    lines = [f"{i}  {labels.label(row.key)}" for i, row in enumerate(named.itertuples(), start=1)]
    page.text(left / style.WIDTH, top / style.HEIGHT, "\n".join(lines), va="top",
              linespacing=1.25)  # fmt: skip
    dot: dict[str, Any] = {"marker": "o", "linestyle": "", "markersize": 10}
    handles = [Line2D([], [], color=PLAIN, label="one value", **dot)]
    if result.is_difference:
        handles = [Line2D([], [], color=TURNS, label="turned the sign, alone", **dot),
                   Line2D([], [], color=PLAIN, label="did not", **dot)]  # fmt: skip
    handles += [
        Line2D([], [], color=PLAIN, linewidth=1.6, label="95 % bootstrap interval"),
        Line2D([], [], color=style.FAINT, linewidth=1.6, label="spread as large as mean"),
        Line2D([], [], color=style.SHADE, linewidth=9, label="noise of seeds alone"),
    ]
    page.legend(handles=handles, loc="lower left", borderpad=0, labelspacing=0.35,
                bbox_to_anchor=((left - 0.08) / style.WIDTH,
                                (low - 0.7) / style.HEIGHT))  # fmt: skip
    return page


def indices(result: Sensitivity, origin: Origin) -> Figure:
    """First-order and total Sobol' indices with bootstrap intervals."""
    page = style.new_figure()
    top = style.headed(page, headline(result))
    rows = result.table.head(SHOWN)
    how = "all values drawn together from their plausible ranges"
    low = 0.95 + _foot(page, result, origin, how)
    names = [labels.heading(key) for key in rows["key"]]
    left = 0.6 + max(style.text_width(page, name, style.BODY) for name in names)
    axes = style.axes(page, left, low, style.WIDTH - 0.5 - left, top - 0.65 - low)
    for i, row in enumerate(rows.itertuples()):
        for name, shift, colour in (("ST", -0.15, PLAIN), ("S1", 0.15, TURNS)):
            value, half = getattr(row, name), getattr(row, f"{name}_conf")
            axes.errorbar(value, i + shift, xerr=half, fmt="o" if name == "ST" else "D",
                          color=colour, markersize=10, elinewidth=2.5, zorder=3)  # fmt: skip
    axes.axvline(0, color=style.QUIET, linewidth=1)
    share = result.noise.share
    if math.isfinite(share):
        axes.axvspan(0, share, color=style.SHADE, zorder=0)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), labels=names)
    axes.set_xlabel("Index: share of the variance of the result")
    handles = [
        Line2D([], [], marker="o", markersize=10, color=PLAIN, label="total index"),
        Line2D([], [], marker="D", markersize=10, color=TURNS, label="first-order index"),
        Line2D([], [], color=style.INK, linewidth=2.5, label="95 % bootstrap"),
        Line2D([], [], color=style.SHADE, linewidth=9, label="noise of seeds"),
    ]
    page.legend(handles=handles, ncols=4, loc="upper left", borderpad=0,
                columnspacing=1.2,
                bbox_to_anchor=(0.32 / style.WIDTH, (top - 0.1) / style.HEIGHT))  # fmt: skip
    return page


def _moves(result: Sensitivity) -> str:
    if result.over_worlds:
        return "each value alone taken from another world (after Morris 1991)"
    return "effects along random trajectories (Morris 1991)"


def _foot(page: Figure, result: Sensitivity, origin: Origin, how: str) -> float:
    shown = NAMED if result.method == "morris" else SHOWN
    hidden = len(result.table) - shown
    text = (
        f"Result: {result.output}, mean of {result.noise.seeds} seeds, the same at all points; "
        f"{len(result.sampled)} points, {how}."
    )
    if hidden > 0:
        verb = "not named" if result.method == "morris" else "not shown"
        text += f" {count(hidden, 'value')} with less influence {verb}."
    return origin.foot(page, text, count(runs(result), "run"), days(result.span))


def _say(result: Sensitivity) -> str:
    what = (
        "The further right, the more a value moves the result on average; the higher, the more "
        "that depends on the other values."
        if result.method == "morris"
        else "The total index is the share of the variance that a value has a part in, the "
        "first-order index what it does by itself."
    )
    return f"{headline(result)}. {what}"


def _caveat(result: Sensitivity) -> str:
    sobol = result.method == "sobol"
    over = (
        "It holds for the worlds that were drawn; a moved point is no world itself."
        if result.over_worlds
        else ""
    )
    parts = [
        over
        or "It holds for the plausible ranges as they stand; a wider range makes a value count for "
        "more."
    ]
    if not ranks(result):
        parts.append("The bootstrap intervals overlap, so the order of the values is not settled.")
    width = float((result.table["influence_high"] - result.table["influence_low"]).max())
    if sobol and width > WIDE:
        parts.append(
            f"The widest interval of an index is {number(width)}: {len(result.sampled)} points "
            "cannot rank the values; a larger --size can."
        )
    if result.is_difference:
        parts.append(
            f"Signs are those of means over {count(result.noise.seeds, 'seed')}, without an "
            "interval."
        )
    return " ".join(parts)


def _alt(result: Sensitivity) -> str:
    sobol = result.method == "sobol"
    unit = "" if sobol else f" {result.unit}"
    name = "Sobol' indices" if sobol else "Morris plane, mean absolute effect against spread,"
    parts = [
        f"{labels.label(row.key)} {number(row.influence)}{unit} (95 % "
        f"{Estimate(row.influence, row.influence_low, row.influence_high).limits})"
        for row in result.table.head(SHOWN).itertuples()
    ]
    what = "Total index" if sobol else "Mean effect"
    return f"{name} of {dashed(result.output)}. {what}: {'; '.join(parts)}."


def _data(result: Sensitivity) -> pd.DataFrame:
    wanted = {
        "morris": ["mu", "mu_star", "sigma"], "sobol": ["S1", "S1_conf", "ST", "ST_conf"],
    }[result.method]  # fmt: skip
    shared = ["influence_low", "influence_high", "seed_se", "sign_changes", "moves"]
    table = result.table[["key", *wanted, *shared, "low_value", "high_value"]].copy()
    table.insert(1, "name", [labels.label(key) for key in table["key"]])
    table["unit_of_key"] = result.table["unit"]
    table["unit_of_result"] = "share of the variance" if result.method == "sobol" else result.unit
    return table
