"""The bin log: what a keeper would write on labels and in a notebook."""

from __future__ import annotations

from typing import Any

import pandas as pd

from colony_sim.colony.bins import Bin

COLUMNS = (
    "day",
    "bin",
    "action",
    "date_in",
    "date_out",
    "eggs",
    "larvae",
    "pupae",
    "adults",
    "grams",
    "minutes",
    "note",
)
_WHOLE = ("day", "bin", "date_in", "date_out", "eggs", "larvae", "pupae", "adults")


class BinLog:
    """Rows of work done, in the order it was done."""

    def __init__(self) -> None:
        self.rows: list[tuple[Any, ...]] = []

    def add(
        self,
        day: int,
        bin_: Bin | None,
        action: str,
        *,
        eggs: int | None = None,
        larvae: int | None = None,
        pupae: int | None = None,
        adults: int | None = None,
        grams: float | None = None,
        minutes: float = 0.0,
        note: str = "",
    ) -> None:
        """One action on one bin (None: the tray); counts are of insects moved or taken."""
        self.rows.append(
            (
                day,
                bin_.label if bin_ is not None else None,
                action,
                bin_.date_in if bin_ is not None else None,
                bin_.date_out if bin_ is not None else None,
                eggs,
                larvae,
                pupae,
                adults,
                grams,
                minutes,
                note,
            )
        )

    def frame(self) -> pd.DataFrame:
        """The log as a table; days count from the start of the run, counts may be missing."""
        table = pd.DataFrame(self.rows, columns=list(COLUMNS))
        for name in _WHOLE:
            table[name] = table[name].astype("Int64")
        for name in ("grams", "minutes"):
            table[name] = table[name].astype("float64")
        for name in ("action", "note"):
            table[name] = table[name].astype("str")
        return table
