"""Gains of one best over the other, world by world."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.studies.origin import Origin, count, days
from colony_sim.studies.search.best_words import gains_of, headline, in_words
from colony_sim.words.estimate import number
from colony_sim.words.units import differs, here, named, plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from colony_sim.studies.search.best import Best


def slide(result: Best, origin: Origin) -> Slide:
    """The gains with what to say of them."""
    a, b = result.over.pair
    verdict = result.over.first
    return Slide(
        name="best",
        title=headline(result),
        say=" ".join(line.strip() for line in in_words(result, None)[:3]),
        caveat=(
            f"The best of {result.candidates_each} candidates each, not the best there is; judged "
            "in colonies that the choice had not seen."
        ),
        alt=(
            f"Gain of {a} over {b} in {named('g/day')} in each of {verdict.worlds} possible "
            f"colonies, in rising order: from {_shown(verdict.low)} to {_shown(verdict.high)} in "
            "nine of ten."
        ),
        data=gains_of(result).rename(columns={"gain": "gain (g/day)"}),
        paint=lambda: figure(result, origin),
        runs=count(len(result.runs), "run"),
    )


def _a_day(gain: Any) -> Any:
    """Gains (g/day) in the unit of the house."""
    return here(gain, "g/day")


def _shown(gain: float) -> str:
    return number(_a_day(gain)) if differs("g/day") else f"{gain:.2f}"


def figure(result: Best, origin: Origin) -> Figure:
    """One bar a world, in rising order, coloured by who is ahead; the indifference zone behind."""
    a, b = result.over.pair
    page = style.new_figure()
    top = style.headed(page, headline(result)) - 0.3
    zone = _a_day(result.over.zone)
    low = 0.95 + origin.foot(
        page,
        f"One bar a possible colony, the mean of its runs, each with the best handling found for "
        f"it. Grey: less than {plain(zone)} {named('g/day')} apart.",
        count(len(result.runs), "run"),
        days(result.span),
    )
    axes = style.axes(page, 1.3, low, 11.4, top - low)
    gains = _a_day(gains_of(result)["gain"].to_numpy())
    places = np.arange(1, len(gains) + 1)
    for rows, colour, text in (
        (gains > zone, style.POLICY, f"{a} ahead"),
        (gains < -zone, style.OTHER, f"{b} ahead"),
        (abs(gains) <= zone, style.FAINT, "too close to care"),
    ):
        if rows.any():
            axes.bar(places[rows], gains[rows], color=colour, width=0.8, label=text)
    axes.axhline(0, color=style.INK, linewidth=1.2)
    axes.set_xlabel("Possible colonies, by gain")
    axes.set_ylabel(f"Gain ({named('g/day')})")
    axes.legend(loc="upper left")
    return page
