"""Which of many means over the same seeds is best, and which the runs do not tell from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from colony_sim.statistics.paired import holm, sign_flip_p

MOST = 400
"""Items that are compared pair by pair; the number of pairs grows with its square."""


@dataclass(frozen=True)
class Leading:
    """The best of some items and what the runs say about it.

    Attributes
    ----------
    best : int
        Place of the item with the best mean.
    means : array, shape (items,)
        NaN where there is no value.
    ties : array of bool, shape (items,)
        The runs do not tell the item from the best one (True for the best itself; False where
        there is no value).
    p_holm : array, shape (items,)
        Adjusted p value of each against the best; NaN without two pairs.
    family : int
        Pairs adjusted for.
    """

    best: int
    means: np.ndarray
    ties: np.ndarray
    p_holm: np.ndarray
    family: int


def leading(values: np.ndarray, more: bool = True, level: float = 0.95) -> Leading | None:
    """The best of some items by their means, and which tie with it.

    An item ties with the best unless the paired t interval leaves out 0 and the p value, adjusted
    by Holm over all pairs of items (the best is chosen after the fact), is below 1 - level: the
    rule of ``point_summary.ranking``.

    Parameters
    ----------
    values : array, shape (items, seeds)
        NaN where a run does not count.
    more : bool
        Whether more is better.
    level : float
        Of the intervals.

    Returns
    -------
    Leading or None
        None if no item has a value, or there are more than `MOST` with one.
    """
    x = np.asarray(values, dtype=float)
    n = np.isfinite(x).sum(axis=1)
    means = np.where(n > 0, np.nansum(x, axis=1) / np.maximum(n, 1), np.nan)
    known = np.flatnonzero(n > 0)
    if not 0 < len(known) <= MOST:
        return None
    best = int(known[np.argmax(means[known] if more else -means[known])])
    pairs, p = [], []
    for place, i in enumerate(known[:-1]):
        others = known[place + 1 :]
        pairs += [(int(i), int(j)) for j in others]
        p.append(paired_p_values(x[i] - x[others]))
    adjusted = holm(np.concatenate(p)) if p else np.empty(0)
    raw = dict(zip(pairs, np.concatenate(p) if p else (), strict=True))
    after = dict(zip(pairs, adjusted, strict=True))
    ties, p_best = np.zeros(len(x), dtype=bool), np.full(len(x), np.nan)
    ties[best] = True
    for i in known:
        if i != best:
            pair = (min(int(i), best), max(int(i), best))
            p_best[i] = after[pair]
            # The t interval leaves out 0 where the raw p value is below 1 - level.
            ties[i] = not max(raw[pair], after[pair]) < 1 - level
    return Leading(best, means, ties, p_best, int(np.isfinite(adjusted).sum()))


def paired_p_values(d: np.ndarray) -> np.ndarray:
    """Paired t test of each row (pairs that lack a value left out); NaN with fewer than two."""
    n = np.isfinite(d).sum(axis=1)
    size = np.maximum(n, 1)
    mean = np.nansum(d, axis=1) / size
    spread = np.sqrt(np.nansum((d - mean[:, None]) ** 2, axis=1) / np.maximum(n - 1, 1))
    error = spread / np.sqrt(size)
    with np.errstate(divide="ignore", invalid="ignore"):
        p = 2 * stats.t.sf(np.abs(mean) / error, np.maximum(n - 1, 1))
    largest = np.nanmax(np.abs(np.where(np.isfinite(d), d, 0.0)), axis=1, initial=0.0)
    for row in np.flatnonzero((n > 1) & (error <= 1e-12 * largest)):
        # All differences equal: t is not defined; the sign-flip test still is.
        p[row] = 1.0 if largest[row] == 0 else sign_flip_p(np.full(n[row], mean[row]))
    return np.where(n > 1, p, np.nan)
