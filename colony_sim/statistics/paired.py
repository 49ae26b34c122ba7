"""Paired comparison of policies run on the same seeds.

Means are over settled runs. A difference pairs the runs of one seed under both policies and uses
only seeds settled under both; how many were dropped is reported, since what is compared is then
the survivors. Died-out runs are compared on their own, over all seeds run under both.

* Difference: paired t interval (scipy.stats.t).
* Relative difference: Fieller's interval of the ratio of paired means (Fieller 1954, J. R. Stat.
  Soc. B 16:175-185). Unlike the delta method it leaves out 0 % exactly when the t interval of the
  difference leaves out 0, so the two never contradict each other.
* Check: sign-flip permutation test of the mean difference, exact up to 14 pairs.
* Holm (1979, Scand. J. Stat. 6:65-70) adjusts the t-test p values over all comparisons of one
  measure in the table. Measures are not adjusted for one another.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

STATUSES = ("settled", "unsettled", "died_out")
_KEYS = ("policy", "seed", "status")
_EXACT_PAIRS = 14
_FLIPS = 9999


def policy_summary(
    table: pd.DataFrame, level: float = 0.95, measures: Sequence[str] | None = None
) -> pd.DataFrame:
    """Mean and t interval of every measure under every policy, over settled runs.

    `table` has one row a run: policy, seed, status and measure columns (all others, unless
    `measures` names some). Returns one row per policy and measure: policy, measure, n_runs,
    n_settled, n_unsettled, n_died_out, n_used (settled with a finite value), mean, sd, low, high,
    level. NaN where fewer than one (mean) or two (sd, interval) values exist.

    Raises ValueError for missing columns, unknown statuses or a seed twice under one policy.
    """
    measures = _checked(table, measures)
    rows = []
    for policy, runs in table.groupby("policy", sort=False):
        counts = {f"n_{s}": int((runs["status"] == s).sum()) for s in STATUSES}
        settled = runs[runs["status"] == "settled"]
        for measure in measures:
            values = settled[measure].to_numpy(dtype=float)
            values = values[np.isfinite(values)]
            low, high = t_interval(values, level)
            rows.append(
                {
                    "policy": policy,
                    "measure": measure,
                    "n_runs": len(runs),
                    **counts,
                    "n_used": len(values),
                    "mean": float(values.mean()) if len(values) else math.nan,
                    "sd": float(values.std(ddof=1)) if len(values) > 1 else math.nan,
                    "low": low,
                    "high": high,
                    "level": level,
                }
            )
    return pd.DataFrame(rows)


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
    measures = _checked(table, measures)
    policies = list(table["policy"].unique())
    if baseline not in policies:
        raise ValueError(f"baseline {baseline!r} is not among the policies {policies}")
    pairs = [(policy, baseline) for policy in policies if policy != baseline]
    return _compare(table, pairs, measures, level)


def all_paired_differences(
    table: pd.DataFrame, level: float = 0.95, measures: Sequence[str] | None = None
) -> pd.DataFrame:
    """As `paired_differences`, for every pair of policies, each in both directions.

    Holm adjusts over all k (k - 1) / 2 pairs, so that a best policy picked after looking at the
    means may be compared with all others.
    """
    measures = _checked(table, measures)
    pairs = list(itertools.combinations(table["policy"].unique(), 2))
    forth = _compare(table, pairs, measures, level)
    back = forth.rename(
        columns={
            "policy": "baseline",
            "baseline": "policy",
            "policy_mean": "baseline_mean",
            "baseline_mean": "policy_mean",
        }
    )
    for i, row in back.iterrows():
        first, second, _, _ = _pairs(table, row["policy"], row["baseline"], row["measure"])
        for key, value in _contrast(first, second, level).items():
            back.loc[i, key] = value
    return pd.concat([forth, back[forth.columns]], ignore_index=True)


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
        interval = stats.binomtest(k, n).proportion_ci(level, method="exact")
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


def t_interval(values: np.ndarray, level: float = 0.95) -> tuple[float, float]:
    """Two-sided t interval of a mean; NaN limits with fewer than two values."""
    values = np.asarray(values, dtype=float)
    n = len(values)
    if n < 2:
        return math.nan, math.nan
    mean = float(values.mean())
    half = float(stats.t.ppf(0.5 + level / 2, n - 1) * values.std(ddof=1) / math.sqrt(n))
    return mean - half, mean + half


def fieller_interval(
    first: np.ndarray, second: np.ndarray, level: float = 0.95
) -> tuple[float, float]:
    """Fieller interval of mean(first) / mean(second), paired; NaN where it is unbounded."""
    n = len(first)
    if n < 2:
        return math.nan, math.nan
    t2 = float(stats.t.ppf(0.5 + level / 2, n - 1)) ** 2 / n
    cov = np.cov(first, second)
    p, b = float(np.mean(first)), float(np.mean(second))
    a = b * b - t2 * float(cov[1, 1])
    if a <= 0:
        return math.nan, math.nan
    middle = p * b - t2 * float(cov[0, 1])
    root = math.sqrt(max(middle * middle - a * (p * p - t2 * float(cov[0, 0])), 0.0))
    return (middle - root) / a, (middle + root) / a


def sign_flip_p(differences: np.ndarray) -> float:
    """Two-sided sign-flip permutation p value of the mean; exact up to 14 pairs, else 9999 flips.

    The flips are drawn from a fixed seed, so that a table is the same each time it is made.
    """
    d = np.asarray(differences, dtype=float)
    n = len(d)
    if n < 2:
        return math.nan
    exact = n <= _EXACT_PAIRS
    if exact:
        bits = (np.arange(2**n)[:, None] >> np.arange(n)) & 1
    else:
        bits = np.random.default_rng(20_011).integers(0, 2, size=(_FLIPS, n))
    sums = np.abs((2 * bits - 1) @ d)
    # Sums equal but for rounding count as ties.
    at_least = int((sums >= abs(d.sum()) - 1e-9 * np.abs(d).sum()).sum())
    return at_least / 2**n if exact else (at_least + 1) / (_FLIPS + 1)


def mcnemar_exact(only_first: int, only_second: int) -> float:
    """Two-sided exact McNemar p value from the two discordant counts; 1 if both are 0."""
    n = only_first + only_second
    return float(stats.binomtest(only_first, n, 0.5).pvalue) if n else 1.0


def holm(p: Sequence[float] | np.ndarray) -> np.ndarray:
    """Holm step-down adjusted p values; NaN stays NaN and is no member of the family."""
    p = np.asarray(p, dtype=float)
    adjusted = np.full(len(p), np.nan)
    known = np.flatnonzero(np.isfinite(p))
    order = known[np.argsort(p[known], kind="stable")]
    factors = len(order) - np.arange(len(order))
    adjusted[order] = np.minimum(np.maximum.accumulate(p[order] * factors), 1.0)
    return adjusted


def _compare(
    table: pd.DataFrame, pairs: Sequence[tuple[str, str]], measures: Sequence[str], level: float
) -> pd.DataFrame:
    rows = []
    for policy, baseline in pairs:
        for measure in measures:
            first, second, used, dropped = _pairs(table, policy, baseline, measure)
            rows.append(
                {
                    "policy": policy,
                    "baseline": baseline,
                    "measure": measure,
                    "n_pairs": used,
                    "n_dropped": dropped,
                    **_contrast(first, second, level),
                }
            )
    columns = ["policy", "baseline", "measure", "n_pairs", "n_dropped", *_contrast([], [], level)]
    result = pd.DataFrame(rows, columns=columns)
    result["p_holm"] = np.nan
    result["holm_family"] = 0
    for measure in measures:
        here = result["measure"] == measure
        result.loc[here, "p_holm"] = holm(result.loc[here, "p_t"].to_numpy())
        result.loc[here, "holm_family"] = int(result.loc[here, "p_t"].notna().sum())
    result["level"] = level
    return result


def _pairs(
    table: pd.DataFrame, policy: str, baseline: str, measure: str
) -> tuple[np.ndarray, np.ndarray, int, int]:
    """Values under both policies for seeds settled under both, and how many were used, dropped."""
    sides = []
    for name in (policy, baseline):
        runs = table[table["policy"] == name]
        value = runs[measure].astype(float).where(runs["status"] == "settled")
        sides.append(pd.Series(value.to_numpy(), index=runs["seed"].to_numpy()))
    both = pd.concat(sides, axis=1).sort_index()
    values = both.to_numpy(dtype=float)
    used = values[np.isfinite(values).all(axis=1)]
    return used[:, 0], used[:, 1], len(used), len(both) - len(used)


def _contrast(first: Sequence[float], second: Sequence[float], level: float) -> dict[str, float]:
    first, second = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    d = first - second
    n = len(d)
    mean = float(d.mean()) if n else math.nan
    base = float(second.mean()) if n else math.nan
    low, high = t_interval(d, level)
    ratio_low, ratio_high = fieller_interval(first, second, level)
    return {
        "policy_mean": float(first.mean()) if n else math.nan,
        "baseline_mean": base,
        "difference": mean,
        "low": low,
        "high": high,
        "relative_percent": 100 * mean / base if n and base else math.nan,
        "relative_low": 100 * (ratio_low - 1),
        "relative_high": 100 * (ratio_high - 1),
        "p_t": _t_test_p(d),
        "p_sign_flip": sign_flip_p(d),
    }


def _t_test_p(d: np.ndarray) -> float:
    n = len(d)
    if n < 2:
        return math.nan
    error = float(d.std(ddof=1)) / math.sqrt(n)
    if error <= 1e-12 * float(np.abs(d).max()):
        # All differences equal: t is not defined; the sign-flip test still is.
        return sign_flip_p(d)
    return float(2 * stats.t.sf(abs(float(d.mean())) / error, n - 1))


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
