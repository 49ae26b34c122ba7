"""Run jobs and hand on every outcome as soon as it is there: the one loop over workers.

Only a few jobs more than there are workers are under way at a time; outcomes go to the store and
on to the caller one by one. So the memory used here does not grow with the number of runs, and a
run that is in the store is never done again, whichever study asked for it.
"""

from __future__ import annotations

import queue
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from colony_sim.running.processes import ignoring_interrupts
from colony_sim.running.protocol import DIED, Executor, Job, TaskResult, WorkerLost
from colony_sim.running.runner import Interrupted, Progress, WorkerDied
from colony_sim.running.store import Damaged, OutcomeStore


@dataclass(frozen=True)
class Ended:
    """A finished or failed job: what came of it, and whether that was in the store."""

    job: Job
    outcome: Any
    error: str | None
    reused: bool


def run_jobs(
    jobs: Iterable[Job],
    total: int,
    store: OutcomeStore,
    executor: Executor,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    *,
    fresh: bool = False,
    retry: bool = True,
) -> Iterator[Ended]:
    """Do the jobs whose outcome is not in the store.

    Parameters
    ----------
    jobs : iterable of Job
        Those with the same key are done once.
    total : int
        Their number, for the progress.
    store : OutcomeStore
        Outcomes are taken from it and put into it.
    executor : Executor
        An open one; it stays open unless the jobs end early.
    on_progress : callable
        Told how far the jobs are.
    fresh : bool
        Do what is in the store as well, and replace it.
    retry : bool
        Try the jobs of a process that was killed one by one, and record as failed the one that
        takes its process down alone; otherwise raise WorkerDied.

    Yields
    ------
    Ended
        In the order in which they end; every job exactly once.

    Raises
    ------
    Interrupted
        On Ctrl-C; what is finished is in the store.
    WorkerDied
        If a process was killed, unless `retry`; what is finished is in the store.
    """
    flow = _Flow(total, store, executor, on_progress)
    flow.report()
    done: set[str] = set()
    try:
        for job in jobs:
            if job.key in flow.waiting:
                flow.waiting[job.key].append(job)
                continue
            stored = None if fresh and job.key not in done else _stored(store, job.key)
            if stored is not None:
                flow.reused += 1
                flow.report(at_once=False)
                yield Ended(job, stored, None, reused=True)
                continue
            while flow.full:
                yield from flow.collect(retry)
            if fresh:
                done.add(job.key)
            flow.start(job)
        while flow.waiting:
            yield from flow.collect(retry)
        flow.report()
    except BaseException as error:
        flow.stop()
        if isinstance(error, KeyboardInterrupt):
            raise Interrupted(flow.done, total) from None
        if isinstance(error, WorkerLost):
            raise WorkerDied(flow.done, total) from None
        raise


def _stored(store: OutcomeStore, key: str) -> Any:
    try:
        return store.get(key)
    except Damaged:
        print(f"Stored run {key[:12]} is damaged and is run again.", file=sys.stderr, flush=True)
        return None


class _Flow:
    """Jobs under way: hands them over, takes their results, stores and counts them."""

    def __init__(
        self,
        total: int,
        store: OutcomeStore,
        executor: Executor,
        on_progress: Callable[[Progress], None],
    ) -> None:
        self.total, self.reused, self.finished, self.failed = total, 0, 0, 0
        self.waiting: dict[str, list[Job]] = {}
        self._store, self._executor = store, executor
        self._on_progress = on_progress
        self._keys: dict[Future[Any], str] = {}
        self._ended: queue.SimpleQueue[Future[Any]] = queue.SimpleQueue()
        self._lost: list[str] = []
        self._seconds, self._timed = 0.0, 0
        self._first: float | None = None
        self._told = 0.0

    @property
    def done(self) -> int:
        """Runs that are in the store."""
        return self.reused + self.finished

    @property
    def full(self) -> bool:
        """Whether to take a result before the next start."""
        return bool(self._lost) or len(self._keys) >= self._executor.window

    def start(self, job: Job) -> None:
        """Hand over a job."""
        self.waiting[job.key] = [job]
        self._submit(job.key)

    def collect(self, retry: bool) -> Iterator[Ended]:
        """Wait for a result, but not for long, and hand it on."""
        future = self._next()
        if future is None:
            return
        key = self._keys.pop(future)
        try:
            result = self._executor.result(future)
        except WorkerLost:
            if not retry:
                raise
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
        if self._first is not None and self._timed:
            # A run's own time, as workers may be starting still; then the pace of the results,
            # which holds what is done beside the runs.
            workers = max(1, self._executor.at_once)  # A cluster may have none just now.
            each = self._seconds / self._timed / workers
            if self._timed > 5 * workers:
                each = max(each, (now - self._first) / self._timed)
            left = each * (self.total - self.reused - ended)
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
                    list(self._settle(self._keys.pop(future), result))

    def _submit(self, key: str) -> None:
        future = self._executor.submit(self.waiting[key][0])
        self._keys[future] = key
        future.add_done_callback(self._ended.put)

    def _next(self) -> Future[Any] | None:
        try:
            return self._ended.get(timeout=0.25)
        except queue.Empty:
            self._executor.check()
            self.report()
            return None

    def _settle(self, key: str, result: TaskResult) -> Iterator[Ended]:
        if result.seconds:
            self._seconds, self._timed = self._seconds + result.seconds, self._timed + 1
            if self._first is None:
                self._first = time.monotonic()
        if result.error is None:
            self._store.save(key, result.outcome, result.seconds, result.peak_mb)
        else:
            self._store.save_error(key, result.error)
        jobs = self.waiting.pop(key)
        self.finished += len(jobs) * (result.error is None)
        self.failed += len(jobs) * (result.error is not None)
        self.report(at_once=False)
        for job in jobs:
            yield Ended(job, result.outcome, result.error, reused=False)

    def _one_by_one(self) -> Iterator[Ended]:
        # One of these jobs may have taken its process down; alone, it takes no other with it.
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
