"""Fillings of bins: from the day beetles go into a bin until it is cleared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

CLEARED = "cleared"
"""How every action that empties a bin begins."""


@dataclass(frozen=True)
class Filling:
    """One filling of one bin; days count as in the bin log, None: not in the log.

    Attributes
    ----------
    bin : int
        Number on the bin.
    day_in, day_out : int or None
        Days the beetles went in and out; 0 or less before the first day.
    moisture : int or None
        Day moisture was started.
    harvest : int or None
        Day of the first harvest.
    cleared : int or None
        Day the bin was emptied.
    """

    bin: int
    day_in: int
    day_out: int | None = None
    moisture: int | None = None
    harvest: int | None = None
    cleared: int | None = None

    def breeding(self, day: int) -> bool:
        """Whether the beetles are in this bin when the work of a day begins."""
        return self.day_in < day and (self.day_out is None or day <= self.day_out)


def fillings(log: pd.DataFrame) -> list[Filling]:
    """All fillings in a bin log, by the day the beetles went in, then by bin.

    Parameters
    ----------
    log : DataFrame
        Columns of `colony.binlog.COLUMNS`. The founders' bin (bin 1, filled on day 0) is among
        the fillings even if nothing was done to it yet.
    """
    rows = log[log["bin"].notna() & log["date_in"].notna()]
    found: list[Filling] = []
    for (bin_, day_in), own in rows.groupby(["bin", "date_in"], sort=True):
        out = own["date_out"].dropna()
        found.append(
            Filling(
                int(bin_),
                int(day_in),
                int(out.iloc[0]) if len(out) else None,
                _first(own, own["action"] == "moisture started"),
                _first(own, own["action"] == "harvest"),
                _first(own, own["action"].str.startswith(CLEARED)),
            )
        )
    if not any(filling.bin == 1 and filling.day_in == 0 for filling in found):
        found.append(Filling(1, 0))
    return sorted(found, key=lambda filling: (filling.day_in, filling.bin))


def _first(rows: pd.DataFrame, chosen: pd.Series) -> int | None:
    days = rows.loc[chosen, "day"]
    return int(days.min()) if len(days) else None


def numbered(found: list[Filling]) -> Mapping[Filling, int]:
    """Which filling of its bin each one is, from 1."""
    count: dict[int, int] = {}
    place = {}
    for filling in found:
        count[filling.bin] = count.get(filling.bin, 0) + 1
        place[filling] = count[filling.bin]
    return place
