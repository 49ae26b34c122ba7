"""From what a replay shows to what a keeper would have written down, and to numbers to learn from.

Counts are written with a relative error (lognormal) and as whole numbers; weights with that of the
scales besides. Features are logarithms of what was written, and of its totals by kind, so that an
error of a tenth is as large at 20 as at 2,000.
"""

from __future__ import annotations

import numpy as np

from colony_sim.logs.schedule import Observed, Schedule

#: Standard error of scales (g): of a rounding to 1 g, and to 0.1 g for a few insects weighed.
SCALES_G, FINE_SCALES_G = 0.29, 0.03
#: Added before logarithms are taken, by unit.
_OFFSET = {"count": 1.0, "grams": 1.0, "mg each": 1.0}


def written(schedule: Schedule, seen: np.ndarray, chance: np.random.Generator) -> np.ndarray:
    """What a keeper writes down (float64, shape as `seen`: logs x observed, or one log)."""
    seen = np.asarray(seen, float)
    errors = np.array([o.error for o in schedule.observed])
    units = np.array([o.unit for o in schedule.observed])
    each = np.array([o.entry.count or 1.0 for o in schedule.observed])
    noise = chance.standard_normal((2, *seen.shape))
    values = seen * np.exp(errors * noise[0])
    fine = 1000 * FINE_SCALES_G / each
    scales = np.where(units == "grams", SCALES_G, np.where(units == "mg each", fine, 0.0))
    values = np.where(seen > 0, np.maximum(values + scales * noise[1], 0.0), 0.0)
    return np.where(units == "count", np.round(values), values)


def features(schedule: Schedule, values: np.ndarray) -> np.ndarray:
    """Logarithms of numbers in a log and of their totals by kind (logs x features)."""
    values = np.atleast_2d(np.asarray(values, float))
    parts = [np.log(values + [_OFFSET[o.unit] for o in schedule.observed])]
    for kind, places in kinds(schedule.observed).items():
        if len(places) > 1:
            parts.append(np.log(values[:, places].sum(axis=1, keepdims=True) + _OFFSET[kind[2]]))
    return np.concatenate(parts, axis=1)


def kinds(observed: tuple[Observed, ...]) -> dict[tuple[str, str, str], list[int]]:
    """Places of the observed numbers by action, stage and unit."""
    found: dict[tuple[str, str, str], list[int]] = {}
    for place, one in enumerate(observed):
        found.setdefault(one.kind, []).append(place)
    return found


def on_paper(schedule: Schedule) -> np.ndarray:
    """The numbers of the log itself (float64, shape (observed,))."""
    return np.array([o.value for o in schedule.observed])
