"""First-order shares of the variance over worlds, as a picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.studies.origin import Origin, count, days
from colony_sim.studies.sensitivity.say_worlds import headline
from colony_sim.words import labels
from colony_sim.words.estimate import dashed, number

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from colony_sim.studies.sensitivity.run import Sensitivity

SHOWN = 8
TOLD, PLAIN = style.INK, style.FAINT


def slide(result: Sensitivity, origin: Origin) -> Slide:
    """The picture with what to say of it."""
    tables, result = result, result.in_house()
    return Slide(
        name="screening",
        title=headline(result),
        say=f"{headline(result)}. The share of a value is the part of the variance over worlds "
        "that would go, on average, if that value were known.",
        caveat=_caveat(result),
        alt=_alt(result),
        data=_data(tables),
        paint=lambda: figure(result, origin),
        runs=count(runs(result), "run"),
    )


def runs(result: Sensitivity) -> int:
    """Number of runs behind the shares."""
    return len(result.sampled) * len(result.policies) * result.noise.seeds


def figure(result: Sensitivity, origin: Origin) -> Figure:
    """Shares with their 95 % intervals, the largest first."""
    page = style.new_figure()
    top = style.headed(page, headline(result)) - 0.2
    rows = result.table.head(SHOWN)
    hidden = len(result.table) - len(rows)
    text = (
        f"Result: {result.output}; {result.sampled['world'].nunique()} worlds. First-order shares "
        "of given data (Plischke et al. 2013), 95 % intervals by bootstrap of worlds; grey: not "
        "told apart from nothing (permutation, Holm)."
    )
    if hidden > 0:
        text += f" {count(hidden, 'value')} with less not shown."
    low = 0.95 + origin.foot(page, text, count(runs(result), "run"), days(result.span))
    names = [labels.heading(key) for key in rows["key"]]
    left = 0.6 + max(style.text_width(page, name, style.BODY) for name in names)
    axes = style.axes(page, left, low, style.WIDTH - 0.6 - left, top - low)
    for i, row in enumerate(rows.itertuples()):
        value = 100 * row.S1
        ends = [
            [max(value - 100 * row.influence_low, 0)],
            [max(100 * row.influence_high - value, 0)],
        ]
        axes.errorbar(value, i, xerr=ends, fmt="o", color=TOLD if row.shown else PLAIN,
                      markersize=11, elinewidth=3, zorder=3)  # fmt: skip
    axes.axvline(0, color=style.QUIET, linewidth=1)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), labels=names)
    axes.set_xlabel("Share of the variance over worlds that knowing the value would remove (%)")
    return page


def _caveat(result: Sensitivity) -> str:
    text = (
        "Values that hang together share what they tell, so shares need not add to 100 %. It holds "
        "for the worlds that were drawn, and is no better than they are."
    )
    if not math.isfinite(result.noise.share):
        text += " Chance is part of the variance."
    return text


def _alt(result: Sensitivity) -> str:
    parts = [
        f"{labels.label(row.key)} {number(100 * row.S1)} % (standard error "
        f"{number(100 * row.S1_se)}){'' if row.shown else ', not told apart from nothing'}"
        for row in result.table.head(SHOWN).itertuples()
    ]
    return dashed(f"Shares of the variance of {result.output} over worlds. {'; '.join(parts)}.")


def _data(result: Sensitivity) -> pd.DataFrame:
    table = result.table[["key", "S1", "S1_se", "influence_low", "influence_high", "p_holm",
                          "shown", "low_value", "high_value"]].copy()  # fmt: skip
    table.insert(1, "name", [labels.label(key) for key in table["key"]])
    table["unit_of_key"] = result.table["unit"]
    table["unit_of_result"] = "share of the variance"
    return table.replace({np.inf: np.nan})
