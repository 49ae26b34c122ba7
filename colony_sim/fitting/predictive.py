"""The log against logs that the model would have given: can it have written this one?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from colony_sim.fitting import observe
from colony_sim.fitting.schedule import Schedule

#: Logs simulated from posterior draws.
LOGS = 200
#: Below this probability the model is said not to reproduce the log.
DOUBT = 0.01
#: Least spread of a logarithm: simulated logs that all agree leave room for a slip of a tenth.
_LEAST_SPREAD = 0.1


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


def plausibility(schedule: Schedule, values: np.ndarray, log: np.ndarray) -> float:
    """How often a simulated log lies as far from the others as the keeper's does.

    The distance is the sum of squared standardised features; their means and spreads are of one
    half of the simulated logs, the distances it is compared with of the other half.

    Parameters
    ----------
    schedule : Schedule
    values : float64 array, shape (logs, observed)
        Simulated logs.
    log : float64 array, shape (observed,)
    """
    table = observe.features(schedule, values)
    first, second = table[::2], table[1::2]
    middle = first.mean(axis=0)
    spread = np.maximum(first.std(axis=0, ddof=1), _LEAST_SPREAD)

    def distance(rows: np.ndarray) -> np.ndarray:
        return (((rows - middle) / spread) ** 2).sum(axis=1)

    mine = distance(observe.features(schedule, log))[0]
    # Counting the log itself keeps the share above 0, as a permutation test does.
    return float((np.sum(distance(second) >= mine) + 1) / (len(second) + 1))
