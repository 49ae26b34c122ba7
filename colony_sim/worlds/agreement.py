"""What worlds agree on: how far values narrowed, which are tied, which structures are told apart.

The error of a summary is its standard deviation over fits to random halves of the bank: it holds
the sampler's chance, and that of the bank, whose variance in a half is twice that of the whole
while a half leaves out as much as it holds (delete-half jackknife, Shao and Wu 1989).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.stats import rankdata

from colony_sim.biology.parameters import catalogue
from colony_sim.worlds import prior
from colony_sim.worlds.prior import SPREADS, Scores

#: Rank correlation from which a pair is called tied.
TIED = 0.25
#: Share of a value's prior spread that has to go before it is called narrowed.
NARROWED = 0.2
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


def narrowing(scores: Scores, halves: Sequence[Scores]) -> pd.DataFrame:
    """One row a value and spread, the most narrowed first.

    Columns: key, unit, range_low, range_high, low, middle, high (5, 50 and 95 % of the worlds, in
    the unit; a mean strain), narrowed (1 less the SD of its scores, whose prior SD is 1) and
    narrowed_error.
    """
    x = _scores(scores)
    narrowed = 1.0 - x.std(axis=0)
    error = np.std([1.0 - _scores(half).std(axis=0) for half in halves], axis=0, ddof=1)
    values = np.quantile(prior.prior().values(scores.values), [0.05, 0.5, 0.95], axis=0)
    spreads = np.quantile(scores.spread(), [0.05, 0.5, 0.95], axis=0)
    low, middle, high = np.hstack([values, spreads])
    rows = []
    for k, key in enumerate(names()):
        if k < len(prior.numbers()):
            ends, unit = (prior.prior().low[k], prior.prior().high[k]), catalogue()[key].unit
        else:
            of = SPREADS[k - len(prior.numbers())]
            ends = tuple(of.median * np.exp(of.sd * np.array([-1.645, 1.645])))
            unit = "factor" if of.name == "studies" else "SD of logarithm"
        rows.append({
            "key": key, "unit": unit, "range_low": ends[0], "range_high": ends[1],
            "low": low[k], "middle": middle[k], "high": high[k],
            "narrowed": narrowed[k], "narrowed_error": error[k],
        })  # fmt: skip
    return pd.DataFrame(rows).sort_values("narrowed", ascending=False, ignore_index=True)


def names() -> tuple[str, ...]:
    """Names of the columns of `narrowing`: values, and what spreads strains and studies."""
    return (*prior.numbers(), *(f"spread.{of.name}" for of in SPREADS))


def _scores(scores: Scores) -> np.ndarray:
    return np.hstack([scores.values, scores.spreads])


def ties(scores: Scores, halves: Sequence[Scores]) -> pd.DataFrame:
    """Pairs of values that go together, the strongest first.

    Columns: first, second (keys), correlation (Spearman) and correlation_error. Pairs count whose
    correlation is at least `TIED` and three times its error.
    """
    found, parts = _ranks(scores), np.array([_ranks(half) for half in halves])
    error = parts.std(axis=0, ddof=1)
    keys = names()
    rows = [
        {"first": keys[i], "second": keys[j], "correlation": found[i, j],
         "correlation_error": error[i, j]}
        for i, j in zip(*np.triu_indices(len(keys), 1), strict=True)
        if abs(found[i, j]) >= max(TIED, 3.0 * error[i, j])
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=["first", "second", "correlation", "correlation_error"])
    return table.sort_values("correlation", key=abs, ascending=False, ignore_index=True)


def _ranks(scores: Scores) -> np.ndarray:
    """Spearman's correlations of all pairs."""
    return np.corrcoef(rankdata(_scores(scores), axis=0), rowvar=False)


def structures(scores: Scores, halves: Sequence[Scores]) -> pd.DataFrame:
    """One row an option of a structure: key, option, before, weight and weight_error."""
    rows = []
    for k, (key, words) in enumerate(zip(prior.STRUCTURES, prior.options(), strict=True)):
        for code, word in enumerate(words):
            weight, *others = (
                float((part.structures[:, k] == code).mean()) for part in (scores, *halves)
            )
            rows.append({
                "key": key, "option": str(word).lower(), "before": 1.0 / len(words),
                "weight": weight, "weight_error": float(np.std(others, ddof=1)),
            })  # fmt: skip
    return pd.DataFrame(rows)


def effective_size(runs: Sequence[Scores]) -> float:
    """Independent worlds that independent runs of the sampler are worth in all.

    Their number times the variance within runs over that of their means, taken over all scores.
    """
    parts = np.array([_scores(run) for run in runs])
    within = parts.var(axis=1, ddof=1).mean(axis=0)
    between = parts.mean(axis=1).var(axis=0, ddof=1)
    return float(len(runs) * within.sum() / between.sum())


def quantiles(scores: Scores) -> np.ndarray:
    """`QUANTILES` of the scores of values and spreads (quantiles x names)."""
    return np.quantile(_scores(scores), QUANTILES, axis=0)
