"""What to buy: bran and moist feed per calendar month."""

from __future__ import annotations

from datetime import date

import pandas as pd

from colony_sim.planning.chance import middle
from colony_sim.planning.forecast import Forecast
from colony_sim.planning.measuring import months_of

WATER_OF_ROOTS = 0.88
"""Water in fresh carrot (share): from memory, no source at hand."""


def purchases(forecast: Forecast, start: date) -> pd.DataFrame:
    """Bran, moisture and work per calendar month: median and 80 % range over runs.

    Returns
    -------
    pandas.DataFrame
        Per month: month (YYYY-MM), days of it that lie in the run, then name, name_low and
        name_high for bran_kg, moisture_kg (water in the moist feed), roots_kg (carrot that holds
        it) and hours.
    """
    dates = pd.date_range(start, periods=forecast.days, freq="D").strftime("%Y-%m")
    counts = dates.value_counts(sort=False)
    months = months_of(start, forecast.days)
    table = pd.DataFrame({"month": months, "days": [int(counts[m]) for m in months]})
    series = {
        "bran_kg": forecast.months("bran_g") / 1000.0,
        "moisture_kg": forecast.months("moisture_g") / 1000.0,
        "roots_kg": forecast.months("moisture_g") / 1000.0 / WATER_OF_ROOTS,
        "hours": forecast.months("minutes") / 60.0,
    }
    for name, values in series.items():
        mid, low, high = middle(values)
        table[name], table[f"{name}_low"], table[f"{name}_high"] = mid, low, high
    return table
