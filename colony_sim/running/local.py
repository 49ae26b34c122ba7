"""Jobs in worker processes of this machine (``concurrent.futures``), or in this process."""

from __future__ import annotations

import multiprocessing
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.process import BaseProcess
from typing import Any

from colony_sim.biology.compiled import CACHE_FOLDER
from colony_sim.running.processes import close, spawning, start_worker, stop_workers
from colony_sim.running.protocol import Job, TaskResult, WorkerLost
from colony_sim.running.runner import (
    check_workers,
    compile_kernels,
    get_ready,
    get_ready_together,
    preparing,
)


class LocalExecutor:
    """Worker processes, started with the first job.

    Parameters
    ----------
    workers : int, optional
        Default: one per core.
    behind : bool
        Whether they give way to everything else on the machine.
    """

    def __init__(self, workers: int | None = None, *, behind: bool = False) -> None:
        self.workers = check_workers(workers)
        self._behind = behind
        self._pool: ProcessPoolExecutor | None = None
        self._others: set[BaseProcess] = set()
        self._stop: Callable[[], object] = lambda: None
        self._preparing: list[Future[Any]] = []

    def ahead(self) -> None:
        """Start the workers now: they load, or compile, what a run needs beside the caller."""
        line = preparing()
        if line and (self.workers == 1 or CACHE_FOLDER is None):
            return  # The first job prepares as much as can be.
        if line:
            print(line, file=sys.stderr, flush=True)
        with spawning():
            pool = self._pool = self._start()
            if line:
                ends = False, True
                self._preparing = [pool.submit(get_ready_together, end) for end in ends]
            else:
                for _ in range(self.workers):
                    pool.submit(get_ready)

    @property
    def at_once(self) -> int:
        """The number of workers."""
        return self.workers

    @property
    def window(self) -> int:
        """Two jobs per worker, so that none waits for this process to hand over the next."""
        return 2 * self.workers

    def submit(self, job: Job) -> Future[Any]:
        """Hand over a job."""
        if self._preparing:
            # Other workers would each compile the same; who is ready first has all of it compiled.
            wait(self._preparing, return_when=FIRST_COMPLETED)
            self._preparing = []
        if self._pool is None:
            compile_kernels()
        # The pool starts a worker when there is work for it, so each of these may start one.
        with spawning():
            pool = self._pool = self._pool or self._start()
            try:
                return pool.submit(job.run)
            except BrokenProcessPool as error:
                failed: Future[Any] = Future()
                failed.set_exception(error)
                return failed

    def result(self, future: Future[Any]) -> TaskResult:
        """What came of a job."""
        try:
            return future.result()
        except BrokenProcessPool:
            raise WorkerLost from None

    def restart(self) -> None:
        """New processes in place of broken ones, at the next job."""
        if self._pool is not None:
            close(self._pool)()
            self._pool = None

    def check(self) -> None:
        """Nothing to look after: a process that ends breaks its pool at once."""

    def stop(self, futures: Sequence[Future[Any]]) -> None:
        """End the runs under way at the end of their day."""
        if self._pool is not None:
            stop_workers(self._pool, futures, self._others, self._stop)
            self._pool = None

    def __enter__(self) -> LocalExecutor:
        return self

    def __exit__(self, *error: object) -> None:
        if any(error):
            self.stop(())
        elif self._pool is not None:
            self._pool.shutdown()
            self._pool = None

    def _start(self) -> ProcessPoolExecutor:
        context = multiprocessing.get_context("spawn")
        self._others = set(multiprocessing.active_children())
        stop = context.Event()
        self._stop = stop.set
        return ProcessPoolExecutor(self.workers, context, start_worker, (stop, self._behind))


class SerialExecutor:
    """This very process: a job is done when it is handed over."""

    at_once = window = 1

    def ahead(self) -> None:
        """Nothing to do: who asks is at work."""

    def submit(self, job: Job) -> Future[Any]:
        """Do a job."""
        get_ready()
        done: Future[Any] = Future()
        done.set_result(job.run())
        return done

    def result(self, future: Future[Any]) -> TaskResult:
        """What came of a job."""
        return future.result()

    def restart(self) -> None:
        """Nothing to do: there is no other process."""

    def check(self) -> None:
        """Nothing to look after."""

    def stop(self, futures: Sequence[Future[Any]]) -> None:
        """Nothing is under way."""

    def __enter__(self) -> SerialExecutor:
        return self

    def __exit__(self, *_: object) -> None: ...
