"""The log against logs that colonies of the fit have written."""

from __future__ import annotations

import numpy as np
import pandas as pd

from colony_sim.logs.schedule import Schedule


def predictive_table(schedule: Schedule, values: np.ndarray) -> pd.DataFrame:
    """Each number of the log beside those of simulated logs.

    Parameters
    ----------
    schedule : Schedule
    values : float64 array, shape (logs, observed)
        Logs simulated from posterior draws.

    Returns
    -------
    DataFrame
        One row a number: `row`, `date`, `bin`, `action`, `stage`, `unit`, `written`, `median`,
        `low_90`, `high_90` and `inside`.
    """
    ends = np.quantile(values, [0.05, 0.5, 0.95], axis=0)
    rows = []
    for place, one in enumerate(schedule.observed):
        low, middle, high = ends[:, place]
        rows.append({
            "row": one.entry.row, "date": one.entry.date.isoformat(), "bin": one.entry.bin,
            "action": one.entry.action.value, "stage": one.entry.stage, "unit": one.unit,
            "written": one.value, "median": middle, "low_90": low, "high_90": high,
            "inside": bool(low <= one.value <= high),
        })  # fmt: skip
    return pd.DataFrame(rows)
