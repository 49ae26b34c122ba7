"""Means and paired differences at every point of a design, for many points at once.

Holm's family is, at one point and for one measure, all pairs of policies that are asked for; in a
ranking, all pairs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from colony_sim.statistics.best import leading
from colony_sim.statistics.core import holm, mean_interval, paired

STATUSES = ("settled", "unsettled", "died_out")
FAILED = "failed"


@dataclass(frozen=True)
class BySeed:
    """Runs side by side, so that a pair is one place in two policies.

    Attributes
    ----------
    points : array, shape (points,)
        In order of appearance.
    policies, measures : list of str
    values : array, shape (points, policies, measures, seeds)
        NaN where there is no run or no value.
    run : array of bool, shape (points, policies, seeds)
        Whether there is a run.
    """

    points: np.ndarray
    policies: list[str]
    measures: list[str]
    values: np.ndarray
    run: np.ndarray

    def sides(self, pairs: Sequence[tuple[str, str]]) -> tuple[list[int], list[int]]:
        """Places of the first policies of pairs, and of the second."""
        place = {policy: i for i, policy in enumerate(self.policies)}
        return [place[first] for first, _ in pairs], [place[second] for _, second in pairs]

    def differences(self, pairs: Sequence[tuple[str, str]]) -> np.ndarray:
        """First less second, array of shape (points, pairs, measures, seeds)."""
        first, second = self.sides(pairs)
        return self.values[:, first] - self.values[:, second]


def by_seed(runs: pd.DataFrame, policies: Sequence[str], measures: Sequence[str]) -> BySeed:
    """Lay runs (point, policy, seed and measures, one row a run) side by side."""
    point, points = pd.factorize(runs["point"])
    policy = pd.Categorical(runs["policy"], categories=policies).codes
    # Places of seeds are counted within a point, as points need not share seeds.
    seed = runs.groupby("point", sort=False)["seed"].rank("dense").to_numpy(dtype=int) - 1
    known = policy >= 0
    at = point[known], policy[known], seed[known]
    shape = len(points), len(policies), int(seed.max(initial=-1)) + 1
    values = np.full((*shape[:2], len(measures), shape[2]), np.nan)
    values.swapaxes(2, 3)[at] = runs.loc[known, list(measures)].to_numpy(dtype=float)
    run = np.zeros(shape, dtype=bool)
    run[at] = True
    return BySeed(np.asarray(points), list(policies), list(measures), values, run)


def summarise(
    runs: pd.DataFrame, policies: Sequence[str], measures: Sequence[str], level: float = 0.95
) -> pd.DataFrame:
    """Mean and t interval of every measure at every point under every policy.

    Parameters
    ----------
    runs : DataFrame
        One row a run, sorted by point: point, policy, seed, status and the measures,
        NaN where they have no meaning.
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
    table = by_seed(runs, policies, measures)
    found = mean_interval(table.values, level)
    # One survivor of several runs is no mean.
    lone = (found.n == 1) & (table.run.sum(axis=2)[..., None] > 1)
    keys = [runs["point"], runs["policy"]]
    index = pd.MultiIndex.from_product([table.points, policies])
    counts = {"n_runs": table.run.sum(axis=2).reshape(-1)}
    for status in (*STATUSES, FAILED):
        count = (runs["status"] == status).groupby(keys, sort=False).sum()
        counts[f"n_{status}"] = count.reindex(index, fill_value=0).to_numpy(dtype=np.int64)
    numbers = {"n_used": found.n, "mean": np.where(lone, np.nan, found.mean), "sd": found.sd,
               "low": found.low, "high": found.high}  # fmt: skip
    return pd.DataFrame({
        **_keys(table.points, {"policy": list(policies)}, measures),
        **{name: np.repeat(count, len(measures)) for name, count in counts.items()},
        **{name: array.reshape(-1) for name, array in numbers.items()},
    }).assign(level=level)  # fmt: skip


