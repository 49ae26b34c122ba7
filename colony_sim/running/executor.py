"""Run points of a design and hand on every outcome as soon as it is there."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from colony_sim.biology.parameters import find
from colony_sim.colony.simulate import Scenario
from colony_sim.experiment.design import START, check_point, point_dicts
from colony_sim.experiment.files import Policy
from colony_sim.experiment.plan import Plan, content_key, model_fingerprint
from colony_sim.measuring.outcome import Measuring, SteadyMeasuring
from colony_sim.running.cluster import ClusterExecutor
from colony_sim.running.jobs import run_jobs
from colony_sim.running.local import LocalExecutor
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress
from colony_sim.running.store import OutcomeStore
from colony_sim.running.task import Task


@dataclass(frozen=True)
class PointRun:
    """One run of a design: where it belongs, its scenario and the key of its outcome."""

    point: int
    policy: str
    replicate: int
    key: str
    scenario: Scenario


@dataclass(frozen=True)
class PointOutcome:
    """A finished or failed run of a design.

    Attributes
    ----------
    point, policy, replicate, seed
        Where it belongs.
    outcome : dict, bytes or None
        What the measuring gives, such as ``outcome.FACTS`` and measures by key; None if the run
        failed.
    error : str or None
        Traceback of a run that failed.
    reused : bool
        Whether it was in the store.
    """

    point: int
    policy: str
    replicate: int
    seed: int
    outcome: Any
    error: str | None
    reused: bool


def open_executor(workers: int | None = None, cluster: str | None = None) -> Executor:
    """Worker processes of this machine, or the workers of a Dask cluster at an address.

    Raises
    ------
    InputError
        `workers` out of its limits, or a cluster that cannot be used.
    """
    return LocalExecutor(workers) if cluster is None else ClusterExecutor(cluster)


def run_points(
    plan: Plan,
    points: pd.DataFrame | Sequence[Mapping[str, Any]],
    store: OutcomeStore,
    *,
    seeds: Sequence[int] | None = None,
    measuring: Measuring | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    executor: Executor | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Iterator[PointOutcome]:
    """Run every policy of a plan at every point with every seed.

    Parameters
    ----------
    plan : Plan
        Policies, climate, days and founders on which the points are laid.
    points : DataFrame or sequence of mapping
        Columns or keys are keys of parameters; numbered from 1.
    store : OutcomeStore
        Finished runs are taken from it and put into it.
    seeds : sequence of int, optional
        Default: those of the plan. The same for every point and policy (paired). The first
        belongs to replicate number ``plan.first``.
    measuring : Measuring, optional
        Default: over the steady window.
    workers, cluster
        As for :func:`open_executor`, if no `executor` is given.
    executor : Executor, optional
        An open one, for many calls; it stays open.
    on_progress : callable
        Told how far the runs are.

    Yields
    ------
    PointOutcome
        In the order in which they end; every run exactly once.

    Raises
    ------
    InputError
        Before anything runs, if a point is not allowed.
    runner.Interrupted
        On Ctrl-C; finished runs are in the store.
    """
    measuring = SteadyMeasuring() if measuring is None else measuring
    seeds = plan.seeds if seeds is None else tuple(seeds)
    dicts = point_dicts(points)
    for number, point in enumerate(dicts, start=1):
        check_plan_at(plan, point, f"point {number}")
    total = len(dicts) * len(seeds) * len(plan.policies)

    def runs() -> Iterator[PointRun]:
        for number, point in enumerate(dicts, start=1):
            at_point = point_plan(plan, point)
            yield from runs_of(at_point, number, enumerate(seeds, start=plan.first), measuring)

    if executor is not None:
        yield from run_all_points(runs(), total, store, executor, measuring, on_progress)
        return
    with open_executor(workers, cluster) as own:
        yield from run_all_points(runs(), total, store, own, measuring, on_progress)


def point_plan(plan: Plan, point: Mapping[str, Any], where: str = "point") -> Plan:
    """The plan with a point laid over every policy; InputError if that is not allowed.

    A key of the point is no longer drawn from the profile of the plan.
    """
    values = check_point(point, where)
    start: dict[str, Any]
    start = {key.partition(".")[2]: values.pop(key) for key in START if key in values}
    policies = tuple(
        Policy(policy.name, policy.parameters.with_values(values, where=where))
        for policy in plan.policies
    )
    profile = plan.profile and plan.profile.without(values)
    return replace(plan, policies=policies, profile=profile, **start)


def check_plan_at(plan: Plan, point: Mapping[str, Any], where: str) -> None:
    """`InputError` if a point is not allowed, by itself or with a draw of the profile."""
    at_point = point_plan(plan, point, where)
    if any(key not in START and find(key, where).group == "biology" for key in point):
        at_point.check_draws(where)


def runs_of(
    plan: Plan,
    point: int,
    seeds: Iterable[tuple[int, int]],
    measuring: Measuring,
) -> Iterator[PointRun]:
    """The runs at one point, seed by seed; `seeds` are numbers of replicates with their seeds."""
    for replicate, seed in seeds:
        for policy in plan.policies:
            scenario = plan.scenario(policy, replicate, seed)
            key = outcome_key(scenario, measuring)
            yield PointRun(point, policy.name, replicate, key, scenario)


def outcome_key(scenario: Scenario, measuring: Measuring) -> str:
    """SHA-256 over all that decides the outcome of a run: its input, the model, the measuring."""
    return hashlib.sha256(f"{content_key(scenario)} {measuring.digest}".encode()).hexdigest()


def run_all_points(
    runs: Iterable[PointRun],
    total: int,
    store: OutcomeStore,
    executor: Executor,
    measuring: Measuring,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    **options: bool,
) -> Iterator[PointOutcome]:
    """As `run_points`, for any runs; `total` is their number, `options` are those of `run_jobs`."""
    asked: dict[str, list[PointRun]] = {}

    def tasks() -> Iterator[Task]:
        for run in runs:
            asked.setdefault(run.key, []).append(run)
            yield Task(run.key, run.scenario, measuring, model_fingerprint(), measuring.digest)

    for ended in run_jobs(tasks(), total, store, executor, on_progress, **options):
        key = ended.job.key
        run = asked[key].pop(0)
        if not asked[key]:
            del asked[key]
        place = (run.point, run.policy, run.replicate, run.scenario.seed)
        yield PointOutcome(*place, ended.outcome, ended.error, ended.reused)
