"""Policies at equal means: each with the other handling that suits it best, by a search.

Two rules compared with all else alike answer which rule is better *in that handling*, which may
suit one of them and cramp the other. Here every policy keeps what the policies differ in (its base
rule) and has the rest of the handling searched under the same means: bins, founder beetles and
minutes a week.

Two stages: candidates proposed by `proposing` are judged in a few worlds, the best quarter and the
handling of the file in twice as many further ones, and the best mean over all of them is taken.
That mean is the largest of several noisy ones and so too good; it is never used to compare. The
worlds of the selection are taken from the end of all worlds and its seeds are not those of the
plan, so that whatever is compared later in the first worlds is judged afresh.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Value
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.design import Factor
from colony_sim.experiment.files import MOST_POINTS, Policy
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.running.runner import Progress
from colony_sim.running.whole import Whole
from colony_sim.studies.points import PointRunner, Window, fits, only, open_points, window
from colony_sim.studies.search.limits import (
    MEASURES,
    WORK,
    Came,
    Limits,
    came_to,
    expected_breeders,
)
from colony_sim.studies.search.proposing import NAME, Judged, propose
from colony_sim.studies.search.run import ALL_HANDLING, check_runs, factor_of, plain, search_name

_WHEN_MOVED = ("rotation.interval_days", "rotation.when", "rotation.eggs_per_dm2",
               "rotation.larvae_per_dm2")  # fmt: skip
"""One rule in several keys: a policy that has one of them as its own keeps all."""
CANDIDATES, REPLICATES, TIMES_MORE = 24, 6, 2
WARM_UP, USED = 420, 504
_OBJECTIVE = {"yield_g_per_day": "maximize"}
_SELECTING = 0x5E1EC7
"""Mixed into the seed of a plan for the seeds of the selection (any number)."""


@dataclass(frozen=True)
class EqualMeans:
    """Policies with the handling that suits each best.

    Attributes
    ----------
    plan : Plan
        The policies by their names, each with its best handling, bins and founders as limited.
    before : Plan
        The same bins and founders with the handling of the file.
    limits : Limits
        The means, minutes a week with them.
    given_minutes : bool
        Whether the minutes were given; else they are what the busiest policy of the file keeps to
        as surely as asked.
    changes : pandas.DataFrame
        One row a policy and key searched: policy, key, as_in_file, best (texts), changed (bool).
    candidates : pandas.DataFrame
        One row a policy and candidate: policy, trial, keys, means, feasible, and for those of the
        second stage mean_of_all (g/day over the worlds of both stages), kept (share of all these
        runs within all limits), chosen (bool).
    worlds : tuple of int
        Worlds of the selection; empty without a profile.
    """

    plan: Plan
    before: Plan
    limits: Limits
    given_minutes: bool
    changes: pd.DataFrame
    candidates: pd.DataFrame
    worlds: tuple[int, ...]


def at_equal_means(
    plan: Plan,
    folder: Path,
    *,
    limits: Limits | None = None,
    keys: Sequence[str] | None = None,
    candidates: int = CANDIDATES,
    replicates: int = REPLICATES,
    warm_up: int = WARM_UP,
    used: int = USED,
    workers: int | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> EqualMeans:
    """Give each policy of a plan the other handling that suits it best under the same means.

    Parameters
    ----------
    plan : Plan
        With two policies or more.
    folder : Path
        Results folder, held with ``folder.claim``; candidates are kept in ``study.sqlite`` there,
        and the same search goes on where it stopped.
    limits : Limits, optional
        Default: bins and founders of the file, and no more minutes than its busiest policy takes.
    keys : sequence of str, optional
        Handling searched, as for `search`; default `ALL_HANDLING`. Keys of a base rule are left
        out.
    candidates, replicates : int
        Candidates of each policy, and worlds each is tried in; the best quarter lives in twice as
        many more.
    warm_up, used, workers, on_progress
        As for the other studies.

    Raises
    ------
    InputError
        A single policy, racks of different size, a limit or key that is not allowed, or too few
        worlds.
    MissingExtra
        If Optuna is not installed.
    PointsFailed
        If a run raised.
    """
    limits = Limits() if limits is None else limits
    fixed = limits.check()
    _check(plan, limits, candidates, replicates)
    before = _with_means(plan, fixed)
    factors = factors_of(before, ALL_HANDLING if keys is None else keys)
    worlds, seeds = _selection(plan, replicates * (1 + TIMES_MORE))
    span = window(before, warm_up, used)
    best = min(max(2, math.ceil(candidates / 4)), candidates)
    given = limits.minutes_per_week is not None
    # The busiest is looked for first; one candidate more is the handling of the file.
    each = replicates * (candidates + TIMES_MORE * (best + 1) + (not given))
    check_runs(len(plan.policies) * each, candidates)
    whole = Whole(on_progress, len(plan.policies) * each)
    with open_points(folder, workers) as runner:
        bench = _Bench(replace(before, worlds=worlds, first=1), seeds, span, runner, whole)
        if not given:
            limits = replace(limits, minutes_per_week=bench.busiest(replicates, limits.sure))
        found = [
            _best_of(bench, policy.name, factors, limits, candidates, replicates, best, folder)
            for policy in before.policies
        ]
    policies = tuple(
        Policy(policy.name, policy.parameters.with_values(point, where="search"))
        for policy, (point, _) in zip(before.policies, found, strict=True)
    )
    return EqualMeans(
        replace(before, policies=policies), before, limits, given,
        _changes(before, policies, factors),
        pd.concat([table for _, table in found], ignore_index=True), worlds,
    )  # fmt: skip


def factors_of(plan: Plan, keys: Sequence[str]) -> list[Factor]:
    """What is searched: the keys that are no part of a base rule.

    Raises
    ------
    InputError
        A key that is not allowed, or none left.
    """
    own = {key for key in plan.policies[0].parameters.as_dict() if _differs(plan, key)}
    if own & set(_WHEN_MOVED):
        own |= set(_WHEN_MOVED)
    factors = [factor_of(spec) for spec in dict.fromkeys(keys)]
    factors = [factor for factor in factors if factor.key not in own]
    if not factors:
        raise InputError(ARGUMENT, "keys", "nothing", "a handling key in which no policies differ")
    return factors


def _differs(plan: Plan, key: str) -> bool:
    return len({policy.parameters[key] for policy in plan.policies}) > 1


def _check(plan: Plan, limits: Limits, candidates: int, replicates: int) -> None:
    if len(plan.policies) < 2:
        raise InputError(ARGUMENT, "policies", len(plan.policies), "two or more to compare")
    if limits.bins is None and _differs(plan, "rack.bins"):
        raise InputError(ARGUMENT, "bins", "not given", "a number, as the policies differ in it")
    for option, number in (("candidates", candidates), ("replicates", replicates)):
        if not 1 <= number <= MOST_POINTS:
            raise InputError(ARGUMENT, option, number, f"1 to {MOST_POINTS}")


def _with_means(plan: Plan, fixed: dict[str, Value]) -> Plan:
    breeders = fixed.pop("start.breeders", plan.breeders)
    policies = tuple(
        Policy(policy.name, policy.parameters.with_values(fixed, where="argument bins"))
        for policy in plan.policies
    )
    return replace(plan, policies=policies, breeders=int(breeders))


def _selection(plan: Plan, runs: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Worlds and seeds of the selection: the last worlds, and seeds of their own."""
    hidden = np.random.SeedSequence([plan.seed, _SELECTING]).generate_state(1)[0]
    seeds = replicate_seeds(int(hidden), runs)
    if plan.profile is None:
        return (), seeds
    there = len(plan.profile.draws)
    last = there // 2
    if last < 1:
        raise InputError(ARGUMENT, "profile", there, "2 draws or more, half of them to select by")
    return tuple(there - place % last for place in range(runs)), seeds


