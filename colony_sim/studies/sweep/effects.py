"""How a measure changes with each of several keys of a sweep, the others averaged over.

* Factorial design: means over complete blocks. A block is one seed at one combination of the
  other keys; it counts only if it has a value at every level of the key, so that levels are
  compared on the same seeds and combinations. Intervals are t intervals over seeds of the seeds'
  means; a level differs from another only by the paired t test over seeds, adjusted by Holm over
  all pairs of levels of all keys and policies.
* Random design: each point is one observation (the mean of its runs). A key with more than
  `MOST_LEVELS` values is cut into bins of equally many points. Intervals are t intervals over the
  points of a bin, as if drawn independently, which for a Latin hypercube or a Sobol' sequence is
  on the wide side; they hold what the other keys do as well. A key has an effect only by an F test
  over its bins, adjusted by Holm over all keys and policies. Both suppose that the noise of the
  points is much alike in all bins.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import scipy

from colony_sim.statistics.core import holm, paired_p
from colony_sim.studies.points import mean_interval
from colony_sim.studies.sweep.stored import StoredSweep, is_number

MOST_LEVELS, MOST_BINS, BIN_POINTS = 6, 5, 5


@dataclass(frozen=True)
class Effects:
    """Effects of the keys of a sweep on one measure, or on its paired difference.

    Attributes
    ----------
    levels : DataFrame
        One row per key, policy and level, in order: key, policy, place (mean value, or number of
        a level that is no number), low_value, high_value (of a bin; both the level itself
        otherwise), mean, low, high (95 %), n (seeds, or points), blocks (complete blocks, or NaN).
    evidence : DataFrame
        One row per key and policy: key, policy, p_holm (least of the key), shown, span (largest
        less smallest level mean). Keys with the largest span, averaged over the policies, first.
    family : int
        Tests adjusted for.
    over : str
        ``seeds`` or ``points``.
    """

    levels: pd.DataFrame
    evidence: pd.DataFrame
    family: int
    over: str

    @property
    def keys(self) -> list[str]:
        """The keys, those with the largest span first."""
        return list(dict.fromkeys(self.evidence["key"]))

    def shown(self, key: str) -> bool:
        """Whether an effect of a key is shown under any policy."""
        return bool(self.evidence.loc[self.evidence["key"] == key, "shown"].any())


def effects(sweep: StoredSweep, measure: str, level: float = 0.95) -> Effects:
    """Effects of the keys on a measure, under each policy."""
    return _effects(sweep, sweep.wide(measure), sweep.policies, level)


def difference_effects(sweep: StoredSweep, measure: str, level: float = 0.95) -> Effects:
    """Effects of the keys on the paired difference to the baseline, for each other policy."""
    wide = sweep.wide(measure)
    base = wide.xs(sweep.policies[0], level="policy")
    parts = {policy: wide.xs(policy, level="policy") - base for policy in sweep.policies[1:]}
    stacked = pd.concat(parts, names=["policy"]).swaplevel().sort_index()
    return _effects(sweep, stacked, sweep.policies[1:], level)


def _effects(
    sweep: StoredSweep, wide: pd.DataFrame, policies: Sequence[str], level: float
) -> Effects:
    rows, tests, spans = [], [], []
    for key in sweep.keys:
        for policy in policies:
            values = wide.xs(policy, level="policy").reindex(sweep.points.index)
            make = _grid_levels if sweep.grid else _bins
            found, p = make(sweep, key, values)
            rows += [{"key": key, "policy": policy, **row} for row in found]
            means = [row["mean"] for row in found if math.isfinite(row["mean"])]
            span = max(means) - min(means) if means else math.nan
            tests += [(key, policy, value) for value in p]
            spans.append({"key": key, "policy": policy, "span": span})
    adjusted = holm(np.array([value for _, _, value in tests])) if tests else np.empty(0)
    evidence = pd.DataFrame(spans)
    least: dict[tuple[str, str], float] = {}
    for (key, policy, _), value in zip(tests, adjusted, strict=True):
        if math.isfinite(value):
            least[key, policy] = min(value, least.get((key, policy), 1.0))
    evidence["p_holm"] = [
        least.get(pair, math.nan) for pair in zip(evidence["key"], evidence["policy"], strict=True)
    ]
    evidence["shown"] = evidence["p_holm"] < 1 - level
    strength = evidence.groupby("key")["span"].mean().fillna(-1.0)
    order = sorted(sweep.keys, key=lambda key: (-strength[key], sweep.keys.index(key)))
    place = {key: i for i, key in enumerate(order)}
    evidence = evidence.sort_values("key", key=lambda c: c.map(place), kind="stable")
    levels = pd.DataFrame(rows)
    levels = levels.sort_values("key", key=lambda c: c.map(place), kind="stable")
    return Effects(
        levels.reset_index(drop=True), evidence.reset_index(drop=True),
        int(np.isfinite(adjusted).sum()), "seeds" if sweep.grid else "points",
    )  # fmt: skip


def _grid_levels(
    sweep: StoredSweep, key: str, values: pd.DataFrame
) -> tuple[list[dict[str, Any]], list[float]]:
    """Levels of a key of a factorial design, and p values of all pairs of them."""
    others = [k for k in sweep.points.columns if k != key]
    table = values.stack().rename("value").dropna().reset_index()
    table = table.join(sweep.points, on="point")
    levels = sweep.values(key)
    blocks = table.pivot_table(index=["seed", *others], columns=key, values="value")
    blocks = blocks.reindex(columns=levels).dropna()
    by_seed = blocks.groupby(level="seed").mean()
    number = is_number(sweep.points[key])
    rows = []
    for i, value in enumerate(levels):
        mean, _, low, high = mean_interval(by_seed[value].to_numpy(dtype=float))
        rows.append({
            "place": float(value) if number else float(i), "low_value": value, "high_value": value,
            "mean": mean, "low": low, "high": high, "n": len(by_seed), "blocks": len(blocks),
        })  # fmt: skip
    x = by_seed.to_numpy(dtype=float).T
    first, second = np.triu_indices(len(levels), k=1)
    return rows, list(paired_p(x[first] - x[second]))


def _bins(
    sweep: StoredSweep, key: str, values: pd.DataFrame
) -> tuple[list[dict[str, Any]], list[float]]:
    """Bins of a key of a random design, and the p value of the F test over them."""
    means = values.mean(axis=1).dropna()
    at = sweep.points.loc[means.index, key]
    number = is_number(sweep.points[key])
    levels = sweep.values(key)
    if number and len(levels) > MOST_LEVELS:
        bins = max(1, min(MOST_BINS, len(means) // BIN_POINTS))
        # By rank, so that every bin has as many points as another, or one more.
        rank = at.rank(method="first").to_numpy() - 1
        group = np.floor(rank * bins / max(len(means), 1)).astype(int)
    else:
        group = at.map({value: i for i, value in enumerate(levels)}).to_numpy(dtype=int)
    rows, samples = [], []
    for i in np.unique(group):
        inside, here = means[group == i].to_numpy(dtype=float), at[group == i]
        mean, _, low, high = mean_interval(inside)
        samples.append(inside)
        rows.append({
            "place": float(here.mean()) if number else float(i), "low_value": here.iloc[0],
            "high_value": here.iloc[0], "mean": mean, "low": low, "high": high,
            "n": len(inside), "blocks": math.nan,
        })  # fmt: skip
        if number:
            rows[-1] |= {"low_value": here.min(), "high_value": here.max()}
    # Bins differ in spread, which an F test would not stand; it needs a spread in each.
    many = [sample for sample in samples if len(sample) > 1 and np.ptp(sample) > 0]
    if len(many) < 2:
        return rows, []
    return rows, [float(scipy.stats.alexandergovern(*many).pvalue)]
