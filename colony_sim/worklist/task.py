"""A task of the keeper's: what, when, on which bins, and how sure its date is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
#: Said of a date that hangs on what the insects of the run did.
EXPECTED = "Expected by the model; it may come earlier or later. Go by what you see in the bin."


class Kind(StrEnum):
    """Kinds of task, in the order in which a day's work is done.

    A bin cleared to make room must be empty before the move that fills it.
    """

    SETUP = "set up"
    TRAY = "look at pupa tray"
    INSPECT = "inspect for pupae"
    COLLECT = "pick out beetles"
    CLEAR = "clear and wash bin"
    MOVE = "move beetles"
    DEAD = "separate dead beetles"
    WASH = "wash gear"
    HARVEST = "harvest"
    START_MOISTURE = "start moisture"
    MOISTURE = "give moisture"
    ADD_BRAN = "add bran"
    TREAT = "treat fresh bran"


#: Place of each kind in a day's work.
ORDER = {kind: place for place, kind in enumerate(Kind)}


@dataclass(frozen=True)
class Task:
    """One task on one day, or on each of some days in a row.

    Attributes
    ----------
    kind : Kind
    day : date
        The (first) day.
    bins : tuple of int
        Numbers on the bins it is done on; empty if on none in particular.
    summary : str
        What to do, in a few words.
    detail : str
        How, how much, what to expect.
    when : str
        Where the date comes from: a rule of the handling, or an expectation of the model.
    expected : bool
        Whether the date hangs on what the insects of the run did, so that it may shift.
    times : int
        Days in a row on which it is done.
    """

    kind: Kind
    day: date
    bins: tuple[int, ...]
    summary: str
    detail: str
    when: str
    expected: bool
    times: int = 1

    @property
    def days(self) -> tuple[date, ...]:
        """All days on which it is done."""
        return tuple(self.day + timedelta(k) for k in range(self.times))

    @property
    def last(self) -> date:
        """The last day on which it is done."""
        return self.day + timedelta(self.times - 1)


def in_order(tasks: Iterable[Task]) -> list[Task]:
    """Tasks by first day and, within a day, in the order of the work."""
    return sorted(tasks, key=lambda task: (task.day, ORDER[task.kind]))


def bins_in_words(bins: Iterable[int]) -> str:
    """Numbers of bins, such as "bin 4" or "bins 1-3, 7"."""
    numbers = sorted({*bins})
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    texts = [
        f"{part[0]}-{part[-1]}" if len(part) > 2 else ", ".join(map(str, part)) for part in parts
    ]
    return f"{'bin' if len(numbers) == 1 else 'bins'} {', '.join(texts)}"


def day_in_words(day: date, *, weekday: bool = False, year: bool = True) -> str:
    """A date, such as "12 Mar 2030"; not by the locale, so that every machine says the same."""
    text = f"{day.day} {_MONTHS[day.month - 1]}" + (f" {day.year}" if year else "")
    return f"{weekday_in_words(day)} {text}" if weekday else text


def weekday_in_words(day: date) -> str:
    """Name of the day of the week, such as "Tue"."""
    return _WEEKDAYS[day.weekday()]
