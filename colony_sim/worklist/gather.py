"""The work gathered on the keeper's work days: once or twice a week, and what is done every day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

from colony_sim.errors import InputError
from colony_sim.worklist.task import Kind, Task, bins_in_words, day_in_words, in_order

DAILY = frozenset({Kind.MOISTURE, Kind.TRAY})
"""What is done every day while it is due."""
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_IN_FULL = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_AHEAD = frozenset({Kind.TREAT})
"""What must be done before the day on which it is needed."""
_TOGETHER = frozenset(
    {Kind.INSPECT, Kind.COLLECT, Kind.HARVEST, Kind.START_MOISTURE, Kind.ADD_BRAN, Kind.TREAT}
)
"""What of several days is one task on the day on which it is done."""


def work_days(text: str) -> tuple[int, ...]:
    """Days of the week (0 is Monday) from words such as "sat" or "wed,sat".

    Raises
    ------
    InputError
        A word that is no day, or one given twice.
    """
    full = dict(zip(_IN_FULL, WEEKDAYS, strict=True))
    given = [name.strip().lower() for name in text.split(",") if name.strip()]
    names = [full.get(name, name) for name in given]
    if not names or len({*names}) < len(names) or not {*names} <= {*WEEKDAYS}:
        allowed = f"one or more of {', '.join(WEEKDAYS)}, each once"
        raise InputError("--work-days", "days", text, allowed)
    return tuple(sorted(WEEKDAYS.index(name) for name in names))


def gathered(tasks: Iterable[Task], days: Sequence[int], start: date) -> list[Task]:
    """The tasks, each moved to the work day nearest to it, or not after it where it prepares.

    Tasks of one kind that come together are one; their order stays that of the work. What is set
    up on the first day, and what is done every day, stays where it is.

    Parameters
    ----------
    tasks : iterable of Task
    days : sequence of int
        Days of the week, 0 is Monday.
    start : date
        The first day; nothing but what prepares it moves before it.
    """
    found: list[Task] = []
    last: dict[tuple[Kind, date], int] = {}
    for task in in_order(tasks):
        if task.kind in DAILY or task.kind is Kind.SETUP:
            found.append(task)
            continue
        day = _nearest(task.day, days, task.kind in _AHEAD)
        if day < start <= task.day:
            day = start
        moved = _moved(task, day)
        place = last.get((task.kind, day)) if task.kind in _TOGETHER else None
        if place is None:
            last[task.kind, day] = len(found)
            found.append(moved)
        else:
            found[place] = _joined(found[place], moved)
    return in_order(found)


def _nearest(day: date, days: Sequence[int], ahead: bool) -> date:
    """The work day nearest to a day, the earlier of two; the last not after it with `ahead`."""
    around = [day + timedelta(k) for k in range(-6, 1 if ahead else 7)]
    there = [one for one in around if one.weekday() in days]
    return min(there, key=lambda one: (abs((one - day).days), one))


def _moved(task: Task, day: date) -> Task:
    if day == task.day:
        return task
    return replace(task, day=day, when=f"{task.when} Due {day_in_words(task.day, weekday=True)}.")


def _joined(one: Task, other: Task) -> Task:
    """Two tasks of a kind as one: the bins of both, what is said of each once."""
    bins = tuple(sorted({*one.bins, *other.bins}))
    head, _, _ = one.summary.partition(":")
    summary = f"{head}: {bins_in_words(bins)}" if bins else one.summary
    for said in (one.summary, other.summary):
        if said.startswith("Inspect all"):
            summary = said
    if one.kind is Kind.TREAT and other.summary != one.summary:
        summary = f"{one.summary}; {other.summary[:1].lower()}{other.summary[1:]}"
    detail = one.detail if other.detail in one.detail else f"{one.detail} {other.detail}"
    when = one.when if other.when in one.when else f"{one.when} {other.when}"
    expected = one.expected and other.expected
    return replace(one, bins=bins, summary=summary, detail=detail, when=when, expected=expected)


def by_day(tasks: Iterable[Task]) -> dict[date, list[Task]]:
    """Tasks that are not done every day, by their day."""
    found: dict[date, list[Task]] = {}
    for task in in_order(tasks):
        if task.kind not in DAILY:
            found.setdefault(task.day, []).append(task)
    return found


def daily_by_week(tasks: Iterable[Task], start: date) -> dict[date, list[tuple[Task, date, date]]]:
    """What is done every day, by weeks from the start: task, its first and last day in the week."""
    found: dict[date, list[tuple[Task, date, date]]] = {}
    for task in in_order(tasks):
        if task.kind not in DAILY:
            continue
        week = start + timedelta(7 * ((task.day - start).days // 7))
        while week <= task.last:
            first, last = max(week, task.day), min(week + timedelta(6), task.last)
            found.setdefault(week, []).append((task, first, last))
            week += timedelta(7)
    return dict(sorted(found.items()))
