"""Cold weeks: short in this room, not short in the same room kept warm.

A week is short where fewer runs than asked for have what is wanted over the four weeks that end
with it. Growth takes months, so it is the cold of the growth before that counts, not that of the
week itself. The same handling is run over the same seeds in the same room kept warm: a week that is
short here and not there is put down to the cold. A week that is short in both is not: the rack, the
handling or the start-up is what is short. How warm is one temperature, which is the remedy as well:
the least of `FLOORS` that feeds about as many stretches as the highest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from colony_sim.planning import room
from colony_sim.planning.forecast import Case

FLOORS = (18.0, 20.0, 22.0, 25.0)
"""Least temperatures (C) of the warm room that are tried."""
WARM_C = FLOORS[-1]
ABOUT = 0.02
"""Share of stretches fed that is no difference between two temperatures."""


@dataclass(frozen=True)
class Warm:
    """The same handling in the same room, never colder than `floor` (C)."""

    floor: float
    case: Case


def warm_room(case: Case, days: int, fed: Callable[[Sequence[Case]], list[float]]) -> Warm | None:
    """The room kept as warm as is of use; None where it is as warm, or has no season.

    Parameters
    ----------
    case : Case
    days : int
        Of a run.
    fed : callable
        Share of the stretches that cases feed.
    """
    coldest, warmest = room.extremes(case.climate)
    if coldest >= WARM_C or warmest - coldest < 1.0:
        return None

    def at(floor: float) -> Case:
        return replace(case, climate=room.at_least(case.climate, floor, days))

    floors = [floor for floor in FLOORS if floor > coldest + 0.25]
    (most,) = fed([at(floors[-1])])
    low, high = -1, len(floors) - 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (
            (low, middle) if fed([at(floors[middle])])[0] >= most - ABOUT else (middle, high)
        )
    return Warm(floors[high], at(floors[high]))


@dataclass(frozen=True)
class Spell:
    """Cold weeks in a row.

    Attributes
    ----------
    first, last : int
        Weeks, from 1.
    begins, ends : str
        First day of the first and of the last week (ISO 8601).
    least_share : float
        Share of runs that have what is wanted in the worst of the weeks.
    lack : float
        What the median run lacks in the worst of the weeks (g a day); 0 where it lacks nothing.
    growth_c : float
        Mean temperature of the growth before, over the weeks (C).
    """

    first: int
    last: int
    begins: str
    ends: str
    least_share: float
    lack: float
    growth_c: float


def mark(
    weeks: pd.DataFrame, warm: pd.DataFrame | None, probability: float, from_day: int
) -> pd.DataFrame:
    """The table of weeks with ``short`` and ``cold``.

    Parameters
    ----------
    weeks, warm : DataFrame
        From `week_table`, in this room and in the warm one over the same seeds; None: no week is
        put down to the cold.
    probability : float
    from_day : int
        Weeks that end before it are marked neither short nor cold.
    """
    due = weeks["week"] * 7 >= from_day
    short = due & (weeks["met_share"] < probability - 1e-12)
    cold = np.zeros(len(weeks), bool)
    if warm is not None:
        cold = (short & (warm["met_share"] >= probability - 1e-12)).to_numpy()
    return weeks.assign(short=short.to_numpy(), cold=cold)


def spells(weeks: pd.DataFrame, wanted: float, column: str = "cold") -> list[Spell]:
    """Runs of weeks that are marked in a column."""
    found: list[Spell] = []
    marked = weeks[weeks[column]]
    if marked.empty:
        return found
    for _, rows in marked.groupby((marked["week"].diff() != 1).cumsum()):
        found.append(
            Spell(
                first=int(rows["week"].iloc[0]),
                last=int(rows["week"].iloc[-1]),
                begins=str(rows["date"].iloc[0]),
                ends=str(rows["date"].iloc[-1]),
                least_share=float(rows["met_share"].min()),
                lack=max(0.0, wanted - float(rows["four_weeks_g_per_day"].min())),
                growth_c=float(rows["growth_temperature_c"].mean()),
            )
        )
    return found
