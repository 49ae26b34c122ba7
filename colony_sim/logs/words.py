"""The words of a bin log: its columns, actions and stages, what a row holds, what a fault says."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

COLUMNS = ("date", "bin", "action", "stage", "count", "grams", "about", "until", "note")
NEEDED = ("date", "bin", "action")
TRAY = "tray"
LARVAE = ("larvae", "small larvae", "large larvae")
STAGES = (*LARVAE, "pupae", "beetles", "mixed")

#: Relative standard errors of a number in the log. Assumptions, no source.
COUNT_ERROR, WEIGHT_ERROR, ABOUT_ERROR = 0.03, 0.02, 0.25
MOST_COUNT, MOST_GRAMS, MOST_BINS, LONGEST_LOG_DAYS = 200_000, 50_000.0, 200, 3650


class LogAction(StrEnum):
    """A word of the column `action`, in the order in which things done on one day count as done.

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
    stages: tuple[str, ...]
    needs: tuple[str, ...]

    def __new__(
        cls, word: str, about: str, stages: tuple[str, ...] = (), needs: tuple[str, ...] = ()
    ) -> LogAction:
        """A member: its word, and what is said of it."""
        member = str.__new__(cls, word)
        member._value_ = word
        member.about, member.stages, member.needs = about, stages, needs
        return member

    DEAD_BEETLES = ("dead beetles", "dead beetles taken out of the bin and counted", ("beetles",))
    BEETLES_OUT = ("beetles out", "the breeding beetles strained out of this bin", ("beetles",))
    PUPAE_PICKED = ("pupae picked", "pupae picked out of this bin and put on the tray", ("pupae",))
    BEETLES_PICKED = (
        "beetles picked", "emerged beetles picked out of this bin to the breeders", ("beetles",),
    )  # fmt: skip
    COUNT = (
        "count",
        "a look: this many of the stage were in the bin; nothing taken", STAGES, ("count",),
    )  # fmt: skip
    WEIGHT = (
        "weight", "a weighing: all of the stage in the bin weighed this much; nothing taken",
        STAGES, ("grams",),
    )  # fmt: skip
    SAMPLE = (
        "sample", "a few weighed together: `count` insects weighed `grams`; nothing taken",
        (*LARVAE, "pupae", "beetles"), ("count", "grams"),
    )  # fmt: skip
    HARVEST = (
        "harvest", "larvae of harvest size taken out of this bin", ("large larvae", "larvae"),
    )  # fmt: skip
    BEETLES_REMOVED = (
        "beetles removed", "beetles taken out of this bin for good", ("beetles",), ("either",),
    )  # fmt: skip
    CLEARED = ("cleared", "the bin emptied and washed; what was left moved to the oldest bin")
    BEETLES_IN = ("beetles in", "breeding beetles put into this bin, on fresh bran", ("beetles",))
    LARVAE_IN = (
        "larvae in",
        "larvae bought, or already in the bin when the log begins", LARVAE, ("either",),
    )  # fmt: skip
    SKINS_SEEN = (
        "skins seen", "the first shed skins to be seen on the bran; kept and shown, not learnt from"
    )  # fmt: skip
    MOISTURE_STARTED = ("moisture started", "from this day on the bin gets moist feed")
    BRAN_ADDED = ("bran added", "bran topped up, `grams` if weighed")
    NOT_WRITTEN = (
        "not written", "from `date` to `until` nothing was written down (bin may be empty)",
    )  # fmt: skip


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
    action : LogAction
    stage : str
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
    action: LogAction
    stage: str = ""
    count: float | None = None
    grams: float | None = None
    error: float | None = None
    until: datetime.date | None = None
    note: str = ""

    def given(self, column: str) -> float:
        """The number under "count" or "grams", where the action or the other needs one."""
        value = self.count if column == "count" else self.grams
        assert value is not None
        return value

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
    order = {action: place for place, action in enumerate(LogAction)}
    return sorted(entries, key=lambda e: (e.date, order[e.action], e.row))
