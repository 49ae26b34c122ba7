"""Weeks that a cold spell starves: short in this room, not short in the same room kept warm.

A week is short where fewer runs than asked for have what is wanted over the four weeks that end
with it. Growth takes months, so it is the cold of the growth before that counts, not that of the
week itself. The same handling is run over the same seeds in the same room, never colder than
`WARM_C`: a week that is short here and not there is put down to the cold. A week that is short in
both is not: the rack, the handling or the start-up is what is short.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

WARM_C = 25.0
"""Least temperature (C) of the warm room that the room is held against."""


@dataclass(frozen=True)
class Spell:
    """Weeks in a row that the cold starves.

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
