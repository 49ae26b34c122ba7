"""What is held possible before a log is read: the plausible ranges of `parameters.toml`.

Each key is uniform over its range, or uniform in its logarithm where the range spans more than a
factor of ten. Inference works on standard normal scores of that distribution, so that a posterior
cannot leave the ranges.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from colony_sim.biology.parameters import Parameters, find
from colony_sim.errors import InputError
from colony_sim.experiment.hands import DECADE

#: What a log of moves, counts and harvests can inform; chosen because each moves the numbers of
#: such logs (`tests.verification` claim `calibration` shows by how much).
KEYS = (
    "fecundity.peak_eggs_per_day",
    "predation.adult_egg",
    "larva.young_hazard_per_day",
    "larva.duration_days",
    "larva.mature_mass_mg",
    "growth.crowding_slope",
    "growth.dry_share",
    "adult.life_mean_days",
)
MOST_KEYS = 12


@dataclass(frozen=True)
class Prior:
    """Independent distributions of some keys of the biology.

    Attributes
    ----------
    keys : tuple of str
    low, high : tuple of float
        Plausible range of each key, in its unit.
    log : tuple of bool
        Whether it is uniform in the logarithm.
    """

    keys: tuple[str, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    log: tuple[bool, ...]

    def values(self, scores: np.ndarray) -> np.ndarray:
        """Values of keys (... x keys) from standard normal scores."""
        share = ndtr(np.asarray(scores, float))
        low, high = np.array(self.low), np.array(self.high)
        log = np.array(self.log)
        ratio = np.where(log, high / np.where(log, low, 1.0), 1.0)
        values = np.where(log, np.where(log, low, 1.0) * ratio**share, low + (high - low) * share)
        return np.clip(values, low, high)

    def scores(self, values: np.ndarray) -> np.ndarray:
        """Standard normal scores of values of keys (... x keys); the inverse of `values`."""
        values = np.asarray(values, float)
        low, high = np.array(self.low), np.array(self.high)
        log = np.array(self.log)
        safe = np.where(log, values, 1.0)
        ratio = np.where(log, high / np.where(log, low, 1.0), np.e)
        along = np.log(safe / np.where(log, low, 1.0)) / np.log(ratio)
        share = np.where(log, along, (values - low) / (high - low))
        return ndtri(np.clip(share, 1e-9, 1 - 1e-9))

    def interval(self, level: float) -> np.ndarray:
        """Central intervals of the keys before a log is read (keys x 2)."""
        ends = ndtri(np.array([0.5 - level / 2, 0.5 + level / 2]))
        return self.values(np.repeat(ends[:, None], len(self.keys), axis=1)).T


def prior_for(keys: Sequence[str] | None, base: Parameters) -> Prior:
    """The prior of some keys (default: `KEYS`), all else as in `base`.

    Raises
    ------
    InputError
        A key that is not a number of the biology with a plausible range, or ranges whose ends do
        not go together with each other or with `base`.
    """
    where = "argument keys"
    keys = KEYS if keys is None else tuple(dict.fromkeys(keys))
    if not 1 <= len(keys) <= MOST_KEYS:
        raise InputError(where, "keys", len(keys), f"1 to {MOST_KEYS} keys")
    entries = [find(key, where, "biology") for key in keys]
    for entry in entries:
        if entry.kind != "number":
            raise InputError(where, "key", entry.key, "a number with a plausible range")
    low, high = zip(*(entry.ends for entry in entries), strict=True)
    for ends in itertools.product(*zip(low, high, strict=True)):
        # Keys that must keep an order would make the prior another than it says.
        base.with_values(dict(zip(keys, ends, strict=True)), where=where)
    log = tuple(a > 0 and b / a > DECADE for a, b in zip(low, high, strict=True))
    return Prior(keys, low, high, log)
