"""Simulation-based calibration: does the fit know how much it knows?

Logs are simulated from values drawn from the prior, and each is fitted as the keeper's log is. If
the posterior is right, the rank of the true value among its draws is uniform (Cook, Gelman and
Rubin 2006, J. Comput. Graph. Stat. 15:675; Talts, Betancourt, Simpson, Vehtari and Gelman 2018,
arXiv:1804.06788), and central intervals of 50 and 90 % hold the true value that often.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from colony_sim.fitting.inference import Posterior
from colony_sim.fitting.simulated import Logs

#: Draws for each log: one less than a multiple of the bins of the histogram.
DRAWS = 299
BINS = 10
LEVELS = (0.5, 0.9)
#: Probability that at least one check of a right fit fails, over all keys and checks.
FALSE_ALARM = 0.01


def ranks(posterior: Posterior, logs: Logs, seed: int) -> np.ndarray:
    """Rank of each true score among its draws, 0 to `DRAWS` (logs x keys)."""
    draws = posterior.draws(logs.values, DRAWS, seed)
    return (draws < logs.scores[:, None, :]).sum(axis=1)


def calibrate(found: np.ndarray, keys: tuple[str, ...]) -> pd.DataFrame:
    """Coverage and flatness of ranks.

    Parameters
    ----------
    found : int array, shape (logs, keys)
        As `ranks` gives them.
    keys : tuple of str

    Returns
    -------
    DataFrame
        One row a key: `covered_50`, `covered_90` (shares of logs), `low_50` to `high_90` (where
        such a share lies by chance, binomial, with `FALSE_ALARM` shared by all checks),
        `chi_square`, `p_flat`, `passed`, and `rank_1` to `rank_10`, logs in each tenth of ranks.
    """
    logs, rows = len(found), []
    alpha = FALSE_ALARM / (3 * len(keys))
    for place, key in enumerate(keys):
        row: dict[str, object] = {"key": key, "logs": logs}
        fine = True
        for level in LEVELS:
            name = f"{100 * level:g}"
            inside = covered(found[:, place], level)
            # An interval of whole ranks holds a little more or less than the level.
            exact = expected(level)
            low = stats.binom.ppf(alpha / 2, logs, exact) / logs
            high = stats.binom.ppf(1 - alpha / 2, logs, exact) / logs
            row |= {f"covered_{name}": inside, f"low_{name}": low, f"high_{name}": high}
            fine &= low <= inside <= high
        counts = histogram(found[:, place])
        test = stats.chisquare(counts)
        fine &= test.pvalue >= alpha
        row |= {"chi_square": float(test.statistic), "p_flat": float(test.pvalue)}
        row |= {"passed": bool(fine)}
        row |= {f"rank_{i}": int(n) for i, n in enumerate(counts, start=1)}
        rows.append(row)
    return pd.DataFrame(rows)


def histogram(found: np.ndarray) -> np.ndarray:
    """Logs by tenth of the ranks of one key."""
    return np.bincount(found * BINS // (DRAWS + 1), minlength=BINS)


def _ends(level: float) -> tuple[int, int]:
    """First and last rank inside the central interval."""
    tail = round((1 - level) / 2 * (DRAWS + 1))
    return tail, DRAWS - tail


def covered(found: np.ndarray, level: float) -> float:
    """Share of logs whose true value lies in the central interval."""
    first, last = _ends(level)
    return float(np.mean((found >= first) & (found <= last)))


def expected(level: float) -> float:
    """Share that a right fit has there."""
    first, last = _ends(level)
    return (last - first + 1) / (DRAWS + 1)
