"""Numbers and comparisons in words, the same in verdict, titles and tables."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal

import pandas as pd


def separated(row: pd.Series) -> bool:
    """Whether a row of a table of paired differences supports a difference.

    The interval must leave out 0 and the Holm-adjusted p value be below 1 - level.
    """
    leaves_out_zero = row["low"] > 0 or row["high"] < 0
    return bool(leaves_out_zero and row["p_holm"] < 1 - row["level"])


def number(value: float, rounding: str = ROUND_HALF_EVEN) -> str:
    """Three significant digits, trailing zeros kept; rounding as for `decimal`."""
    if value == 0:
        return "0"
    rounded = Context(prec=3, rounding=rounding).plus(Decimal(repr(float(value))))
    if abs(value) < 1e-4:
        return f"{rounded:.2e}"
    return str(int(rounded)) if abs(rounded) >= 100 else f"{rounded:.{2 - rounded.adjusted()}f}"


def level(row: pd.Series) -> str:
    """The confidence level of a row, such as "95 %"."""
    return f"{100 * row['level']:.3g} %"


def limits(row: pd.Series) -> str:
    """Interval of a row, rounded outward so that no limit claims more than was found."""
    low, high = number(row["low"], ROUND_FLOOR), number(row["high"], ROUND_CEILING)
    return f"{level(row)} interval {low} to {high}"
