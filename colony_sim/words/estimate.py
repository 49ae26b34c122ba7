"""Numbers as they are printed, with their intervals: the one place that rounds and typesets.

Three significant digits; limits are rounded outward, so that none claims more than was found. The
same in terminal tables, sentences, report and figures.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal
from typing import Any

import pandas as pd

NOTHING = "–"
"""Where there is no number."""


@dataclass(frozen=True)
class Estimate:
    """A number with its interval.

    Attributes
    ----------
    mean : float
        NaN if not known.
    low, high : float
        Limits; NaN if there is no interval.
    unit : str
        As printed; may be empty.
    level : float
        Of the interval.
    """

    mean: float
    low: float = math.nan
    high: float = math.nan
    unit: str = ""
    level: float = 0.95

    @classmethod
    def of(cls, row: Any, mean: str = "mean", ends: str = "{}", unit: str = "") -> Estimate:
        """From a row of a table; `ends` makes the names of the limits of "low" and "high"."""
        low, high = (row[ends.format(end)] for end in ("low", "high"))
        return cls(row[mean], low, high, unit, row.get("level", 0.95))

    @property
    def bounded(self) -> bool:
        """Whether there is an interval."""
        return math.isfinite(self.low) and math.isfinite(self.high)

    @property
    def value(self) -> str:
        """The number and its unit alone: ``12.3 g/day``."""
        return f"{number(self.mean)} {self.unit}".rstrip()

    @property
    def limits(self) -> str:
        """The limits alone: ``11.9 to 12.8``."""
        return f"{number(self.low, ROUND_FLOOR)} to {number(self.high, ROUND_CEILING)}"

    @property
    def interval(self) -> str:
        """``95 % interval 11.9 to 12.8``."""
        return f"{percent_of(self.level)} interval {self.limits}"

    @property
    def cell(self) -> str:
        """For a table, whose head says unit and level: ``12.3 (11.9 to 12.8)``."""
        known = math.isfinite(self.mean) and self.bounded
        return f"{number(self.mean)} ({self.limits})" if known else number(self.mean)

    def __str__(self) -> str:
        """For a sentence: ``12.3 g/day (95 % interval 11.9 to 12.8)``."""
        if not math.isfinite(self.mean):
            return "not known"
        return f"{self.value} ({self.interval})" if self.bounded else self.value


def number(value: float, rounding: str = ROUND_HALF_EVEN) -> str:
    """Three significant digits, trailing zeros kept; rounding as for `decimal`.

    A dash where there is no number, "inf" or "-inf" where it has no end.
    """
    if math.isnan(value):
        return NOTHING
    if value == 0 or math.isinf(value):
        return f"{value:g}".replace("-0", "0")
    rounded = Context(prec=3, rounding=rounding).plus(Decimal(repr(float(value))))
    if abs(value) < 1e-4:
        return f"{rounded:.2e}"
    return str(int(rounded)) if abs(rounded) >= 100 else f"{rounded:.{2 - rounded.adjusted()}f}"


def limits(row: pd.Series) -> str:
    """Interval of a row with its level."""
    return Estimate(math.nan, row["low"], row["high"], level=row["level"]).interval


def percent(share: float) -> str:
    """A share as a whole percentage; more digits where 0 % or 100 % would not be true."""
    for places in range(17):
        text = f"{100 * share:.{places}f}"
        if float(text) not in (0.0, 100.0) or share in (0.0, 1.0):
            break
    return f"{text} %"


def of_100(share: float) -> str:
    """A share as a count of 100; none and all only where that is true."""
    whole = round(100 * share)
    return f"{min(max(whole, 1), 99) if 1e-9 < share < 1 - 1e-9 else whole}"


def short(value: float) -> str:
    """Two significant digits, whole numbers from 10 on: for a page that is read at once."""
    return f"{value:.0f}" if abs(value) >= 10 else f"{float(f'{value:.2g}'):g}"


def percents(low: float, high: float) -> str:
    """An interval of shares in whole percent, rounded outward: ``12 to 35 %``."""
    return f"{math.floor(100 * low + 1e-9)} to {math.ceil(100 * high - 1e-9)} %"


def percent_of(level: float) -> str:
    """A level of confidence: ``95 %``."""
    return f"{100 * level:.3g} %"


def probability(p: float) -> str:
    """A p value, never 0."""
    return NOTHING if math.isnan(p) else f"{p:.2g}" if p >= 0.001 else "< 0.001"


def signed(value: float) -> str:
    """A difference with its sign, a true minus sign included."""
    return dashed(f"+{number(value)}" if value > 0 else number(value))


def dashed(text: str) -> str:
    """Hyphens before digits as true minus signs."""
    return re.sub(r"(?<![\w.])-(?=\d|inf)", "−", text)


def typeset(text: str) -> str:
    """Numbers with true minus signs and powers of ten."""
    powers = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
    text = re.sub(
        r"e-0?(\d+)", lambda found: f"\u202f×\u202f10⁻{found.group(1).translate(powers)}", text
    )
    return dashed(text)
