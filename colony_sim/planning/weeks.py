"""The plan week by week: harvest, chance that the want is met, feed, work, what is to be done."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from colony_sim.biology.climate import Climate
from colony_sim.colony.binlog import Action
from colony_sim.planning.chance import middle
from colony_sim.planning.forecast import Forecast
from colony_sim.planning.startup import trailing
from colony_sim.planning.wants import STRETCH_DAYS, Want

RANGES = ("harvest_g", "bins", "breeders", "bran_g", "moisture_g", "minutes")
"""Weekly series given with median and 80 % range."""
_DEEDS = {
    Action.BEETLES_IN: "put beetles into bin",
    Action.BEETLES_OUT: "move beetles out of bin",
    Action.PUPAE_TO_TRAY: "look for pupae in bin",
    Action.COLLECTED: "pick beetles out of bin",
    Action.HARVEST: "harvest bin",
    Action.MOISTURE_STARTED: "start moisture in bin",
    Action.BRAN_ADDED: "add bran to bin",
    Action.SMALL_LARVAE_IN: "put sifted small larvae into bin",
    Action.CLEARED: "clear and wash bin",
}
"""How an action is put to a keeper; the others are part of one of these."""


def week_table(
    forecast: Forecast, want: Want, start: date, growth_days: float, log: pd.DataFrame
) -> pd.DataFrame:
    """One row per whole week.

    Parameters
    ----------
    forecast : Forecast
        Of the chosen handling.
    want : Want
    start : date
        Of day 1; weeks count from it.
    growth_days : float
        Time of growth (d) whose temperature stands beside a week; NaN: none does.
    log : DataFrame
        Bin log of the run in the middle, for what is to be done.

    Returns
    -------
    pandas.DataFrame
        week, date (first day), temperature_c, growth_temperature_c (mean over the growth of what
        the week gives), name, name_low and name_high of `RANGES` (sums of the week; bins and
        breeders are means), four_weeks_g_per_day with its range, met (runs in which the four weeks
        up to the end of this one give what is wanted), runs, met_share, to_do.
    """
    count = forecast.days // 7
    ends = 7 * np.arange(1, count + 1)
    temperatures = forecast.case.climate.daily(forecast.days)
    table = pd.DataFrame({
        "week": np.arange(1, count + 1),
        "date": [(start + timedelta(days=7 * i)).isoformat() for i in range(count)],
        "temperature_c": temperatures[: 7 * count].reshape(count, 7).mean(axis=1),
        "growth_temperature_c": growth_temperatures(forecast.case.climate, ends, growth_days),
    })  # fmt: skip
    for name in RANGES:
        mid, low, high = middle(forecast.weeks(name)[:, :count])
        table[name], table[f"{name}_low"], table[f"{name}_high"] = mid, low, high
    four = trailing(forecast.harvest)[:, ends - 1]
    mid, low, high = middle(four)
    name = "four_weeks_g_per_day"
    table[name], table[f"{name}_low"], table[f"{name}_high"] = mid, low, high
    known = ends >= STRETCH_DAYS
    met = (np.nan_to_num(four, nan=-1.0) >= want.grams_per_day).sum(axis=0)
    table["met"] = np.where(known, met, 0)
    table["runs"] = forecast.runs
    table["met_share"] = table["met"] / forecast.runs
    table["to_do"] = to_do(log, count)
    return table


def growth_temperatures(climate: Climate, ends: np.ndarray, growth_days: float) -> list[float]:
    """Mean temperature (C) of the `growth_days` before each day (days before day 1 left out)."""
    if not np.isfinite(growth_days):
        return [np.nan] * len(ends)
    daily = climate.daily(int(max(ends)))
    span = max(1, round(growth_days))
    return [float(daily[max(0, end - span) : end].mean()) for end in ends]


def to_do(log: pd.DataFrame, weeks: int) -> list[str]:
    """Work of each week as one run had it, in words, deeds in the order they are first done."""
    found: list[list[str]] = [[] for _ in range(weeks)]
    named = log[log["bin"].notna()]
    for week, rows in named.groupby((named["day"].astype(int) - 1) // 7, sort=True):
        if not 0 <= week < weeks:
            continue
        bins: dict[str, dict[int, None]] = {}
        for action, label in zip(rows["action"], rows["bin"], strict=True):
            deed = _DEEDS.get(action)
            if deed is not None:
                bins.setdefault(deed, {})[int(label)] = None
        found[week] = [
            f"{deed}{'s' if len(labels) > 1 else ''} {', '.join(map(str, sorted(labels)))}"
            for deed, labels in bins.items()
        ]
    return ["; ".join(deeds) for deeds in found]


def in_the_middle(forecast: Forecast) -> int:
    """The run closest to the middle: least sum of distances to the median four-week harvest."""
    four = trailing(forecast.harvest)[:, STRETCH_DAYS - 1 :]
    distance = np.abs(four - np.median(four, axis=0)).sum(axis=1)
    return int(np.argmin(distance))