@dataclass(frozen=True)
class _Bench:
    """Where candidates are judged: the same worlds and seeds for all."""

    plan: Plan
    seeds: tuple[int, ...]
    span: Window
    runner: PointRunner
    whole: Whole

    def run(self, policy: str, points: Sequence[dict[str, Value]], runs: slice) -> pd.DataFrame:
        """Runs of one policy at some points, with some of the seeds."""
        rows = self._lived(policy, points, runs, on_progress=self.whole.report)
        self.whole.next()
        return rows

    def again(self, policy: str, points: Sequence[dict[str, Value]], runs: slice) -> pd.DataFrame:
        """Runs that are stored already and were counted then."""
        return self._lived(policy, points, runs)

    def _lived(
        self, policy: str, points: Sequence[dict[str, Value]], runs: slice, **options: Any
    ) -> pd.DataFrame:
        plan = replace(only(self.plan, [policy]), worlds=self.plan.worlds[runs])
        return self.runner.run(
            plan, points, self.seeds[runs], self.span, measures=MEASURES, **options
        )

    def busiest(self, replicates: int, sure: float) -> float:
        """Minutes a week that the busiest policy of the file keeps to in this share of runs."""
        minutes = [60 * self.run(policy.name, [{}], slice(0, replicates))[WORK].to_numpy()
                   for policy in self.plan.policies]  # fmt: skip
        return max(float(np.quantile(one, sure, method="higher")) for one in minutes)


