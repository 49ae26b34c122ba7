"""Dates, shares and intervals of a plan in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import ROUND_FLOOR
from typing import Any

from colony_sim.words.estimate import Estimate, number, percents
from colony_sim.words.listing import listed
from colony_sim.words.units import scaled

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def nice(iso: str) -> str:
    """A date in words: 1 March 2030."""
    day = date.fromisoformat(iso)
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def month(day: date) -> str:
    """A month in words: March 2030."""
    return f"{_MONTHS[day.month - 1]} {day.year}"


def months(numbers: Sequence[int]) -> str:
    """Months of any year in words, those in a row as a span: January to March and July."""
    spans: list[list[int]] = []
    for one in sorted(numbers):
        if spans and one == spans[-1][-1] + 1:
            spans[-1].append(one)
        else:
            spans.append([one])
    if len(spans) > 1 and spans[0][0] == 1 and spans[-1][-1] == 12:
        spans[0] = spans.pop() + spans[0]  # December goes on in January.
    said = [
        _MONTHS[span[0] - 1] + (f" to {_MONTHS[span[-1] - 1]}" if len(span) > 1 else "")
        for span in spans
    ]
    return listed(said)


def points(gain: float, low: float, high: float) -> str:
    """A gain in percentage points with its interval, rounded outward."""
    ends = percents(low, high).removesuffix(" %")
    return f"{100 * gain:.0f} percentage points more (95 % interval {ends})"


def range_text(low: float, high: float) -> str:
    """A 95 % interval, rounded outward."""
    if low is None or high is None:
        return "too few runs for an interval"
    return Estimate(math.nan, low, high).interval


def reach_limits(reach: Mapping[str, Any]) -> str:
    """Interval of what is reached, rounded outward, in the unit that this is shown in.

    Says where the runs are too few.
    """
    size = reach["grams"]
    low = scaled(reach["low"] or 0.0, "g", size)
    if reach["high"] is None:
        low = number(low, ROUND_FLOOR)
        return f"95 % interval from {low} up, too few runs for an upper limit"
    return Estimate(math.nan, low, scaled(reach["high"], "g", size)).interval
