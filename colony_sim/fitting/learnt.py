"""What a log has taught: each value before and after, in numbers."""

from __future__ import annotations

import numpy as np
import pandas as pd

from colony_sim.assimilation.conditioning import quantiles
from colony_sim.assimilation.values import Values
from colony_sim.biology.parameters import catalogue
from colony_sim.fitting.posterior import Posterior

LEARNT, HARDLY, NOT = "learnt", "hardly learnt", "not learnt"
#: A value is learnt if its 90 % interval is at most this share as wide as before, hardly learnt
#: up to the second share. On the scale of normal scores.
LEARNT_SHARE, HARDLY_SHARE = 0.5, 0.8
#: Correlation of scores beyond which two values are known better together than alone.
TOGETHER = 0.6
RULE = (
    f"learnt: the 90 % interval is at most {100 * LEARNT_SHARE:.0f} % as wide as before the log "
    f"was read; hardly learnt: up to {100 * HARDLY_SHARE:.0f} %; not learnt: wider"
)
_LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)


def learnt_table(values: Values, posterior: Posterior) -> pd.DataFrame:
    """Each number before and after, the one that was narrowed most first.

    Returns
    -------
    DataFrame
        One row a key: `key`, `unit`, `before_low`, `before_high` (90 % interval of the members),
        `least`, `most` (of the members), `median`, `low_50`, `high_50`, `low_90`, `high_90`,
        `width_share` and `learnt`.
    """
    told = quantiles(posterior.scores, posterior.weights, _LEVELS)
    ends = values.numbers_at(told)
    columns = values.worlds.draws[:, values.numbers]
    before = np.quantile(columns, [0.0, 0.05, 0.95, 1.0], axis=0)
    was = np.subtract(*np.quantile(values.scores, [0.95, 0.05], axis=0))
    widths = (told[4] - told[0]) / was
    rows = []
    for place in np.argsort(widths, kind="stable"):
        key = values.keys[place]
        rows.append({
            "key": key, "unit": catalogue()[key].unit,
            "before_low": before[1, place], "before_high": before[2, place],
            "least": before[0, place], "most": before[3, place],
            "median": ends[2, place], "low_50": ends[1, place], "high_50": ends[3, place],
            "low_90": ends[0, place], "high_90": ends[4, place],
            "width_share": widths[place], "learnt": word(float(widths[place])),
        })  # fmt: skip
    return pd.DataFrame(rows)


def word(share: float) -> str:
    """The word for a share of the width before."""
    if share <= LEARNT_SHARE:
        return LEARNT
    return HARDLY if share <= HARDLY_SHARE else NOT


def together(
    keys: tuple[str, ...], posterior: Posterior, before: np.ndarray
) -> list[tuple[str, str, float]]:
    """Pairs of keys whose draws go together, and did not before; the strongest first.

    Parameters
    ----------
    keys : tuple of str
    posterior : Posterior
    before : float64 array, shape (members, keys)
        Scores of all members.
    """
    if len(keys) < 2:
        return []
    after = _correlation(posterior.scores, posterior.weights)
    was = np.corrcoef(before.T)
    pairs = [
        (keys[i], keys[j], float(after[i, j]))
        for i, j in zip(*np.triu_indices(len(keys), 1), strict=True)
        if abs(after[i, j]) >= TOGETHER > abs(was[i, j])
    ]
    return sorted(pairs, key=lambda pair: -abs(pair[2]))


def _correlation(rows: np.ndarray, weights: np.ndarray) -> np.ndarray:
    covariance = np.cov(rows.T, aweights=weights)
    spread = np.sqrt(np.diag(covariance))
    found: np.ndarray = covariance / np.outer(spread, spread)
    return found
