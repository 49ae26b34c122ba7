"""The answer for one colony: how it differs from the default, and what would narrow it.

A comparison with a profile is held against the same comparison with the biology of the file: same
policies, same seeds, so that the change of the difference is measured on pairs of pairs. The
default's runs have one biology; their spread is that of chance alone. The runs with the profile
have a draw each; what knowing one of its keys would take off their spread is in `narrowing`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from colony_sim.experiment.plan import Plan
from colony_sim.experiment.worlds import Worlds
from colony_sim.measuring.catalogue import YIELD, catalogue
from colony_sim.running.store import OutcomeStore
from colony_sim.statistics.core import mean_interval
from colony_sim.statistics.information import Narrowing, narrowing
from colony_sim.statistics.paired import paired_differences
from colony_sim.studies.comparison.stored import measured, planned
from colony_sim.studies.points import only


@dataclass(frozen=True)
class ThisColony:
    """A comparison with a profile beside the default.

    Attributes
    ----------
    pair : two names
        Policies; differences are first minus second.
    against : pandas.DataFrame
        One row per measure: difference with the default and with the profile (each over the seeds
        of both policies, with 95 % t interval), their change over the seeds of
        all four runs, standard deviations of the single pairs.
    narrowing : Narrowing
        Of the difference in yield.
    ahead : int
        Pairs of runs in which the first policy yields more.
    least, most : float
        Smallest and largest difference in yield of a pair (g/day); NaN without any.
    """

    pair: tuple[str, str]
    against: pd.DataFrame
    narrowing: Narrowing
    ahead: int
    least: float
    most: float

    @property
    def of_yield(self) -> pd.Series:
        """The row of yield."""
        return self.against[self.against["measure"] == YIELD].iloc[0]


MOST_SEEDS = 20
"""Replicates of the default, whose one biology has chance alone to average out."""


def default_plan(plan: Plan, pair: tuple[str, str]) -> Plan:
    """The two policies with the biology of the file and the first of the same seeds."""
    return replace(only(plan, pair), profile=None, worlds=(), seeds=plan.seeds[:MOST_SEEDS])


def this_colony(
    plan: Plan,
    profile: Worlds,
    pair: tuple[str, str],
    runs: pd.DataFrame,
    store: OutcomeStore,
    run: Callable[[Plan], None],
) -> ThisColony:
    """Run the default where it is not stored, and set the profile's runs beside it.

    Parameters
    ----------
    plan : Plan
        The comparison.
    profile : Worlds
        That of the plan.
    pair : two names
        Policies to set side by side.
    runs : pandas.DataFrame
        Its runs, measured: policy, replicate, seed, status, measures.
    store : OutcomeStore
        Where the runs are.
    run : callable
        Runs a plan into the store.
    """
    default = default_plan(plan, pair)
    run(default)
    rows = []
    for each in planned(default):
        _, outcome = measured(each, store)
        rows.append({"policy": each.policy, "seed": each.scenario.seed, **outcome})
    here = runs[runs["policy"].isin(pair)]
    against = _against(here, pd.DataFrame(rows), pair)
    gains = _by_seed(here, pair, YIELD)
    return ThisColony(
        pair,
        against,
        narrowed(profile, pair, runs),
        int((gains > 0).sum()),
        float(gains.min()),
        float(gains.max()),
    )


def narrowed(profile: Worlds, pair: tuple[str, str], runs: pd.DataFrame) -> Narrowing:
    """What knowing each key of a profile would take off the spread of the difference in yield."""
    here = runs[runs["policy"].isin(pair)]
    gains = _by_seed(here, pair, YIELD)
    world = here.drop_duplicates("seed").set_index("seed")["world"]
    # In the order of the draws, whatever the order of the seeds.
    gains = gains.loc[sorted(gains.index, key=lambda seed: world[seed])]
    draws = profile.draws[[int(world[seed]) - 1 for seed in gains.index]]
    options = [entry.key for entry in profile.entries if not entry.is_number]
    return narrowing(profile.keys, draws, gains.to_numpy(), options=options)


def _against(profile: pd.DataFrame, default: pd.DataFrame, pair: tuple[str, str]) -> pd.DataFrame:
    measures = list(catalogue())
    sides = {}
    for name, runs in (("default", default), ("profile", profile)):
        table = paired_differences(runs, pair[1], measures=measures)
        sides[name] = table[table["policy"] == pair[0]].set_index("measure")
    rows = []
    for measure in measures:
        both = pd.concat(
            [_by_seed(runs, pair, measure) for runs in (default, profile)], axis=1, join="inner"
        )
        change = (both.iloc[:, 1] - both.iloc[:, 0]).to_numpy()
        low, high = mean_interval(change).limits
        row: dict[str, object] = {
            "measure": measure, "unit": catalogue()[measure].unit,
            "policy": pair[0], "baseline": pair[1],
        }  # fmt: skip
        for name, runs in (("default", default), ("profile", profile)):
            side = sides[name].loc[measure]
            row |= {
                f"{name}_pairs": int(side["n_pairs"]), f"{name}_difference": side["difference"],
                f"{name}_low": side["low"], f"{name}_high": side["high"],
                f"{name}_sd": _sd(_by_seed(runs, pair, measure)),
            }  # fmt: skip
        row |= {
            "pairs": len(change), "change": float(change.mean()) if len(change) else math.nan,
            "change_low": low, "change_high": high, "level": 0.95,
        }  # fmt: skip
        rows.append(row)
    return pd.DataFrame(rows)


def _by_seed(runs: pd.DataFrame, pair: Sequence[str], measure: str) -> pd.Series:
    """Difference first minus second of every seed."""
    sides = []
    for name in pair:
        here = runs[runs["policy"] == name]
        sides.append(here.set_index("seed")[measure].astype(float))
    first, second = sides
    return (first - second).dropna().sort_index()


def _sd(values: pd.Series) -> float:
    return float(np.std(values, ddof=1)) if len(values) > 1 else math.nan
