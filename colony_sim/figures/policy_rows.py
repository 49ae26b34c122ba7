"""Panels with one row a policy: names and markers at the left, runs as dots, means above them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from colony_sim.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEAST_BOX = 4
"""Fewer values than this have no middle half worth a box."""


def names(figure: Figure, policies: Sequence[str]) -> tuple[list[str], float]:
    """The policies' names as they fit beside rows, and the width of the widest (in)."""
    found = style.labels(policies, 2 if len(policies) < 5 else 1)
    return found, max(style.text_width(figure, text, style.BODY) for text in found)


def lay(panels: Sequence[Axes], labels: Sequence[str]) -> None:
    """Give panels beside each other one row a policy, named and marked at the left."""
    for axes in panels:
        axes.set_ylim(len(labels) - 0.5, -0.5)
        axes.set_yticks(range(len(labels)), labels=[""] * len(labels))
        for edge in range(1, len(labels)):
            axes.axhline(edge - 0.5, color=style.SHADE, linewidth=1, zorder=0)
    first = panels[0]
    first.set_yticks(range(len(labels)), labels=labels, linespacing=1.0)
    first.tick_params(axis="y", pad=24)
    width = first.get_position().width * style.WIDTH
    for i in range(len(labels)):
        first.plot(
            -0.15 / width,
            i,
            style.marker(i),
            color=style.POLICY,
            markersize=11,
            transform=first.get_yaxis_transform(),
            clip_on=False,
        )


def dots(
    axes: Axes, values: np.ndarray, row: pd.Series, mean: str, i: int, box: bool = False
) -> None:
    """Single values as dots (over a box of quartiles) and, above them, mean and interval."""
    import seaborn as sns

    if box and len(values) >= LEAST_BOX:
        first, middle, third = np.quantile(values, [0.25, 0.5, 0.75])
        axes.barh(i + 0.22, third - first, left=first, height=0.3, facecolor=style.SHADE,
                  edgecolor=style.FAINT, linewidth=1.5, zorder=0.5)  # fmt: skip
        axes.plot([middle, middle], [i + 0.07, i + 0.37], color=style.FAINT, linewidth=1.5,
                  zorder=0.6)  # fmt: skip
    sns.scatterplot(
        x=values,
        y=i + 0.22 + style.spread(values),
        ax=axes,
        s=64 if box else 42,
        alpha=0.55,
        color=style.POLICY,
        marker=style.marker(i),
        linewidth=0,
        zorder=2,
        legend=False,
    )
    if len(values) > 1:
        # The ends stand out beyond the marker, however narrow the interval is.
        axes.plot(
            [row["low"], row["high"]],
            [i - 0.16, i - 0.16],
            "-|",
            color=style.INK,
            linewidth=3,
            markersize=17,
            markeredgewidth=2.5,
        )
        axes.plot(
            row[mean],
            i - 0.16,
            style.marker(i),
            color=style.POLICY,
            markersize=9,
            markeredgecolor="white",
            markeredgewidth=1,
            zorder=3,
        )


def beside_zero(axes: Axes, words: dict[int, str]) -> None:
    """Words in rows of a panel of differences, on the wider side of its line at 0."""
    low, high = axes.get_xlim()
    place = 0.02 if -low > high else max(-low / (high - low), 0) + 0.03
    for i, text in words.items():
        style.note(axes, place, i, text)
