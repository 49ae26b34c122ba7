"""Troughs of the harvest, and the beetles that are bought in time to fill them.

A trough comes where too few beetles laid, a time of growth before. What is bought then is tried
over the same seeds: once and twice as many beetles as the rack begins with, the fewest that feed
about as many stretches as the others.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from colony_sim.planning.buying import Buys
from colony_sim.planning.cold import ABOUT, spells
from colony_sim.planning.forecast import Case
from colony_sim.planning.measuring import day_date

MOST_BUYS = 8
AGAIN_DAYS = 84
"""Days after which beetles are bought again in a trough that lasts. Assumption."""
LAYING_DAYS = 14
"""Days of laying before the first larvae that count."""
APART_WEEKS = 8
"""Troughs closer than this are filled by the same beetles."""
BEETLES = 100
"""Bought where a plan begins from bins that are there. Assumption."""


def buying_days(weeks: pd.DataFrame, start: date, growth_days: float) -> tuple[int, ...]:
    """Days of the run on which to buy, each the first of a month or day 1.

    Parameters
    ----------
    weeks : DataFrame
        From `cold.mark`: ``week`` and ``short``.
    start : date
        Day 1.
    growth_days : float
        From beetles in to the first harvest (d).
    """
    found: list[int] = []
    last = -APART_WEEKS
    for spell in spells(weeks, 0.0, "short"):
        if spell.first - last >= APART_WEEKS:
            # The week is short of what the four weeks that end with it gave.
            when = 7 * (spell.first - 4) - growth_days - LAYING_DAYS
            end = 7 * spell.last - growth_days - LAYING_DAYS
            for at in np.arange(when, max(end, when + 1), AGAIN_DAYS):
                day = day_date(start, max(1.0, float(at)))
                found.append(max(1, (day.replace(day=1) - start).days + 1))
        last = spell.last
    return tuple(dict.fromkeys(found))[:MOST_BUYS]


def bought(
    case: Case,
    days: Sequence[int],
    beetles: int,
    fed: Callable[[Sequence[Case]], list[float]],
) -> Case | None:
    """The case with what is bought on these days; None where there are none.

    Parameters
    ----------
    case : Case
    days : sequence of int
    beetles : int
        As many, or twice as many, are bought on each.
    fed : callable
        Share of the stretches that cases feed.
    """
    if not days:
        return None

    def with_buys(count: int) -> Case:
        buys: Buys = tuple((day, count) for day in days)
        return replace(case, buys=buys)

    tried = [with_buys(beetles), with_buys(2 * beetles)]
    few, many = fed(tried)
    return tried[few < many - ABOUT]
