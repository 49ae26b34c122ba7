"""What a log has taught: each value before and after, in numbers."""

from __future__ import annotations

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import catalogue
from colony_sim.fitting.prior import Prior

LEARNT, HARDLY, NOT = "learnt", "hardly learnt", "not learnt"
#: A value is learnt if its 90 % interval is at most this share as wide as before, hardly learnt
#: up to the second share. On the logarithm where the prior is.
LEARNT_SHARE, HARDLY_SHARE = 0.5, 0.8
#: Correlation of scores beyond which two values are known better together than alone.
TOGETHER = 0.6
RULE = (
    f"learnt: the 90 % interval is at most {100 * LEARNT_SHARE:.0f} % as wide as before the log "
    f"was read; hardly learnt: up to {100 * HARDLY_SHARE:.0f} %; not learnt: wider"
)


def learnt_table(prior: Prior, scores: np.ndarray) -> pd.DataFrame:
    """Each key before and after.

    Parameters
    ----------
    prior : Prior
    scores : float64 array, shape (draws, keys)
        Posterior draws as standard normal scores of the prior.

    Returns
    -------
    DataFrame
        One row a key: `key`, `unit`, `before_low`, `before_high` (90 % interval of the prior),
        `median`, `low_50`, `high_50`, `low_90`, `high_90`, `width_share` and `learnt`.
    """
    values = prior.values(scores)
    before = prior.interval(0.9)
    rows = []
    for place, key in enumerate(prior.keys):
        ends = np.quantile(values[:, place], [0.05, 0.25, 0.5, 0.75, 0.95])
        scale = np.log if prior.log[place] else np.asarray
        after = float(np.diff(scale(ends[[0, 4]]))[0])
        share = after / float(np.diff(scale(before[place]))[0])
        rows.append({
            "key": key, "unit": catalogue()[key].unit,
            "before_low": before[place, 0], "before_high": before[place, 1],
            "median": ends[2], "low_50": ends[1], "high_50": ends[3],
            "low_90": ends[0], "high_90": ends[4],
            "width_share": share, "learnt": word(share),
        })  # fmt: skip
    return pd.DataFrame(rows)


def word(share: float) -> str:
    """The word for a share of the width before."""
    if share <= LEARNT_SHARE:
        return LEARNT
    return HARDLY if share <= HARDLY_SHARE else NOT


def together(prior: Prior, scores: np.ndarray) -> list[tuple[str, str, float]]:
    """Pairs of keys whose draws go together, with their correlation, the strongest first."""
    if len(prior.keys) < 2:
        return []
    table = np.corrcoef(scores.T)
    pairs = [
        (prior.keys[i], prior.keys[j], float(table[i, j]))
        for i, j in zip(*np.triu_indices(len(prior.keys), 1), strict=True)
        if abs(table[i, j]) >= TOGETHER
    ]
    return sorted(pairs, key=lambda pair: -abs(pair[2]))