def differences(
    runs: pd.DataFrame,
    policies: Sequence[str],
    baseline: str,
    measures: Sequence[str],
    level: float = 0.95,
) -> pd.DataFrame:
    """Every other policy minus `baseline` at every point, paired by seed; as `contrasts`."""
    pairs = [(policy, baseline) for policy in policies if policy != baseline]
    return contrasts(by_seed(runs, policies, measures), pairs, level)


def contrasts(table: BySeed, pairs: Sequence[tuple[str, str]], level: float = 0.95) -> pd.DataFrame:
    """First minus second policy of each pair at every point, paired by seed.

    Returns one row per point, pair and measure: point, policy, baseline, measure, n_pairs,
    n_dropped (seeds run under either policy but not used), policy_mean, baseline_mean (over the
    pairs), difference, low, high, relative_percent, relative_low, relative_high (% of the baseline
    mean, Fieller), p_t, p_holm, holm_family (comparisons adjusted for), level.
    """
    first, second = table.sides(pairs)
    found = paired(table.values[:, first], table.values[:, second], level)
    seeds = (table.run[:, first] | table.run[:, second]).sum(axis=2)
    family = np.isfinite(found.p).sum(axis=1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        relative = np.where(found.second != 0, 100 * found.difference / found.second, np.nan)
    numbers = {
        "n_pairs": found.n, "n_dropped": seeds[..., None] - found.n,
        "policy_mean": found.first, "baseline_mean": found.second,
        "difference": found.difference, "low": found.low, "high": found.high,
        "relative_percent": relative, "relative_low": 100 * (found.ratio_low - 1),
        "relative_high": 100 * (found.ratio_high - 1), "p_t": found.p,
        "p_holm": holm(found.p.swapaxes(1, 2)).swapaxes(1, 2),
        "holm_family": np.broadcast_to(family, found.p.shape),
    }  # fmt: skip
    sides = {"policy": [pair[0] for pair in pairs], "baseline": [pair[1] for pair in pairs]}
    return pd.DataFrame({
        **_keys(table.points, sides, table.measures),
        **{name: array.reshape(-1) for name, array in numbers.items()},
    }).assign(level=level)  # fmt: skip


def ranking(
    runs: pd.DataFrame, policies: Sequence[str], measure: str, more: bool, level: float = 0.95
) -> pd.DataFrame:
    """Policies at every point in the order of their means, and which tie with the first.

    What ties is said by ``best.leading``. Returns one row per point and policy with a mean: point,
    measure, rank, policy, mean, ties_with_first, p_holm (against the first), holm_family, n_pairs,
    level.
    """
    table = by_seed(runs, policies, [measure])
    rows = []
    for point, values in zip(table.points, table.values[:, :, 0], strict=True):
        found = leading(values, more, level, most=len(policies))
        if found is None:
            continue
        order = np.argsort(-found.means if more else found.means, kind="stable")  # NaN last
        for rank, i in enumerate(order[: np.isfinite(found.means).sum()], start=1):
            rows.append({
                "point": point, "measure": measure, "rank": rank, "policy": policies[i],
                "mean": found.means[i], "ties_with_first": bool(found.ties[i]),
                "p_holm": found.p_holm[i], "holm_family": found.family if rank > 1 else 0,
                "n_pairs": int(found.pairs[i]) if rank > 1 else 0, "level": level,
            })  # fmt: skip
    names = ["point", "measure", "rank", "policy", "mean", "ties_with_first", "p_holm",
             "holm_family", "n_pairs", "level"]  # fmt: skip
    return pd.DataFrame(rows, columns=names)


def _keys(
    points: np.ndarray, sides: dict[str, list[str]], measures: Sequence[str]
) -> dict[str, np.ndarray]:
    """Columns that say what a row is about: every point, then every side, then every measure."""
    each = len(next(iter(sides.values())))
    return {
        "point": np.repeat(points, each * len(measures)),
        **{
            name: np.tile(np.repeat(np.asarray(side, dtype=object), len(measures)), len(points))
            for name, side in sides.items()
        },
        "measure": np.tile(np.asarray(measures, dtype=object), len(points) * each),
    }
