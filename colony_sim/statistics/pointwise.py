"""Means and paired differences at every point of a design, for many points at once.

The same quantities as in ``paired`` (t intervals, Fieller's interval of the ratio, Holm's
adjustment), written for tables of many points. Holm's family is, at one point and for one
measure, all policies compared with the baseline; in a ranking, all pairs of policies.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

from colony_sim.statistics.paired import STATUSES, holm, sign_flip_p

FAILED = "failed"


def summarise(
    runs: pd.DataFrame, policies: Sequence[str], measures: Sequence[str], level: float = 0.95
) -> pd.DataFrame:
    """Mean and t interval of every measure at every point under every policy.

    Parameters
    ----------
    runs : DataFrame
        One row a run, sorted by point: point, policy, seed, status and the measures, which are
        NaN unless the run settled.
    policies, measures : sequence of str
        In the order wanted.
    level : float
        Of the intervals.

    Returns
    -------
    DataFrame
        One row per point, policy and measure: point, policy, measure, n_runs, n_settled,
        n_unsettled, n_died_out, n_failed, n_used, mean, sd, low, high, level.
    """
    groups = runs.groupby(["point", "policy"], sort=False, observed=True)
    index = pd.MultiIndex.from_product(
        [runs["point"].unique(), policies], names=["point", "policy"]
    )
    n = groups[list(measures)].count().reindex(index, fill_value=0)
    mean, sd = (getattr(groups[list(measures)], how)().reindex(index) for how in ("mean", "std"))
    counts = {"n_runs": groups.size()}
    for status in (*STATUSES, FAILED):
        keys = [runs["point"], runs["policy"]]
        counts[f"n_{status}"] = (runs["status"] == status).groupby(keys, sort=False).sum()
    size = len(index) * len(measures)
    half = _half_width(n.to_numpy(), sd.to_numpy(), level)
    columns = {
        "point": np.repeat(index.get_level_values(0).to_numpy(), len(measures)),
        "policy": np.repeat(index.get_level_values(1).to_numpy(), len(measures)),
        "measure": np.tile(np.asarray(measures, dtype=object), len(index)),
    }
    for name, count in counts.items():
        whole = count.reindex(index, fill_value=0).to_numpy(dtype=np.int64)
        columns[name] = np.repeat(whole, len(measures))
    columns["n_used"] = n.to_numpy(dtype=np.int64).reshape(size)
    columns["mean"] = mean.to_numpy().reshape(size)
    columns["sd"] = sd.to_numpy().reshape(size)
    columns["low"] = (mean.to_numpy() - half).reshape(size)
    columns["high"] = (mean.to_numpy() + half).reshape(size)
    return pd.DataFrame(columns).assign(level=level)


def differences(
    runs: pd.DataFrame,
    policies: Sequence[str],
    baseline: str,
    measures: Sequence[str],
    level: float = 0.95,
) -> pd.DataFrame:
    """Every other policy minus `baseline` at every point, paired by seed.

    Returns one row per point, policy and measure: point, policy, baseline, measure, n_pairs,
    n_dropped, policy_mean, baseline_mean, difference, low, high, relative_percent, relative_low,
    relative_high (% of the baseline mean, Fieller), p_t, p_holm, holm_family, level. As in
    ``paired.paired_differences``, without the sign-flip check.
    """
    wide = _wide(runs, policies, measures)
    parts = [
        _contrast(wide, policy, baseline, measures, level)
        for policy in policies
        if policy != baseline
    ]
    return _adjusted(pd.concat(parts, ignore_index=True) if parts else _nothing(), policies)


def ranking(
    runs: pd.DataFrame, policies: Sequence[str], measure: str, more: bool, level: float = 0.95
) -> pd.DataFrame:
    """Policies at every point in the order of their means, and which tie with the first.

    A policy ties with the first unless the paired interval leaves out 0 and the p value, adjusted
    by Holm over all pairs of policies at that point (the first is chosen after the fact), is
    below 1 - level. Returns one row per point and policy with a mean: point, measure, rank,
    policy, mean, ties_with_first, p_holm (against the first), holm_family, n_pairs, level.
    """
    wide = _wide(runs, policies, [measure])
    pairs = list(itertools.combinations(policies, 2))
    parts = [_contrast(wide, first, second, [measure], level) for first, second in pairs]
    table = _adjusted(pd.concat(parts, ignore_index=True) if parts else _nothing(), policies)
    table["clear"] = (
        ((table["low"] > 0) | (table["high"] < 0)) & (table["p_holm"] < 1 - level)
    ).to_numpy(bool)
    found = {
        (row.point, frozenset((row.policy, row.baseline))): row
        for row in table.itertuples(index=False)
    }
    means = runs.groupby(["point", "policy"], sort=False)[measure].mean().dropna()
    rows = []
    for point, here in means.groupby(level="point", sort=False):
        here = here.droplevel("point").reindex([p for p in policies if (point, p) in here.index])
        order = here.sort_values(ascending=not more, kind="stable")
        for rank, (policy, mean) in enumerate(order.items(), start=1):
            row = None if rank == 1 else found[point, frozenset((order.index[0], policy))]
            rows.append({
                "point": point, "measure": measure, "rank": rank, "policy": policy, "mean": mean,
                "ties_with_first": rank == 1 or not row.clear,
                "p_holm": np.nan if row is None else row.p_holm,
                "holm_family": 0 if row is None else row.holm_family,
                "n_pairs": 0 if row is None else row.n_pairs, "level": level,
            })  # fmt: skip
    names = ["point", "measure", "rank", "policy", "mean", "ties_with_first", "p_holm",
             "holm_family", "n_pairs", "level"]  # fmt: skip
    return pd.DataFrame(rows, columns=names)


def _wide(runs: pd.DataFrame, policies: Sequence[str], measures: Sequence[str]) -> pd.DataFrame:
    """Measures by policy side by side, one row per point and seed."""
    table = runs.set_index(["point", "seed", "policy"])[list(measures)].unstack("policy")
    return table.reindex(columns=pd.MultiIndex.from_product([measures, policies]))


def _contrast(
    wide: pd.DataFrame, policy: str, baseline: str, measures: Sequence[str], level: float
) -> pd.DataFrame:
    a = wide.xs(policy, axis=1, level=1)[list(measures)]
    b = wide.xs(baseline, axis=1, level=1)[list(measures)]
    both = a.notna() & b.notna()
    a, b = a.where(both), b.where(both)
    d = a - b
    point = wide.index.get_level_values("point")
    n = both.groupby(point, sort=False).sum()
    seeds = both.groupby(point, sort=False).size()
    mean_a, mean_b, mean_d = (t.groupby(point, sort=False).mean() for t in (a, b, d))
    var_a, var_b, sd = _var(a, point), _var(b, point), np.sqrt(_var(d, point))
    n_, d_ = n.to_numpy(), mean_d.to_numpy()
    half = _half_width(n_, sd.to_numpy(), level)
    low, high = _fieller(mean_a, mean_b, var_a, var_b, sd**2, n_, level)
    p = _t_test_p(n_, d_, sd.to_numpy(), d.abs().groupby(point, sort=False).max().to_numpy())
    points = n.index.to_numpy()
    size = n_.size
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(mean_b != 0, 100 * d_ / mean_b.to_numpy(), np.nan)
    return pd.DataFrame({
        "point": np.repeat(points, len(measures)),
        "policy": np.full(size, policy, dtype=object),
        "baseline": np.full(size, baseline, dtype=object),
        "measure": np.tile(np.asarray(measures, dtype=object), len(points)),
        "n_pairs": n_.reshape(size).astype(np.int64),
        "n_dropped": (seeds.to_numpy()[:, None] - n_).reshape(size).astype(np.int64),
        "policy_mean": mean_a.to_numpy().reshape(size),
        "baseline_mean": mean_b.to_numpy().reshape(size),
        "difference": d_.reshape(size),
        "low": (d_ - half).reshape(size), "high": (d_ + half).reshape(size),
        "relative_percent": relative.reshape(size),
        "relative_low": 100 * (low - 1).reshape(size),
        "relative_high": 100 * (high - 1).reshape(size),
        "p_t": p.reshape(size), "level": level,
    })  # fmt: skip


def _var(table: pd.DataFrame, point: pd.Index) -> pd.DataFrame:
    return table.groupby(point, sort=False).var()


def _half_width(n: np.ndarray, sd: np.ndarray, level: float) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = stats.t.ppf(0.5 + level / 2, np.where(n > 1, n - 1, np.nan)) / np.sqrt(n)
        return np.where(n > 1, factor * sd, np.nan)


def _fieller(mean_a, mean_b, var_a, var_b, var_d, n, level) -> tuple[np.ndarray, np.ndarray]:
    """As ``paired.fieller_interval``; cov(a, b) from var(a - b)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        t2 = stats.t.ppf(0.5 + level / 2, np.where(n > 1, n - 1, np.nan)) ** 2 / n
        p, b = mean_a.to_numpy(), mean_b.to_numpy()
        cov = (var_a.to_numpy() + var_b.to_numpy() - var_d.to_numpy()) / 2
        a = b * b - t2 * var_b.to_numpy()
        a = np.where(a > 0, a, np.nan)
        middle = p * b - t2 * cov
        root = np.sqrt(np.maximum(middle**2 - a * (p * p - t2 * var_a.to_numpy()), 0.0))
        return (middle - root) / a, (middle + root) / a


