"""Best against best: each policy with the handling that suits it best, in fresh worlds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.measuring.catalogue import YIELD
from colony_sim.running.runner import Progress
from colony_sim.running.whole import Whole
from colony_sim.studies.comparison.over_worlds import OverWorlds, over_worlds
from colony_sim.studies.comparison.stages import LIVED_TWICE, ZONE
from colony_sim.studies.points import Window, open_points, window
from colony_sim.studies.search.equal_means import (
    CANDIDATES,
    REPLICATES,
    USED,
    WARM_UP,
    EqualMeans,
    at_equal_means,
)
from colony_sim.studies.search.limits import MEASURES, Limits, expected_breeders, faded
from colony_sim.studies.search.run import check_fresh

FRESH = 48
"""Fresh worlds that the bests are judged in: a probability of one half to 0.07."""


@dataclass(frozen=True)
class Best:
    """The best of each policy, compared.

    Attributes
    ----------
    policies : tuple of str
        Baseline first.
    limits : Limits
        The means, with the minutes they came to.
    given_minutes : bool
        Whether the minutes were given.
    span : Window
        Length of the runs and days measured.
    candidates_each, search_seeds, fresh : int
        Candidates of a policy, worlds they were tried in first, fresh worlds.
    over : OverWorlds
        Verdicts in every currency.
    handling : pandas.DataFrame
        `EqualMeans.changes`.
    candidates : pandas.DataFrame
        `EqualMeans.candidates`.
    judged : pandas.DataFrame
        One row a policy, on fresh runs: policy, yield_g_per_day, yield_se (g/day), minutes (a
        week), fading and kept (share of runs; kept: within all limits and not fading), fading_se,
        selected_at (g/day in the selection, which flatters).
    runs : pandas.DataFrame
        One row a fresh run: policy, replicate, world, seed, measures.
    """

    policies: tuple[str, ...]
    limits: Limits
    given_minutes: bool
    span: Window
    candidates_each: int
    search_seeds: int
    fresh: int
    over: OverWorlds
    handling: pd.DataFrame
    candidates: pd.DataFrame
    judged: pd.DataFrame
    runs: pd.DataFrame


def best_against_best(
    plan: Plan,
    folder: Path,
    limits: Limits,
    *,
    keys: Sequence[str] | None = None,
    candidates: int = CANDIDATES,
    replicates: int = REPLICATES,
    fresh: int = FRESH,
    zone: float = ZONE,
    warm_up: int = WARM_UP,
    used: int = USED,
    workers: int | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Best:
    """Search the best handling of each policy and compare the bests in fresh worlds.

    Parameters
    ----------
    plan, folder, limits, keys, candidates, replicates, warm_up, used, workers, on_progress
        As for `equal_means.at_equal_means`.
    fresh : int
        Worlds that the bests are judged in, none of them one of the selection; some are lived
        twice, so that chance can be taken off. Without a profile: seeds.
    zone : float
        Half width (g/day) of the gains that count as none.

    Raises
    ------
    InputError, MissingExtra, PointsFailed
        As `equal_means.at_equal_means`; more fresh worlds than are left.
    """
    check_fresh(fresh)
    if plan.profile is not None:
        left = len(plan.profile.draws)
        left -= min(replicates * 3, left // 2)
        if fresh > left:
            raise InputError(ARGUMENT, "fresh_seeds", fresh, f"at most {left}, the worlds left")
    whole = Whole(on_progress, after=len(plan.policies) * (fresh + min(LIVED_TWICE, fresh)))
    equal = at_equal_means(
        plan, folder, limits=limits, keys=keys, candidates=candidates, replicates=replicates,
        warm_up=warm_up, used=used, workers=workers, on_progress=whole.report,
    )  # fmt: skip
    whole.after = 0
    whole.next()
    span = window(equal.before, warm_up, used)
    runs = _fresh_runs(equal, folder, fresh, span, workers, whole.report)
    names = tuple(policy.name for policy in equal.plan.policies)
    names = (plan.baseline, *(name for name in names if name != plan.baseline))
    over = over_worlds(runs, names, (names[1], names[0]), zone)
    return Best(
        names, equal.limits, equal.given_minutes, span, candidates, replicates, fresh, over,
        equal.changes, equal.candidates, _judged(equal, names, runs), runs,
    )  # fmt: skip


def _fresh_runs(
    equal: EqualMeans, folder: Path, fresh: int, span: Window, workers: int | None,
    on_progress: Callable[[Progress], None],
) -> pd.DataFrame:  # fmt: skip
    """Runs of the bests in the first worlds, which the selection has not seen."""
    worlds = [*range(1, fresh + 1), *range(1, min(LIVED_TWICE, fresh) + 1)]
    seeds = replicate_seeds(equal.plan.seed, len(worlds))
    plan = equal.plan
    if plan.profile is not None:
        plan = replace(plan, worlds=tuple(worlds), first=1)
    else:
        # Without worlds chance is all there is: each seed stands for one.
        worlds = list(range(1, len(worlds) + 1))
    with open_points(folder, workers) as runner:
        rows = runner.run(plan, [{}], seeds, span, measures=MEASURES, on_progress=on_progress)
    place = {seed: i for i, seed in enumerate(seeds)}
    number = rows["seed"].map(place)
    status = np.where(rows["died_out_day"].notna(), "died_out", "settled")
    return rows.drop(columns="point").assign(
        replicate=number + 1, world=[worlds[i] for i in number], status=status
    )


def _judged(equal: EqualMeans, names: Sequence[str], runs: pd.DataFrame) -> pd.DataFrame:
    table: list[dict[str, Any]] = []
    for name in names:
        policy = next(policy for policy in equal.plan.policies if policy.name == name)
        here = runs[runs["policy"] == name]
        gone = faded(here, expected_breeders(replace(equal.plan, policies=(policy,)), {}))
        within = equal.limits.kept(here).all(axis=1) & ~gone
        count, means = here["world"].nunique(), here.groupby("world")[YIELD].mean()
        share = float(gone.mean())
        chosen = equal.candidates[(equal.candidates["policy"] == name) & equal.candidates["chosen"]]
        table.append({
            "policy": name, YIELD: float(means.mean()),
            "yield_se": float(means.std(ddof=1) / np.sqrt(count)),
            "minutes": float(60 * here["work_hours_per_week"].mean()), "fading": share,
            "fading_se": float(np.sqrt(share * (1 - share) / count)),
            "kept": float(within.mean()), "selected_at": float(chosen["mean_of_all"].iloc[0]),
        })  # fmt: skip
    return pd.DataFrame(table)
