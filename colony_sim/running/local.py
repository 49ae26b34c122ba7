"""Tasks in worker processes of this machine (``concurrent.futures``)."""

from __future__ import annotations

import multiprocessing
from collections.abc import Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool

from colony_sim.running.executor import WorkerLost
from colony_sim.running.processes import spawning, start_worker, stop_workers
from colony_sim.running.runner import check_workers, compile_kernels
from colony_sim.running.task import Task, TaskResult, run_task


class LocalExecutor:
    """Worker processes, started with the first task.

    Parameters
    ----------
    workers : int, optional
        Default: one per core.
    """

    def __init__(self, workers: int | None = None) -> None:
        self.workers = check_workers(workers)
        self._pool: ProcessPoolExecutor | None = None
        self._others: set = set()
        self._stop = None

    @property
    def at_once(self) -> int:
        """The number of workers."""
        return self.workers

    @property
    def window(self) -> int:
        """Two tasks per worker, so that none waits for this process to hand over the next."""
        return 2 * self.workers

    def submit(self, task: Task) -> Future:
        """Hand over a task."""
        # The pool starts a worker when there is work for it, so each of these may start one.
        with spawning():
            if self._pool is None:
                self._start()
            try:
                return self._pool.submit(run_task, task)
            except BrokenProcessPool as error:
                failed: Future = Future()
                failed.set_exception(error)
                return failed

    def result(self, future: Future) -> TaskResult | None:
        """What came of a task."""
        try:
            return future.result()
        except BrokenProcessPool:
            raise WorkerLost from None

    def restart(self) -> None:
        """New processes in place of broken ones, at the next task."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def check(self) -> None:
        """Nothing to look after: a process that ends breaks its pool at once."""

    def stop(self, futures: Sequence[Future]) -> None:
        """End the runs under way at the end of their day."""
        if self._pool is not None:
            stop_workers(self._pool, futures, self._others, self._stop.set)
            self._pool = None

    def __enter__(self) -> LocalExecutor:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown()
            self._pool = None

    def _start(self) -> None:
        compile_kernels()
        context = multiprocessing.get_context("spawn")
        self._others = set(multiprocessing.active_children())
        self._stop = context.Event()
        self._pool = ProcessPoolExecutor(self.workers, context, start_worker, (self._stop,))
