"""The life of a bin: who is in it, by days since the beetles left, with molts and harvests."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from colony_sim.drawing import palette
from colony_sim.figures import style
from colony_sim.figures.slide import Slide, says_only
from colony_sim.figures.titles import fitting
from colony_sim.studies.comparison import bin_words
from colony_sim.studies.comparison.bin_words import STAGE_NAMES, Life
from colony_sim.studies.comparison.relive import Traces
from colony_sim.studies.comparison.results import Results, footer, run_in_words
from colony_sim.words.labels import shortened
from colony_sim.words.units import symbol

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.typing import LineStyleType
    from numpy.typing import ArrayLike

COLUMNS = 2
"""Policies beside each other on one slide."""


def slides(results: Results, traces: Traces) -> list[Slide]:
    """The life of a bin under each policy, two policies a slide."""
    data = {policy: Life.of(traces, policy) for policy in results.policies}
    groups = style.groups(results.policies, COLUMNS)
    return [_slide(results, traces.seed, {p: data[p] for p in group}, group) for group in groups]


def _slide(
    results: Results, seed: int, lives: dict[str, Life | None], group: Sequence[str]
) -> Slide:
    if not any(lives.values()):
        why = "The life of a bin cannot be shown for "
        why += " and ".join(f"“{policy}”" for policy in group)
        why += ": no settled run with 3 bins or more to follow"
        run = run_in_words(seed)
        return says_only("bin_life", why, lambda figure: footer(figure, results, run), run)
    title = fitting(lambda most: bin_words.title(lives, most), group)
    return Slide(
        name="bin_life",
        title=title,
        say=f"{title}. {bin_words.moist_in_words(lives)}",
        caveat="Bins of one run of each policy, filled after its warm-up; lines are medians over "
        "bins and bands their middle 80 %. Bins of one run are not independent, so this shows "
        "how a bin lives, not how sure a difference is. From the thin upright line on some bins "
        "are cleared and only the others are counted, so that curves may jump there. Larvae and "
        "pupae left in a bin that is cleared go on to an older bin.",
        alt=bin_words.alt(lives),
        data=bin_words.data(lives),
        paint=lambda: _figure(results, seed, lives, title),
        runs=run_in_words(seed),
    )


def _figure(results: Results, seed: int, told: dict[str, Life | None], title: str) -> Figure:
    lives = {policy: life and life.in_house() for policy, life in told.items()}
    figure = style.new_figure()
    top = style.headed(figure, title)
    footer(figure, results, run_in_words(seed))
    _legend(figure, top)
    known = [life for life in lives.values() if life is not None]
    left, right, gap = 1.5, style.WIDTH - 0.4, 0.5
    width = (right - left + gap) / len(lives) - gap
    low, between = 1.15, 0.42
    heights = np.array([0.42, 0.35, 0.23]) * (top - 0.95 - low - 2 * between)
    places = [low + heights[2] + between + heights[1] + between,
              low + heights[2] + between, low]  # fmt: skip
    for i, (policy, life) in enumerate(lives.items()):
        panels = [
            style.axes(figure, left + i * (width + gap), place, width, height)
            for place, height in zip(places, heights, strict=True)
        ]
        _head(panels[0], results.index(policy), policy, life, width)
        _frame(panels, known, first=i == 0)
        if life is None:
            panels[1].text(
                0.5,
                0.5,
                "no settled run with 3 bins or more",
                ha="center",
                va="center",
                color=style.QUIET,
                transform=panels[1].transAxes,
            )
            continue
        came = min(int(life.bands["adults"]["age"].min()), 0)
        for panel in panels:
            panel.axvspan(came, 0, color=style.SHADE, linewidth=0, zorder=0)
        thins = _thins(life)
        if thins is not None:
            for panel in panels:
                panel.axvline(thins, color=style.QUIET, linewidth=1.4, zorder=1)
        _stages(panels[0], life)
        _mass(panels[1], life, style.POLICY)
        _line(panels[2], life.bands["skins_per_day"], style.INK, "-")
        if life.moist is not None:
            for panel in panels:
                panel.axvline(
                    life.moist, color=palette.MOISTURE, linewidth=1.8, linestyle=(0, (2, 2))
                )
    return figure


def _thins(life: Life) -> int | None:
    """The day from which fewer bins are followed, as the others are cleared; None if none is."""
    table = life.bands["larvae_g"]
    few = table[(table["age"] > 0) & (table["bins"] < table["watched"])]
    return None if few.empty else int(few["age"].iloc[0])


def _legend(figure: Figure, top: float) -> None:
    handles: list[Line2D | Patch] = [
        Line2D([], [], color=colour, linestyle=dash, linewidth=3, label=STAGE_NAMES[stage])
        for stage, (colour, dash) in style.STAGES.items()
    ]
    handles += [
        Patch(facecolor=style.SHADE, label="beetles in the bin"),
        Line2D([], [], color=palette.MOISTURE, linestyle=(0, (2, 2)), linewidth=1.8,
               label="moisture starts"),
        Line2D([], [], color=style.QUIET, linewidth=1.4, label="first bins cleared"),
    ]  # fmt: skip
    figure.legend(
        handles=handles,
        loc="upper left",
        ncols=len(handles),
        bbox_to_anchor=(0.32 / style.WIDTH, (top - 0.08) / style.HEIGHT),
        borderpad=0,
        borderaxespad=0,
        handlelength=1.5,
        handletextpad=0.4,
        columnspacing=1.0,
        labelcolor=style.QUIET,
    )


def _head(axes: Axes, place: int, policy: str, life: Life | None, width: float) -> None:
    bins = "" if life is None else f", {life.bins} bins"
    most = int(width / 0.165) - len(bins)
    axes.annotate(
        f"{shortened(policy, most)}{bins}",
        (0, 1),
        (22, 9),
        weight="bold",
        xycoords="axes fraction",
        textcoords="offset points",
    )
    height = axes.get_position().height * style.HEIGHT
    axes.plot(
        7 / 72 / width,
        1 + 15 / 72 / height,
        style.marker(place),
        color=style.POLICY,
        markersize=11,
        transform=axes.transAxes,
        clip_on=False,
    )


def _frame(panels: list[Axes], known: list[Life], first: bool) -> None:
    """Axes shared by all policies of the slide."""
    first_age = min(int(life.bands["adults"]["age"].min()) for life in known)
    last_age = max(int(t["age"].max()) for life in known for t in life.bands.values())
    for panel, label in zip(panels, ("insects\n(root scale)", symbol("g"), "skins"), strict=True):
        panel.set_xlim(min(first_age, 0), max(last_age, 1))
        panel.tick_params(labelbottom=panel is panels[-1])
        if first:
            panel.set_ylabel(label)
            panel.yaxis.set_label_coords(-0.72 / (panel.get_position().width * style.WIDTH), 0.5)
        else:
            panel.tick_params(labelleft=False)
    panels[-1].set_xlabel("days since the beetles left the bin")
    counts = max(life.bands[s]["high"].max() for life in known for s in STAGE_NAMES)
    panels[0].set_yscale("function", functions=(_root, np.square))
    panels[0].set_ylim(0, 1.1 * max(counts, 1))
    ticks = _ticks(counts)
    panels[0].set_yticks(ticks, labels=[f"{tick:g}" for tick in ticks])
    mass = max(life.bands["larvae_g"]["high"].max() for life in known)
    weekly = max((life.weeks["grams"].max() for life in known if len(life.weeks)), default=0)
    panels[1].set_ylim(0, 1.1 * max(mass, weekly) or 1)
    skins = max(life.bands["skins_per_day"]["high"].max() for life in known)
    panels[2].set_ylim(0, 1.15 * skins or 1)
    panels[2].xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10], integer=True))
    panels[1].locator_params(axis="y", nbins=3)
    panels[2].locator_params(axis="y", nbins=2)
    if first:
        style.row_heading(panels[1], "mass of larvae; bars: harvest of a week, mean of a bin")
        style.row_heading(panels[2], "molts: skins shed a day")


def _ticks(top: float) -> list[float]:
    """0 and round numbers up to `top` that keep apart on a root scale."""
    ladder = [step * 10.0**power for power in range(6) for step in (1, 2, 5)]
    found: list[float] = []
    for tick in sorted((tick for tick in ladder if tick <= top), reverse=True):
        above = _root(found[-1]) if found else np.inf
        if min(_root(tick), above - _root(tick)) > 0.24 * _root(top):
            found.append(tick)
    return [0.0, *reversed(found)]


def _root(value: ArrayLike) -> np.ndarray:
    return np.sqrt(np.clip(value, 0, None))


def _stages(axes: Axes, life: Life) -> None:
    for stage, (colour, dash) in style.STAGES.items():
        _line(axes, life.bands[stage], colour, dash)


def _mass(axes: Axes, life: Life, colour: str) -> None:
    if len(life.weeks):
        axes.bar(7 * life.weeks["week"] + 3.5, life.weeks["grams"], width=5.6, color=colour,
                 alpha=0.55, linewidth=0, zorder=1)  # fmt: skip
    _line(axes, life.bands["larvae_g"], style.INK, "-")


def _line(axes: Axes, table: pd.DataFrame, colour: str, dash: LineStyleType) -> None:
    """Median and band over bins."""
    axes.fill_between(table["age"], table["low"], table["high"], color=colour, alpha=0.25,
                      linewidth=0, zorder=2)  # fmt: skip
    axes.plot(table["age"], table["median"], color=colour, linestyle=dash, linewidth=2.6, zorder=3)
