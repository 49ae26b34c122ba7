"""How often verdicts given a probability came true, in one figure (a reliability diagram)."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from colony_sim.figures import style
from colony_sim.words.labels import shortened
from colony_sim.worlds.reliability import ALL, BIN, EDGES, MOVES, NONE

#: Names of the structures that a fit lacks.
LACKS = {
    "growth.law": "law of growth",
    "growth.crowding": "what larvae crowd in",
    "predation.refuge": "eggs' refuge",
    "heat.own": "larvae's heat",
}
#: Sideways steps of series, so that their bars do not cover each other.
_STEP = 0.022


def draw(bins: pd.DataFrame, title: str) -> Figure:
    """The figure of a table of `reliability.bins`; call within `style.theme()`."""
    figure = style.new_figure()
    top = style.headed(figure, title) - 1.05
    panels = [style.axes(figure, left, 1.65, 5.2, top - 1.65) for left in (1.05, 7.55)]
    own = bins[bins["without"] == NONE]
    style.heading(
        panels[0], "A", "Fits with all structures", "bars: 95 % intervals; figures: verdicts"
    )
    names = {MOVES: "14 days or 21", BIN: "first harvest, yield of a bin"}
    _panel(panels[0], [(name, own[own["decision"] == what]) for what, name in names.items()])
    every = bins[(bins["without"] != NONE) & (bins["decision"] == ALL)]
    style.heading(
        panels[1], "B", "The truth has what the fit lacks", "all verdicts, by what is lacking"
    )
    lacks = every.groupby("without", sort=False)
    _panel(panels[1], [(LACKS[str(key)], rows) for key, rows in lacks])
    foot = (
        "On the line: came true as often as said. Literatures made up from lived worlds whose "
        "truth is known.\nA statement about the method, not about a real colony."
    )
    at = 0.25 / style.HEIGHT
    figure.text(0.4 / style.WIDTH, at, foot, size=style.FOOT, color=style.QUIET)
    return figure


def _panel(axes: Axes, series: Sequence[tuple[str, pd.DataFrame]]) -> None:
    axes.plot([0.0, 1.0], [0.0, 1.0], color=style.FAINT, lw=2, zorder=0)
    for k, (name, rows) in enumerate(series):
        x = rows["p"] + _STEP * (k - (len(series) - 1) / 2.0)
        low, high = rows["came"] - rows["came_low"], rows["came_high"] - rows["came"]
        axes.errorbar(
            x, rows["came"], yerr=[low.clip(lower=0.0), high.clip(lower=0.0)], fmt=style.marker(k),
            color=style.POLICY, ms=10, lw=2.2, label=shortened(name, 34), zorder=2 + k,
        )  # fmt: skip
        if len(series) <= 2:
            _counts(axes, rows, x, k)
    axes.set(xlim=(0.0, 1.0), ylim=(-0.03, 1.04), xlabel="Probability that was given, %")
    ticks = list(EDGES)
    axes.set_xticks(ticks, [f"{100 * tick:.0f}" for tick in ticks])
    axes.set_yticks(ticks, [f"{100 * tick:.0f}" for tick in ticks])
    axes.set_ylabel("Came true, %")
    # Marks lie along the line; a second panel of many series needs more room above it.
    few = len(series) <= 2
    axes.legend(loc="lower right" if few else "upper left", handletextpad=0.3, borderaxespad=0.1)


def _counts(axes: Axes, rows: pd.DataFrame, x: pd.Series, k: int) -> None:
    """Number of verdicts beside each mark, to the left of the first series and right of others."""
    for at, y, count in zip(x, rows["came"], rows["verdicts"], strict=True):
        axes.annotate(
            f"{count}", (at, y), (-9 if k == 0 else 9, 0), textcoords="offset points",
            ha="right" if k == 0 else "left", va="center", size=style.FOOT, color=style.POLICY,
        )  # fmt: skip
