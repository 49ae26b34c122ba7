"""The way from the first beetles to steady running: dates over runs."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pandas as pd

from colony_sim.planning.chance import middle_of_days
from colony_sim.planning.forecast import Forecast
from colony_sim.planning.measuring import EVENTS, day_date
from colony_sim.planning.wants import STRETCH_DAYS, Want

LABELS = {
    "first_pupa": "first pupae",
    "first_own_beetle": "first beetles of your own",
    "first_harvest": "first harvest",
    "want_first_met": "four weeks give what is wanted, the first time",
    "in_full_run": "four weeks give the mean of the last year",
    "want_met_for_good": "what is wanted is given from here to the end",
}


def trailing(harvest: np.ndarray) -> np.ndarray:
    """Mean harvest (g a day) of the stretch that ends with each day, shape (runs, days).

    NaN before the first whole stretch.
    """
    sums = np.cumsum(harvest, axis=1)
    found = np.full(harvest.shape, math.nan)
    before = np.concatenate([np.zeros((len(harvest), 1)), sums], axis=1)
    found[:, STRETCH_DAYS - 1 :] = before[:, STRETCH_DAYS:] - before[:, :-STRETCH_DAYS]
    return found / STRETCH_DAYS


def event_days(forecast: Forecast, want: Want) -> dict[str, list[int | None]]:
    """Day of each event of `LABELS` in each run; None where it did not come."""
    days: dict[str, list[int | None]] = {
        name: [o[name] for o in forecast.outcomes] for name in EVENTS
    }
    ends = trailing(forecast.harvest)[:, STRETCH_DAYS - 1 :]
    level = forecast.harvest[:, -365:].mean(axis=1)
    days["want_first_met"] = [_first(row >= want.grams_per_day) for row in ends]
    days["in_full_run"] = [
        _first(row >= mean) if mean > 0 else None for row, mean in zip(ends, level, strict=True)
    ]
    # The stretches are those by which a run is judged, followed back to the start.
    offset = want.after_days % STRETCH_DAYS
    met = forecast.stretch_yields(offset) >= want.grams_per_day
    days["want_met_for_good"] = [_for_good(row, offset) for row in met]
    return {name: days[name] for name in LABELS}


def startup(forecast: Forecast, want: Want, start: date) -> pd.DataFrame:
    """Median and 80 % range over runs of the date of each event.

    Returns
    -------
    pandas.DataFrame
        Per event: event, label, runs, came (runs in which it came), day, day_low, day_high,
        date, date_low, date_high; a day or date that lies beyond the run is missing. Events in
        the order of their median dates.
    """
    rows = []
    for event, days in event_days(forecast, want).items():
        mid, low, high = middle_of_days(days)
        found = {"day": mid, "day_low": low, "day_high": high}
        rows.append({
            "event": event,
            "label": LABELS[event],
            "runs": len(days),
            "came": sum(day is not None for day in days),
            **{key: int(v) if math.isfinite(v) else None for key, v in found.items()},
            **{
                key.replace("day", "date"): day_date(start, v).isoformat()
                if math.isfinite(v) else None
                for key, v in found.items()
            },
        })  # fmt: skip
    table = pd.DataFrame(rows).astype({"day": "Int64", "day_low": "Int64", "day_high": "Int64"})
    return table.sort_values("day", kind="stable", na_position="last", ignore_index=True)


def _first(holds: np.ndarray) -> int | None:
    places = np.flatnonzero(holds)
    return int(places[0]) + STRETCH_DAYS if len(places) else None


def _for_good(met: np.ndarray, offset: int) -> int | None:
    """Last day of the first of the stretches that are met without a break up to the end."""
    if not met[-1]:
        return None
    misses = np.flatnonzero(~met)
    first = int(misses[-1]) + 1 if len(misses) else 0
    return offset + (first + 1) * STRETCH_DAYS
