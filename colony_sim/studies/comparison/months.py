"""Daily series as means over months of whole handling periods."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

MONTH = 30
"""Length of a month (days), about."""


def months(
    daily: pd.DataFrame,
    policy: str,
    period: int,
    columns: Sequence[str] = ("harvest_g",),
    days: int = 0,
) -> tuple[pd.DataFrame, int]:
    """Means of each run by months of whole handling periods, and their length (days).

    With calendar months the number of harvests would differ from one to the next. The last days
    of a run that fill no month are left out.

    Parameters
    ----------
    daily : DataFrame
        Policy, seed, day and the columns, one row a day and run.
    policy : str
    period : int
        Days after which the pulses of handling repeat.
    columns : sequence of str
    days : int
        A run that ends before this day has died out and goes on with zeros to it.

    Returns
    -------
    DataFrame
        seed, each of the columns, day (the middle of the month).
    int
        Length of a month (days).
    """
    length = period * max(1, round(MONTH / period))
    rows = daily.loc[daily["policy"] == policy, ["seed", "day", *columns]]
    whole = [(seed, day) for seed, last in rows.groupby("seed")["day"].max().items()
             for day in range(last + 1, days + 1)]  # fmt: skip
    if whole:
        after = pd.DataFrame(whole, columns=["seed", "day"])
        rows = pd.concat([rows, after.assign(**dict.fromkeys(columns, 0.0))], ignore_index=True)
    block = ((rows["day"] - 1) // length).rename("block")
    grouped = rows.groupby(["seed", block])[list(columns)]
    found = grouped.mean()[(grouped.size() == length).to_numpy()].reset_index()
    found["day"] = (found["block"] + 0.5) * length
    return found.drop(columns="block"), length
