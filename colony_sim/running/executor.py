"""Run points of a design and hand on every outcome as soon as it is there.

Only a few runs more than there are workers are under way at a time; outcomes go to the store and
on to the caller one by one. So the memory used here does not grow with the number of runs, and a
run that is in the store is never done again, whichever design asked for it.
"""

from __future__ import annotations

import hashlib
import queue
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Protocol

import pandas as pd

from colony_sim.biology.parameters import find
from colony_sim.colony.simulate import Scenario
from colony_sim.experiment.design import START, check_point, point_dicts
from colony_sim.experiment.files import Policy
from colony_sim.experiment.plan import Plan, content_key, model_fingerprint
from colony_sim.measuring.outcome import Measuring, SteadyMeasuring
from colony_sim.running.processes import ignoring_interrupts
from colony_sim.running.runner import Interrupted, Progress
from colony_sim.running.store import OutcomeStore
from colony_sim.running.task import Task, TaskResult

DIED = "WorkerDied: the worker process ended abruptly, most often because memory ran out"


class WorkerLost(Exception):
    """The process that had the task is gone; the task itself may be sound."""


class Executor(Protocol):
    """Where tasks run. Used in a ``with`` block."""

    @property
    def at_once(self) -> int:
        """Tasks that run at a time."""

    @property
    def window(self) -> int:
        """Tasks to have handed over at a time."""

    def submit(self, task: Task) -> Future:
        """Hand over a task; the future takes ``add_done_callback``."""

    def result(self, future: Future) -> TaskResult | None:
        """What came of an ended task; raises WorkerLost if its process is gone."""

    def restart(self) -> None:
        """Be ready for tasks again after a WorkerLost."""

    def check(self) -> None:
        """Called now and then; raises if nothing can run any more."""

    def stop(self, futures: Sequence[Future]) -> None:
        """End the tasks under way soon."""

    def __enter__(self) -> Executor: ...

    def __exit__(self, *_: object) -> None: ...


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
    outcome : dict or None
        ``outcome.FACTS`` and measures by key; None if the run failed.
    error : str or None
        Traceback of a run that failed.
    reused : bool
        Whether it was in the store.
    """

    point: int
    policy: str
    replicate: int
    seed: int
    outcome: dict[str, Any] | None
    error: str | None
    reused: bool


def open_executor(workers: int | None = None, cluster: str | None = None) -> Executor:
    """Worker processes of this machine, or the workers of a Dask cluster at an address.

    Raises
    ------
    InputError
        `workers` out of its limits, or a cluster that cannot be used.
    """
    if cluster is None:
        from colony_sim.running.local import LocalExecutor

        return LocalExecutor(workers)
    from colony_sim.running.cluster import ClusterExecutor

    return ClusterExecutor(cluster)


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
) -> Iterator[PointOutcome]:
    """As `run_points`, for any runs; `total` is their number, for the progress."""
    flow = _Flow(total, store, executor, measuring, on_progress)
    flow.report()
    try:
        for run in runs:
            if run.key in flow.waiting:
                flow.waiting[run.key].append(run)
                continue
            stored = store.get(run.key)
            if stored is not None:
                flow.reused += 1
                flow.report(at_once=False)
                yield _outcome(run, stored, None, reused=True)
                continue
            while flow.full:
                yield from flow.collect()
            flow.start(run)
        while flow.waiting:
            yield from flow.collect()
        flow.report()
    except BaseException as error:
        flow.stop()
        if isinstance(error, KeyboardInterrupt):
            raise Interrupted(flow.done, total) from None
        raise


class _Flow:
    """Tasks under way: hands them over, takes their results, stores and counts them."""

    def __init__(
        self,
        total: int,
        store: OutcomeStore,
        executor: Executor,
        measuring: Measuring,
        on_progress: Callable[[Progress], None],
    ) -> None:
        self.total, self.reused, self.finished, self.failed = total, 0, 0, 0
        self.waiting: dict[str, list[PointRun]] = {}
        self._store, self._executor, self._measuring = store, executor, measuring
        self._on_progress = on_progress
        self._keys: dict[Future, str] = {}
        self._ended: queue.SimpleQueue[Future] = queue.SimpleQueue()
        self._lost: list[str] = []
        self._began: float | None = None
        self._told = 0.0

    @property
    def done(self) -> int:
        """Runs that are in the store."""
        return self.reused + self.finished

    @property
    def full(self) -> bool:
        """Whether to take a result before the next start."""
        return bool(self._lost) or len(self._keys) >= self._executor.window

    def start(self, run: PointRun) -> None:
        """Hand over a run."""
        if self._began is None:
            self._began = time.monotonic()
        self.waiting[run.key] = [run]
        self._submit(run.key)

    def collect(self) -> Iterator[PointOutcome]:
        """Wait for a result, but not for long, and hand it on."""
        future = self._next()
        if future is None:
            return
        key = self._keys.pop(future)
        try:
            result = self._executor.result(future)
        except WorkerLost:
            self._lost.append(key)
        else:
            yield from self._settle(key, result)
        if self._lost and not self._keys:
            yield from self._one_by_one()

    def report(self, at_once: bool = True) -> None:
        """Tell how far the runs are."""
        now = time.monotonic()
        if not at_once and now - self._told < 0.25:
            return
        self._told = now
        ended, left = self.finished + self.failed, None
        if ended:
            left = (now - self._began) / ended * (self.total - self.reused - ended)
        self._on_progress(Progress(self.done, self.total, self.reused, self.failed, left))

    def stop(self) -> None:
        """End what is under way and keep what has ended."""
        with ignoring_interrupts():
            self._executor.stop(list(self._keys))
            while not self._ended.empty():
                future = self._ended.get()
                if future.cancelled() or future not in self._keys:
                    continue
                with suppress(Exception):
                    result = self._executor.result(future)
                    if result is not None:
                        list(self._settle(self._keys.pop(future), result))

    def _submit(self, key: str) -> None:
        scenario = self.waiting[key][0].scenario
        task = Task(key, scenario, self._measuring, model_fingerprint(), self._measuring.digest)
        future = self._executor.submit(task)
        self._keys[future] = key
        future.add_done_callback(self._ended.put)

    def _next(self) -> Future | None:
        try:
            return self._ended.get(timeout=0.25)
        except queue.Empty:
            self._executor.check()
            self.report()
            return None

    def _settle(self, key: str, result: TaskResult) -> Iterator[PointOutcome]:
        if result.error is None:
            self._store.save(key, result.outcome, result.seconds, result.peak_mb)
        else:
            self._store.save_error(key, result.error)
        runs = self.waiting.pop(key)
        self.finished += len(runs) * (result.error is None)
        self.failed += len(runs) * (result.error is not None)
        self.report(at_once=False)
        for run in runs:
            yield _outcome(run, result.outcome, result.error, reused=False)

    def _one_by_one(self) -> Iterator[PointOutcome]:
        # One of these runs may have taken its process down; alone, it takes no other with it.
        lost, self._lost = self._lost, []
        self._executor.restart()
        for key in lost:
            self._submit(key)
            while (future := self._next()) is None:
                pass
            del self._keys[future]
            try:
                result = self._executor.result(future)
            except WorkerLost:
                result = TaskResult(None, DIED, 0.0, None)
                self._executor.restart()
            yield from self._settle(key, result)


def _outcome(
    run: PointRun, outcome: dict[str, Any] | None, error: str | None, *, reused: bool
) -> PointOutcome:
    seed = run.scenario.seed
    return PointOutcome(run.point, run.policy, run.replicate, seed, outcome, error, reused)
