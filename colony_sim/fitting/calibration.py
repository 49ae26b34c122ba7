"""Does the fit know how much it knows? Members' own logs, each fitted with the member left out.

If the posterior is right, the share of it below the true value is uniform (Cook, Gelman and Rubin
2006, J. Comput. Graph. Stat. 15:675; Talts, Betancourt, Simpson, Vehtari and Gelman 2018,
arXiv:1804.06788), and central intervals of 50 and 90 % hold the true value that often.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from colony_sim.fitting.posterior import Learner

TESTS = 200
BINS = 10
LEVELS = (0.5, 0.9)
#: Probability that at least one check of a right fit fails, over all keys and checks.
FALSE_ALARM = 0.01


def below(learner: Learner, tests: int = TESTS) -> np.ndarray:
    """Share of the posterior below the true score of members, evenly picked (tests x numbers)."""
    members = len(learner.features)
    rows = []
    for member in np.unique(np.linspace(0, members - 1, min(tests, members)).astype(int)):
        posterior = learner.of_member(int(member))
        rows.append(posterior.weights @ (posterior.scores < learner.values.scores[member]))
    return np.array(rows)


def calibrate(found: np.ndarray, keys: tuple[str, ...]) -> pd.DataFrame:
    """Coverage and flatness.

    Parameters
    ----------
    found : float64 array, shape (logs, keys)
        As `below` gives them.
    keys : tuple of str

    Returns
    -------
    DataFrame
        One row a key: `logs`, `covered_50`, `covered_90` (shares of logs), `low_50` to `high_90`
        (where such a share lies by chance, binomial, with `FALSE_ALARM` shared by all checks),
        `chi_square`, `p_flat`, `passed`, and `tenth_1` to `tenth_10`, logs whose true value lies in
        each tenth of the posterior.
    """
    logs, rows = len(found), []
    alpha = FALSE_ALARM / (3 * len(keys))
    for place, key in enumerate(keys):
        row: dict[str, object] = {"key": key, "logs": logs}
        fine = True
        for level in LEVELS:
            name = f"{100 * level:g}"
            inside = covered(found[:, place], level)
            low = stats.binom.ppf(alpha / 2, logs, level) / logs
            high = stats.binom.ppf(1 - alpha / 2, logs, level) / logs
            row |= {f"covered_{name}": inside, f"low_{name}": low, f"high_{name}": high}
            fine &= low <= inside <= high
        counts = histogram(found[:, place])
        test = stats.chisquare(counts)
        fine &= test.pvalue >= alpha
        row |= {"chi_square": float(test.statistic), "p_flat": float(test.pvalue)}
        row |= {"passed": bool(fine)}
        row |= {f"tenth_{i}": int(n) for i, n in enumerate(counts, start=1)}
        rows.append(row)
    return pd.DataFrame(rows)


def histogram(found: np.ndarray) -> np.ndarray:
    """Logs by tenth of the posterior of one key."""
    return np.bincount(np.minimum((found * BINS).astype(int), BINS - 1), minlength=BINS)


def covered(found: np.ndarray, level: float) -> float:
    """Share of logs whose true value lies in the central interval."""
    return float(np.mean(np.abs(found - 0.5) <= level / 2))