def _t_test_p(n: np.ndarray, mean: np.ndarray, sd: np.ndarray, largest: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        error = sd / np.sqrt(n)
        p = 2 * stats.t.sf(np.abs(mean) / error, np.where(n > 1, n - 1, np.nan))
    # All differences equal: t is not defined; the sign-flip test still is.
    for place in zip(*np.nonzero((n > 1) & (error <= 1e-12 * largest)), strict=True):
        same = largest[place] == 0
        p[place] = 1.0 if same else sign_flip_p(np.full(n[place], mean[place]))
    return np.where(n > 1, p, np.nan)


def _adjusted(table: pd.DataFrame, policies: Sequence[str]) -> pd.DataFrame:
    """Add p_holm and holm_family, and sort by point, policy and measure."""
    order = {policy: number for number, policy in enumerate(policies)}
    points = {point: number for number, point in enumerate(table["point"].unique())}
    rank = (
        table["policy"].map(order).to_numpy() + len(order) * table["point"].map(points).to_numpy()
    )
    table = table.iloc[np.argsort(rank, kind="stable")].reset_index(drop=True)
    keys = [table["point"], table["measure"]]
    known = table["p_t"].notna()
    family = known.groupby(keys, sort=False).transform("sum")
    table["p_holm"] = table["p_t"]
    # A family of one needs no adjustment, and most sweeps have no other.
    many = family > 1
    if many.any():
        part = table[many]
        table.loc[many, "p_holm"] = part.groupby(["point", "measure"], sort=False)["p_t"].transform(
            lambda p: holm(p.to_numpy())
        )
    table["holm_family"] = family.to_numpy(dtype=np.int64)
    table["level"] = table.pop("level")
    return table


def _nothing() -> pd.DataFrame:
    names = ["policy", "baseline", "measure"]
    numbers = ["policy_mean", "baseline_mean", "difference", "low", "high", "relative_percent",
               "relative_low", "relative_high", "p_t", "level"]  # fmt: skip
    whole = ["point", "n_pairs", "n_dropped"]
    columns = {
        **{name: pd.Series(dtype=np.int64) for name in whole[:1]},
        **{name: pd.Series(dtype=object) for name in names},
        **{name: pd.Series(dtype=np.int64) for name in whole[1:]},
        **{name: pd.Series(dtype=float) for name in numbers},
    }
    return pd.DataFrame(columns)
