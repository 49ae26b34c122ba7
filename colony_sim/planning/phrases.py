"""Dates, shares and intervals of a plan in words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from decimal import ROUND_CEILING, ROUND_FLOOR
from typing import Any

from colony_sim.words.wording import number

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def nice(iso: str) -> str:
    """A date in words: 1 March 2030."""
    day = date.fromisoformat(iso)
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def percent(share: float) -> str:
    """A share as a whole percentage."""
    return f"{100 * share:.0f} %"


def interval(low: float, high: float) -> str:
    """An interval of shares in percent, rounded outward."""
    return f"{math.floor(100 * low + 1e-9)} to {math.ceil(100 * high - 1e-9)} %"


def points(gain: float, low: float, high: float) -> str:
    """A gain in percentage points with its interval, rounded outward."""
    ends = f"{math.floor(100 * low + 1e-9)} to {math.ceil(100 * high - 1e-9)}"
    return f"{100 * gain:.0f} percentage points more (95 % interval {ends})"


def range_text(low: float, high: float) -> str:
    """A 95 % interval, rounded outward."""
    if low is None or high is None:
        return "too few runs for an interval"
    bottom, top = number(low, ROUND_FLOOR), number(high, ROUND_CEILING)
    return f"95 % interval {bottom} to {top}"


def reach_limits(reach: Mapping[str, Any]) -> str:
    """Interval of what is reached, rounded outward; says where the runs are too few."""
    low = number(reach["low"], ROUND_FLOOR) if reach["low"] else "0"
    if reach["high"] is None:
        return f"95 % interval from {low} up, too few runs for an upper limit"
    return f"95 % interval {low} to {number(reach['high'], ROUND_CEILING)}"
