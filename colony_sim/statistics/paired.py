"""Paired comparison of policies run on the same seeds.

Means are over all runs, whatever became of the colony. A run lacks a value only of a measure that
has no meaning for it, such as losses per beetle without a beetle; such a measure is conditional,
the number of runs and pairs behind it is told, and one run of several is no mean. Died-out runs
are also compared on their own, over all seeds run under both.

Intervals and tests are those of ``core``: the paired t interval, Fieller's interval of the
relative difference (the two never contradict each other about 0), and a sign-flip test as a check.
Holm adjusts the t-test p values over all comparisons of one measure in the table. Measures are not
adjusted for one another.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import pandas as pd
import scipy

from colony_sim.statistics import pointwise
from colony_sim.statistics.core import holm, sign_flip_p
from colony_sim.statistics.pointwise import STATUSES

_KEYS = ("policy", "seed", "status")


def policy_summary(
    table: pd.DataFrame, level: float = 0.95, measures: Sequence[str] | None = None
) -> pd.DataFrame:
    """Mean and t interval of every measure under every policy, over all runs.

    `table` has one row a run: policy, seed, status and measure columns (all others, unless
    `measures` names some). Returns one row per policy and measure: policy, measure, n_runs,
    n_settled, n_unsettled, n_died_out, n_used (with a finite value), mean, sd, low, high, level.
    NaN where fewer than two values exist; the mean of the only run of a policy is its value.

    Raises ValueError for missing columns, unknown statuses or a seed twice under one policy.
    """
    runs, measures = _as_point(table, measures)
    found = pointwise.summarise(runs, list(runs["policy"].unique()), measures, level)
    return found.drop(columns=["point", "n_failed"])


def paired_differences(
    table: pd.DataFrame,
    baseline: str,
    level: float = 0.95,
    measures: Sequence[str] | None = None,
) -> pd.DataFrame:
    """Every other policy minus `baseline`, paired by seed.

    Returns one row per policy and measure: policy, baseline, measure, n_pairs, n_dropped (seeds
    run under either policy but not used), policy_mean, baseline_mean (over the pairs),
    difference, low, high, relative_percent, relative_low, relative_high (% of the baseline mean),
    p_t, p_sign_flip, p_holm, holm_family (comparisons adjusted for), level. With fewer than two
    pairs, intervals and p values are NaN; so are relative limits where the baseline mean is not
    clear of 0.

    Raises ValueError as `policy_summary`, or if `baseline` is not a policy.
    """
    runs, measures = _as_point(table, measures)
    policies = list(runs["policy"].unique())
    if baseline not in policies:
        raise ValueError(f"baseline {baseline!r} is not among the policies {policies}")
    pairs = [(policy, baseline) for policy in policies if policy != baseline]
    return _compare(runs, pairs, measures, level)


def all_paired_differences(
    table: pd.DataFrame, level: float = 0.95, measures: Sequence[str] | None = None
) -> pd.DataFrame:
    """As `paired_differences`, for every pair of policies, each in both directions.

    Holm adjusts over all k (k - 1) / 2 pairs, so that a best policy picked after looking at the
    means may be compared with all others.
    """
    runs, measures = _as_point(table, measures)
    pairs = list(itertools.combinations(runs["policy"].unique(), 2))
    forth = _compare(runs, pairs, measures, level)
    back = _compare(runs, [(second, first) for first, second in pairs], measures, level)
    return pd.concat([forth, back], ignore_index=True)


def died_out_comparison(table: pd.DataFrame, baseline: str, level: float = 0.95) -> pd.DataFrame:
    """Share of runs in which the colony died out, and exact McNemar test against `baseline`.

    Returns one row per policy: policy, baseline, n_runs, n_died_out, share, low, high
    (Clopper-Pearson 1934), n_pairs (seeds run under both, whatever their status), only_policy,
    only_baseline (pairs that died out under one alone), p_mcnemar (two-sided binomial on those),
    p_holm, level. The baseline's own row has NaN p values and 0 pairs.

    Raises ValueError as `paired_differences`.
    """
    _checked(table, [])
    policies = list(table["policy"].unique())
    if baseline not in policies:
        raise ValueError(f"baseline {baseline!r} is not among the policies {policies}")
    died = {
        p: runs.set_index("seed")["status"].eq("died_out")
        for p, runs in table.groupby("policy", sort=False)
    }
    rows = []
    for policy in policies:
        n, k = len(died[policy]), int(died[policy].sum())
        interval = scipy.stats.binomtest(k, n).proportion_ci(level, method="exact")
        row = {
            "policy": policy,
            "baseline": baseline,
            "n_runs": n,
            "n_died_out": k,
            "share": k / n,
            "low": float(interval.low),
            "high": float(interval.high),
            "n_pairs": 0,
            "only_policy": 0,
            "only_baseline": 0,
            "p_mcnemar": math.nan,
        }
        if policy != baseline:
            both = pd.concat([died[policy], died[baseline]], axis=1, join="inner").to_numpy(bool)
            only_policy = int((both[:, 0] & ~both[:, 1]).sum())
            only_baseline = int((~both[:, 0] & both[:, 1]).sum())
            row |= {
                "n_pairs": len(both),
                "only_policy": only_policy,
                "only_baseline": only_baseline,
                "p_mcnemar": mcnemar_exact(only_policy, only_baseline) if len(both) else math.nan,
            }
        rows.append(row)
    result = pd.DataFrame(rows)
    result["p_holm"] = holm(result["p_mcnemar"].to_numpy())
    result["level"] = level
    return result


def separated(row: pd.Series) -> bool:
    """Whether a row of a table of paired differences supports a difference.

    The interval must leave out 0 and the Holm-adjusted p value be below 1 - level.
    """
    leaves_out_zero = row["low"] > 0 or row["high"] < 0
    return bool(leaves_out_zero and row["p_holm"] < 1 - row["level"])


def mcnemar_exact(only_first: int, only_second: int) -> float:
    """Two-sided exact McNemar p value from the two discordant counts; 1 if both are 0."""
    n = only_first + only_second
    return float(scipy.stats.binomtest(only_first, n, 0.5).pvalue) if n else 1.0


def _compare(
    runs: pd.DataFrame, pairs: Sequence[tuple[str, str]], measures: Sequence[str], level: float
) -> pd.DataFrame:
    by_seed = pointwise.by_seed(runs, list(runs["policy"].unique()), measures)
    found = pointwise.contrasts(by_seed, pairs, level).drop(columns="point")
    flipped = sign_flip_p(by_seed.differences(pairs)).reshape(len(found))
    found.insert(found.columns.get_loc("p_t") + 1, "p_sign_flip", flipped)
    return found


def _as_point(
    table: pd.DataFrame, measures: Sequence[str] | None
) -> tuple[pd.DataFrame, list[str]]:
    """The runs as one point, and the measures' names."""
    measures = _checked(table, measures)
    return table[list(_KEYS)].assign(point=0, **table[measures].astype(float)), measures


def _checked(table: pd.DataFrame, measures: Sequence[str] | None) -> list[str]:
    """Check the table and return the measure columns."""
    missing = [c for c in (*_KEYS, *(measures or ())) if c not in table.columns]
    if missing:
        raise ValueError(f"the table lacks the columns {missing}")
    unknown = sorted(set(table["status"]) - set(STATUSES))
    if unknown:
        raise ValueError(f"unknown status {unknown}; allowed: {', '.join(STATUSES)}")
    if table.duplicated(["policy", "seed"]).any():
        raise ValueError("a seed occurs twice under one policy")
    if measures is not None:
        return list(measures)
    return [c for c in table.columns if c not in _KEYS]
