"""Fillings of bins: from the day beetles go into a bin until it is cleared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from colony_sim.colony.binlog import Action

_DATES = {
    Action.MOISTURE_STARTED: "moisture",
    Action.HARVEST: "harvest",
    Action.CLEARED: "cleared",
}


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

    @property
    def moist_at_start(self) -> bool:
        """Whether larvae that were there before the first day need moisture from it on.

        The model counts skins from the first day only, so that bins of the first larvae, which are
        large already, may be harvested before it starts moisture in them, or never get any.
        """
        return self.day_in < 0 and self.harvest is not None and (
            self.moisture is None or self.harvest < self.moisture or self.moisture <= 0
        )  # fmt: skip

    def growing(self, day: int) -> bool:
        """Whether it is a growing bin when the work of a day is done."""
        out = self.day_out is not None and self.day_out <= day
        return out and (self.cleared is None or day <= self.cleared)

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
    first: dict[tuple[int, int], dict[str, int]] = {(1, 0): {}}
    for row in log[log["bin"].notna() & log["date_in"].notna()].itertuples():
        seen = first.setdefault((int(row.bin), int(row.date_in)), {})
        if row.date_out is not pd.NA:
            seen.setdefault("day_out", int(row.date_out))
        name = _DATES.get(row.action)
        if name is not None:
            seen.setdefault(name, int(row.day))
    found = [Filling(bin_, day_in, **seen) for (bin_, day_in), seen in first.items()]
    return sorted(found, key=lambda filling: (filling.day_in, filling.bin))


def numbered(found: list[Filling]) -> Mapping[Filling, int]:
    """Which filling of its bin each one is, from 1."""
    count: dict[int, int] = {}
    place = {}
    for filling in found:
        count[filling.bin] = count.get(filling.bin, 0) + 1
        place[filling] = count[filling.bin]
    return place
