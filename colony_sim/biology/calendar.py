"""Temperatures by the calendar: what a run takes for days that a log does not have."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

import numpy as np

EARLIEST, LATEST = date(1900, 1, 1), date(9000, 1, 1)
"""Of dates that are read: the years after are left to runs, whatever they last."""
DATES = f"a date from {EARLIEST} to {LATEST}, written like 2030-03-01"


def is_usual(day: date) -> bool:
    """Whether a date that was read is one that a run can start on."""
    return EARLIEST <= day <= LATEST


def on_calendar(first: date, values: Sequence[float], start: date, days: int) -> np.ndarray:
    """Temperatures of `days` days from `start` on (float64, degrees C).

    Days that were measured are as measured. Others take the same day and month of the last
    measured year, 29 February the mean of its neighbours if that year had none. A log that lacks
    a day of the year begins again from its first day after its last; `start` must be in it.
    """
    series = np.asarray(values, dtype=np.float64)
    offset = (start - first).days + np.arange(days)
    if not covers_year(first, len(series)):
        return series[offset % len(series)]
    measured = (offset >= 0) & (offset < len(series))
    found = np.empty(days)
    found[measured] = series[offset[measured]]
    if not measured.all():
        by_day = _by_day_of_year(first, series)
        for place in np.flatnonzero(~measured):
            then = start + timedelta(days=int(place))
            found[place] = by_day[then.month, then.day]
    return found


def covers_year(first: date, days: int) -> bool:
    """Whether every day of the year but 29 February is among `days` days from `first` on."""
    return days >= 366 or len(_days_of_year(first, days) - {(2, 29)}) == 365


def going_on(first: date, days: int, start: date) -> str:
    """What a run takes for days that were not measured, in a sentence."""
    last = first + timedelta(days=days - 1)
    if covers_year(first, days):
        how = "days outside of that take the same day of its last year"
    else:
        how = "less than a year, so that a longer run begins again from its first day"
    return f"The log has {first} to {last}: {how}. Day 1 of a run is {start}."


def _days_of_year(first: date, days: int) -> set[tuple[int, int]]:
    every = (first + timedelta(days=n) for n in range(min(days, 366)))
    return {(day.month, day.day) for day in every}


def _by_day_of_year(first: date, series: np.ndarray) -> dict[tuple[int, int], float]:
    found: dict[tuple[int, int], float] = {}
    for place, value in enumerate(series):
        day = first + timedelta(days=place)
        found[day.month, day.day] = float(value)
    # Of several years the last; a leap day of an earlier one does not fit its neighbours.
    last = first + timedelta(days=len(series) - 1)
    leap = [d for d in _last_year(last) if (d.month, d.day) == (2, 29)]
    if not leap or (leap[0] - first).days < 0:
        found[2, 29] = (found[2, 28] + found[3, 1]) / 2
    return found


def _last_year(last: date) -> Iterable[date]:
    return (last - timedelta(days=n) for n in range(366))