def _best_of(
    bench: _Bench, policy: str, factors: Sequence[Factor], limits: Limits, candidates: int,
    replicates: int, best: int, folder: Path,
) -> tuple[dict[str, Value], pd.DataFrame]:  # fmt: skip
    """The best handling of one policy, and its table of candidates."""
    plan = only(bench.plan, [policy])
    base = plan.policies[0].parameters
    first, more = slice(0, replicates), slice(replicates, None)

    def came(rows: pd.DataFrame, points: Sequence[dict[str, Value]]) -> list[Came]:
        return [came_to(rows[rows["point"] == i], expected_breeders(plan, point), limits)
                for i, point in enumerate(points)]  # fmt: skip

    tried = 0

    def judge(points: list[dict[str, Value]]) -> list[Judged]:
        nonlocal tried
        tried += len(points)
        fitting = [point if fits(base, point) else {} for point in points]
        found = came(bench.run(policy, fitting, first), fitting)
        return [
            Judged(
                [one.means["yield_g_per_day"]],
                # Values that do not go together are no handling.
                one.short if fits(base, point) else dict.fromkeys(one.short, 1.0),
                {"minutes_per_week": one.means["minutes_per_week"],
                 "fading": one.means["fading"], "worst": one.worst},
            )
            for one, point in zip(found, points, strict=True)
        ]  # fmt: skip

    name = search_name(plan, factors, {}, limits, bench.seeds[first], bench.span)
    own = {factor.key: base[factor.key] for factor in factors}
    table = propose(folder / NAME, name, factors, _OBJECTIVE, candidates, judge,
                    seed=plan.seed, first=own)  # fmt: skip
    # Candidates that were tried before the search was stopped are not tried again.
    bench.whole.total -= replicates * (candidates - tried)
    keys = [factor.key for factor in factors]
    ranked = table.drop_duplicates(keys)
    ranked = ranked[[fits(base, plain(row)) for row in ranked[keys].to_dict("records")]]
    ranked = ranked.sort_values(["worst", "yield_g_per_day"], ascending=[True, False],
                                kind="stable")  # fmt: skip
    taken = list(ranked.index[:best])
    points = [plain({key: table.loc[row, key] for key in keys}) for row in taken]
    if own not in points:
        points.append(own)
    bench.whole.total -= TIMES_MORE * replicates * (best + 1 - len(points))
    rows = pd.concat([bench.again(policy, points, first), bench.run(policy, points, more)])
    found = came(rows, points)
    place = min(range(len(points)),
                key=lambda i: (found[i].worst, -found[i].means["yield_g_per_day"]))  # fmt: skip
    if len(points) > len(taken):  # The handling of the file, which is no value of the search.
        table = pd.concat([table, pd.DataFrame([own])], ignore_index=True)
        taken.append(len(table) - 1)
    second = pd.DataFrame(
        {
            "mean_of_all": [one.means["yield_g_per_day"] for one in found],
            "kept": [one.all_kept for one in found],
        },
        index=taken,
    )
    table = table.join(second).assign(chosen=table.index == taken[place])
    table.insert(0, "policy", policy)
    return points[place], table


def _changes(before: Plan, after: Sequence[Policy], factors: Sequence[Factor]) -> pd.DataFrame:
    rows = []
    for old, new in zip(before.policies, after, strict=True):
        for key in (factor.key for factor in factors):
            was, now = old.parameters[key], new.parameters[key]
            rows.append({"policy": old.name, "key": key, "as_in_file": str(was), "best": str(now),
                         "changed": was != now})  # fmt: skip
    return pd.DataFrame(rows)
