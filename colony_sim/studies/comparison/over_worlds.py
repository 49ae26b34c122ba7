"""Which of two policies is ahead over the worlds of a comparison, in each currency."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from colony_sim.measuring.catalogue import YIELD
from colony_sim.statistics.currencies import in_currencies
from colony_sim.statistics.over_worlds import WorldsVerdict, verdict_over_worlds
from colony_sim.words.finding import HOURS, LARVAE

#: What is divided by what; a policy is ahead in a currency that it has more of.
CURRENCIES: dict[str, tuple[str, str | None]] = {
    "g/day": (YIELD, None),
    "g per hour of work": ("grams_a_week", "work_hours_per_week"),
    "g/day per bin in use": (YIELD, "bins_in_use"),
    "g per kg of bran": ("yield_g_per_kg_bran", None),
    "beetles spared per 100 a day": ("spared", None),
}
FIRST = next(iter(CURRENCIES))
NAMED = (YIELD, LARVAE, HOURS)
"""What an answer names."""
Pair = tuple[str, str]


@dataclass(frozen=True)
class OverWorlds:
    """Verdicts over worlds.

    Attributes
    ----------
    pair : two names
        The policies the answer is about, A and B; gains are those of A over B.
    zone : float
        Half width (g/day) of the gains that count as none.
    worlds, runs : int
        Worlds, and runs of a policy in all of them.
    verdicts : dict
        By pair of policies, then by currency; the later policy of the experiment is A.
    table : pandas.DataFrame
        One row a pair and currency, see `statistics.currencies.Currencies`, with policy,
        baseline, zone (g/day; 0 in other currencies), probability_zone and pairs_a (share of
        single pairs of runs that A wins), sd_worlds and sd_chance.
    gains : pandas.DataFrame
        One row a pair, currency and world: policy, baseline, currency, world, replicates, gain
        (mean over the runs in that world, unit of the currency).
    standings : pandas.DataFrame
        One row a policy: policy, mean, mean_se (g/day), best_share (share of worlds in which it
        yields most), best_share_se, regret, regret_se (g/day that the best of each world would
        yield over it, on average), died_out_share (of the runs). Means of single worlds are taken
        as they are, so that regrets hold the chance of their runs.
    means : pandas.DataFrame
        One row a policy and world: policy, world and those of `NAMED` that were measured, each the
        mean of the runs there.
    """

    pair: Pair
    zone: float
    worlds: int
    runs: int
    verdicts: dict[Pair, dict[str, WorldsVerdict]]
    table: pd.DataFrame
    gains: pd.DataFrame
    standings: pd.DataFrame
    means: pd.DataFrame

    def difference(self, a: str, b: str, measure: str) -> tuple[float, float]:
        """Mean difference of a measure, A minus B, over worlds and its error; NaN if not known."""
        if measure not in self.means:
            return math.nan, math.nan
        wide = self.means.pivot(index="world", columns="policy", values=measure)
        found = (wide[a] - wide[b]).dropna()
        return float(found.mean()), float(found.std(ddof=1) / math.sqrt(max(len(found), 1)))

    def mean(self, policy: str, measure: str) -> float:
        """Mean of a measure under a policy over worlds; NaN if it was not measured."""
        if measure not in self.means:
            return math.nan
        return float(self.means.loc[self.means["policy"] == policy, measure].mean())

    @property
    def first(self) -> WorldsVerdict:
        """The verdict on the yield of the policies that the answer is about."""
        return self.verdicts[self.pair][FIRST]


def all_pairs(policies: Sequence[str]) -> list[Pair]:
    """Every pair of policies (baseline first among `policies`), the later one as A."""
    return [(later, earlier) for earlier, later in combinations(policies, 2)]


def verdicts_on_yield(
    runs: pd.DataFrame, policies: Sequence[str], zone: float
) -> list[WorldsVerdict]:
    """Verdicts on every pair, in g/day alone.

    Parameters
    ----------
    runs : pandas.DataFrame
        One row a policy and replicate: policy, replicate, world, yield.
    policies : sequence of str
    zone : float
        Half width (g/day) of the gains that count as none.
    """
    sides = {policy: _measured(runs, policy) for policy in policies}
    return [
        verdict_over_worlds(list(_by_world(sides[a][YIELD], sides[b][YIELD]).values()), zone)
        for a, b in all_pairs(policies)
    ]


def over_worlds(
    runs: pd.DataFrame, policies: Sequence[str], pair: Pair, zone: float = 0.0
) -> OverWorlds:
    """Verdicts from the runs of a comparison.

    Parameters
    ----------
    runs : pandas.DataFrame
        One row a policy and replicate: policy, replicate, world and measures.
    policies : sequence of str
        Baseline first.
    pair : two names
        The policies the answer is about.
    zone : float
        Half width (g/day) of the gains that count as none.
    """
    sides = {policy: _measured(runs, policy) for policy in policies}
    verdicts: dict[Pair, dict[str, WorldsVerdict]] = {}
    tables, gains = [], []
    pairs = all_pairs(policies)
    if pair not in pairs:
        pairs = [pair if set(one) == set(pair) else one for one in pairs]
    for a, b in pairs:
        verdicts[a, b] = {}
        for name in CURRENCIES:
            by_world = _by_world(_ratio(sides[a], name), _ratio(sides[b], name))
            if len(by_world) < 2:
                continue
            values = {name: list(by_world.values())}
            nothing = {name: [np.zeros_like(world) for world in values[name]]}
            zones = {name: zone} if name == FIRST else None
            found = in_currencies(values, nothing, {name: (name, None)}, zones)
            verdicts[a, b] |= found.verdicts
            one = found.verdicts[name]
            tables.append(
                found.table.assign(
                    policy=a, baseline=b, zone=one.zone, probability_zone=one.probability_zone,
                    pairs_a=one.pairs_a, sd_worlds=one.sd_worlds, sd_chance=one.sd_chance,
                )
            )  # fmt: skip
            gains.append(
                pd.DataFrame({
                    "policy": a, "baseline": b, "currency": name, "world": list(by_world),
                    "replicates": [len(world) for world in by_world.values()],
                    "gain": [float(world.mean()) for world in by_world.values()],
                })
            )  # fmt: skip
    table = pd.concat(tables, ignore_index=True)
    head = ["policy", "baseline"]
    table = table[[*head, *(name for name in table.columns if name not in head)]]
    verdict = verdicts[pair][FIRST]
    return OverWorlds(
        pair, zone, verdict.worlds, verdict.runs, verdicts, table,
        pd.concat(gains, ignore_index=True), _standings(runs, policies), _means(runs),
    )  # fmt: skip


def _measured(runs: pd.DataFrame, policy: str) -> pd.DataFrame:
    """Measures of a policy by world and replicate, with those that currencies add."""
    table = runs[runs["policy"] == policy].set_index(["world", "replicate"]).sort_index()
    if "work_hours_per_week" not in table:
        return table
    return table.assign(
        grams_a_week=7.0 * table[YIELD], spared=-table["adult_losses_per_100_per_day"]
    )


def _by_world(a: pd.Series, b: pd.Series) -> dict[int, np.ndarray]:
    """Gains of A over B of the runs in each world that have a value under both."""
    gains = (a - b).dropna()
    return {int(world): found.to_numpy() for world, found in gains.groupby(level="world")}


def _ratio(table: pd.DataFrame, currency: str) -> pd.Series:
    above, below = CURRENCIES[currency]
    values = table[above].astype(float)
    if below is not None:
        values = values / table[below].astype(float)
    # A colony that died out has no hours, bins or bran; what it yields of them is nothing.
    return values.where(np.isfinite(values), 0.0) if above != "spared" else values


def _means(runs: pd.DataFrame) -> pd.DataFrame:
    named = [measure for measure in NAMED if measure in runs]
    return runs.groupby(["policy", "world"], sort=False)[named].mean().reset_index()


def _standings(runs: pd.DataFrame, policies: Sequence[str]) -> pd.DataFrame:
    """What is said of each policy beside all others."""
    means = runs.pivot_table(index="world", columns="policy", values=YIELD, aggfunc="mean")
    yields = means[list(policies)].dropna().to_numpy(dtype=float)
    count = len(yields)
    best = yields.max(axis=1, keepdims=True)
    # Policies that yield alike in a world share it.
    won = (yields == best) / (yields == best).sum(axis=1, keepdims=True)
    lost = best - yields
    root = np.sqrt(count)
    died = runs.assign(died=runs["status"] == "died_out").groupby("policy")["died"].mean()
    return pd.DataFrame({
        "policy": list(policies),
        "mean": yields.mean(axis=0), "mean_se": yields.std(axis=0, ddof=1) / root,
        "best_share": won.mean(axis=0), "best_share_se": won.std(axis=0, ddof=1) / root,
        "regret": lost.mean(axis=0), "regret_se": lost.std(axis=0, ddof=1) / root,
        "died_out_share": [float(died[policy]) for policy in policies],
    })  # fmt: skip
