"""Which of many means over the same seeds is best, and which the runs do not tell from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colony_sim.statistics.core import holm, mean_interval, paired_p

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
    pairs : array of int, shape (items,)
        Seeds at which both the item and the best have a value.
    """

    best: int
    means: np.ndarray
    ties: np.ndarray
    p_holm: np.ndarray
    family: int
    pairs: np.ndarray


def leading(
    values: np.ndarray, more: bool = True, level: float = 0.95, most: int = MOST
) -> Leading | None:
    """The best of some items by their means, and which tie with it.

    An item ties with the best unless the paired t interval leaves out 0 and the p value, adjusted
    by Holm over all pairs of items (the best is chosen after the fact), is below 1 - level.

    Parameters
    ----------
    values : array, shape (items, seeds)
        NaN where a run does not count.
    more : bool
        Whether more is better.
    level : float
        Of the intervals.
    most : int
        Items that are compared.

    Returns
    -------
    Leading or None
        None if no item has a value, or there are more than `most` with one.
    """
    x = np.asarray(values, dtype=float)
    of_all = mean_interval(x, level)
    means, known = of_all.mean, np.flatnonzero(of_all.n > 0)
    if not 0 < len(known) <= most:
        return None
    best = int(known[np.argmax(means[known] if more else -means[known])])
    first, second = np.triu_indices(len(known), k=1)
    # Item by item, as all pairs at once would be the square of the items in memory.
    p = [paired_p(x[i] - x[known[place + 1 :]]) for place, i in enumerate(known[:-1])]
    adjusted = holm(np.concatenate(p)) if p else np.empty(0)
    p_best = np.full(len(x), np.nan)
    for one, other in ((first, second), (second, first)):
        here = known[one] == best
        p_best[known[other[here]]] = adjusted[here]
    # No unadjusted p value is larger, so the t interval leaves out 0 where this one is small.
    ties = (of_all.n > 0) & ~(p_best < 1 - level)
    pairs = np.isfinite(x - x[best]).sum(axis=-1)
    return Leading(best, means, ties, p_best, int(np.isfinite(adjusted).sum()), pairs)
