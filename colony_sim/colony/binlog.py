"""The bin log: what a keeper would write on labels and in a notebook."""

from __future__ import annotations

from enum import StrEnum
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
    "reason",
    "heir",
    "dead",
    "note",
)
_TEXTS = ("action", "reason", "note")
_REALS = ("grams", "minutes")


class Action(StrEnum):
    """What was done to a bin; the text stands in the log."""

    BEETLES_IN = "beetles in"
    BEETLES_OUT = "beetles out"
    FROM_TRAY = "beetles from tray to breeders"
    COLLECTED = "emerged beetles to breeders"
    SURPLUS_REMOVED = "surplus beetles removed"
    PUPAE_TO_TRAY = "pupae to tray"
    HARVEST = "harvest"
    MOISTURE_STARTED = "moisture started"
    BRAN_ADDED = "bran added"
    SMALL_LARVAE_IN = "small larvae in"
    CLEARED = "cleared"


class Reason(StrEnum):
    """Why it was done, where the rules leave more than one reason; the text stands in the log."""

    SPENT = "as spent"
    OLD = "as old"
    ROOM = "to make room"
    LOST = "as lost"
    NEW_BREEDERS = "the first of new breeders"
    NO_BEETLE = "no beetle left alive"


class BinLog:
    """Rows of work done, in the order it was done."""

    def __init__(self) -> None:
        self.rows: list[tuple[Any, ...]] = []

    def add(
        self,
        day: int,
        bin_: Bin | None,
        action: Action,
        *,
        eggs: int | None = None,
        larvae: int | None = None,
        pupae: int | None = None,
        adults: int | None = None,
        grams: float | None = None,
        minutes: float = 0.0,
        reason: Reason | None = None,
        heir: Bin | None = None,
        dead: int | None = None,
        note: str = "",
    ) -> None:
        """One action on one bin (None: the tray).

        Counts are of insects moved or taken, `dead` of dead beetles taken out; larvae and pupae
        of a bin cleared went into `heir`.
        """
        self.rows.append(
            (
                day,
                bin_.label if bin_ is not None else None,
                action.value,
                bin_.date_in if bin_ is not None else None,
                bin_.date_out if bin_ is not None else None,
                eggs,
                larvae,
                pupae,
                adults,
                grams,
                minutes,
                reason.value if reason is not None else "",
                heir.label if heir is not None else None,
                dead,
                note,
            )
        )

    def frame(self) -> pd.DataFrame:
        """The log as a table; days count from the start of the run, counts may be missing."""
        table = pd.DataFrame(self.rows, columns=list(COLUMNS))
        kinds = dict.fromkeys(COLUMNS, "Int64")
        kinds |= dict.fromkeys(_REALS, "float64") | dict.fromkeys(_TEXTS, "str")
        return table.astype(kinds)
