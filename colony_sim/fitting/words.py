"""The words of a bin log: its columns, actions and stages, what a row holds, what a fault says."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

COLUMNS = ("date", "bin", "action", "stage", "count", "grams", "about", "until", "note")
NEEDED = ("date", "bin", "action")
TRAY = "tray"
LARVAE = ("larvae", "small larvae", "large larvae")
STAGES = (*LARVAE, "pupae", "beetles", "mixed")

#: Relative standard errors of a number in the log. Assumptions, no source.
COUNT_ERROR, WEIGHT_ERROR, ABOUT_ERROR = 0.03, 0.02, 0.25
MOST_COUNT, MOST_GRAMS, MOST_BINS, LONGEST_LOG_DAYS = 200_000, 50_000.0, 200, 3650


@dataclass(frozen=True)
class Action:
    """A word of the column `action`.

    Attributes
    ----------
    about : str
        What a row with it says.
    stages : tuple of str
        Stages it may name; the first holds where none is named. Empty: it takes none.
    needs : tuple of str
        Of "count" and "grams", those a row must have; "either" asks for one of them.
    """

    about: str
    stages: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()


#: In the order in which things done on one day count as done.
ACTIONS: dict[str, Action] = {
    "dead beetles": Action("dead beetles taken out of the bin and counted", ("beetles",)),
    "beetles out": Action("the breeding beetles strained out of this bin", ("beetles",)),
    "pupae picked": Action("pupae picked out of this bin and put on the tray", ("pupae",)),
    "beetles picked": Action(
        "emerged beetles picked out of this bin to the breeders", ("beetles",)
    ),
    "count": Action(
        "a look: this many of the stage were in the bin; nothing taken", STAGES, ("count",)
    ),
    "weight": Action(
        "a weighing: all of the stage in the bin weighed this much; nothing taken",
        STAGES,
        ("grams",),
    ),
    "sample": Action(
        "a few weighed together: `count` insects weighed `grams`; nothing taken",
        (*LARVAE, "pupae", "beetles"),
        ("count", "grams"),
    ),
    "harvest": Action("larvae of harvest size taken out of this bin", ("large larvae", "larvae")),
    "beetles removed": Action(
        "beetles taken out of this bin for good", ("beetles",), ("either",)
    ),
    "cleared": Action("the bin emptied and washed; what was left moved to the oldest bin"),
    "beetles in": Action("breeding beetles put into this bin, on fresh bran", ("beetles",)),
    "larvae in": Action(
        "larvae bought, or already in the bin when the log begins",
        ("larvae", "small larvae", "large larvae"),
        ("either",),
    ),
    "moisture started": Action("from this day on the bin gets moist feed"),
    "bran added": Action("bran topped up, `grams` if weighed"),
    "not written": Action("from `date` to `until` nothing was written down (bin may be empty)"),
}  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """One row of a log.

    Attributes
    ----------
    row : int
        Line of the file, from 1.
    date : datetime.date
    bin : str
        Name of the bin; "" for the whole rack.
    action, stage : str
    count, grams : float or None
        As written; None where nothing is.
    error : float or None
        Relative standard error the keeper gives; None: that of a careful count or of scales.
    until : datetime.date or None
    note : str
    """

    row: int
    date: datetime.date
    bin: str
    action: str
    stage: str = ""
    count: float | None = None
    grams: float | None = None
    error: float | None = None
    until: datetime.date | None = None
    note: str = ""

    def relative_error(self, column: str) -> float:
        """Relative standard error of "count" or "grams"."""
        if self.error is not None:
            return self.error
        return COUNT_ERROR if column == "count" else WEIGHT_ERROR


@dataclass(frozen=True)
class Fault:
    """What is wrong with a log: where, what was read, and what to do about it."""

    row: int
    column: str
    value: str
    remedy: str

    @property
    def line(self) -> str:
        """One line of text."""
        shown = self.value if len(self.value) <= 40 else self.value[:37] + "..."
        return f"row {self.row}, {self.column}, {shown!r}: {self.remedy}"


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """Entries by date, then in the order in which a day's work is done, then as written."""
    order = {action: place for place, action in enumerate(ACTIONS)}
    return sorted(entries, key=lambda e: (e.date, order[e.action], e.row))
