"""Run a plan: every run in a worker process, every finished run stored at once.

What a run gives depends on its scenario alone, so the number of workers changes no byte.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.errors import InputError
from colony_sim.experiment.plan import PlannedRun
from colony_sim.results.folder import RunStore
from colony_sim.running.processes import (
    Stopped,
    ignoring_interrupts,
    spawning,
    start_worker,
    stop_if_asked,
    stop_workers,
)

MOST_WORKERS = 61  # Windows waits on no more processes than that.


@dataclass(frozen=True)
class Progress:
    """How far the runs are; ``seconds_left`` is None as long as no run has finished."""

    done: int
    total: int
    reused: int
    failed: int
    seconds_left: float | None


@dataclass(frozen=True)
class Failure:
    """A run that raised: its error in one line and the file with the whole of it."""

    policy: str
    seed: int
    error: str
    file: Path


class Interrupted(KeyboardInterrupt):
    """Ctrl-C during the runs; finished runs are stored.

    Attributes
    ----------
    done, total : int
        Runs that are finished, and runs of the plan.
    """

    def __init__(self, done: int, total: int) -> None:
        super().__init__(f"{done} of {total} runs finished")
        self.done = done
        self.total = total


class WorkerDied(Exception):
    """A worker process was killed from outside; finished runs are stored.

    Attributes
    ----------
    done, total : int
        Runs that are finished, and runs of the plan.
    """

    def __init__(self, done: int, total: int) -> None:
        super().__init__(
            "A worker process ended abruptly, most often because memory ran out; "
            f"{done} of {total} runs were finished"
        )
        self.done = done
        self.total = total


def default_workers() -> int:
    """Number of processor cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return min(len(os.sched_getaffinity(0)), MOST_WORKERS)
    return min(os.cpu_count() or 1, MOST_WORKERS)


def check_workers(workers: int | None) -> int:
    """``workers`` if it is in its limits, the number of cores if it is None."""
    if workers is None:
        return default_workers()
    if isinstance(workers, bool) or not isinstance(workers, int):
        raise InputError("command line", "--workers", workers, "a whole number")
    if not 1 <= workers <= MOST_WORKERS:
        raise InputError(
            "command line", "--workers", workers, f"a whole number from 1 to {MOST_WORKERS}"
        )
    return workers


def run_all(
    runs: Sequence[PlannedRun],
    store: RunStore,
    *,
    workers: int,
    fresh: bool = False,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> list[Failure]:
    """Simulate the runs that are not in the store yet.

    Parameters
    ----------
    runs : sequence of PlannedRun
        The plan. Runs with the same content key are simulated once.
    store : RunStore
        Where finished runs are kept. The folder must be held (``store.claim``).
    workers : int
        Number of worker processes.
    fresh : bool
        Simulate runs that are in the store as well, and replace them.
    on_progress : callable
        Called when a run finishes, and a few times a second in between.

    Returns
    -------
    list of Failure
        Runs that raised, in the order of the plan; empty if all finished.

    Raises
    ------
    Interrupted
        On Ctrl-C, within two seconds.
    WorkerDied
        If a worker process was killed.
    """
    wanted = {run.key: run for run in runs}
    todo = [run for key, run in wanted.items() if fresh or not store.has(key)]
    clock = _Clock(len(wanted), len(wanted) - len(todo), on_progress)
    clock.report()
    errors: dict[str, str] = {}
    if todo:
        compile_kernels()
        errors = _run_in_pool(todo, store, min(workers, len(todo)), clock)
    failures = []
    for run in todo:
        if run.key in errors:
            last = errors[run.key].strip().splitlines()[-1]
            path = store.error_path(run.key)
            failures.append(Failure(run.policy, run.scenario.seed, last, path))
    return failures


def compile_kernels() -> None:
    """Compile the kernels once and say so, before workers would each do the same.

    Does nothing if an earlier run left them on disk.
    """
    from colony_sim.biology import compiled
    from colony_sim.colony import simulate

    if compiled.cache_is_warm():
        return
    again = "once on this machine" if compiled.CACHE_FOLDER else "in every run: no cache folder"
    print(f"Compiling the kernels of the model ({again}).", file=sys.stderr, flush=True)
    if compiled.CACHE_FOLDER:
        simulate.simulate(
            simulate.Scenario(Parameters.default(), constant(27.0), days=2, seed=0, breeders=10)
        )


class _Clock:
    """Counts runs as they end and tells how far they are."""

    def __init__(self, total: int, reused: int, on_progress: Callable[[Progress], None]) -> None:
        self.total, self.reused = total, reused
        self.finished = self.failed = 0
        self.started = time.monotonic()
        self._on_progress = on_progress

    @property
    def done(self) -> int:
        return self.reused + self.finished

    def report(self) -> None:
        ended = self.finished + self.failed
        left = None
        if ended:
            still_open = self.total - self.reused - ended
            left = (time.monotonic() - self.started) / ended * still_open
        self._on_progress(Progress(self.done, self.total, self.reused, self.failed, left))


def _run_in_pool(
    todo: Sequence[PlannedRun], store: RunStore, workers: int, clock: _Clock
) -> dict[str, str]:
    """Simulate and store; returns the error of every run that failed, by key."""
    context = multiprocessing.get_context("spawn")
    others = set(multiprocessing.active_children())
    errors: dict[str, str] = {}
    keys: dict[Future, str] = {}
    pool = None
    clock.started = time.monotonic()
    try:
        with spawning():
            stop = context.Event()
            pool = ProcessPoolExecutor(workers, context, start_worker, (stop,))
            keys = {pool.submit(_work, run, store.folder.parent): run.key for run in todo}
        pending = set(keys)
        while pending:
            ended, pending = wait(pending, timeout=0.25, return_when=FIRST_COMPLETED)
            for future in ended:
                error = future.result()
                clock.finished += error is None
                clock.failed += error is not None
                if error is not None:
                    errors[keys[future]] = error
                    store.save_error(keys[future], error)
            clock.report()
        pool.shutdown()
    except BaseException as error:
        with ignoring_interrupts():
            stop_workers(pool, keys, others, lambda: stop.set())
            done = clock.reused + sum(store.has(run.key) for run in todo)
        if isinstance(error, KeyboardInterrupt):
            raise Interrupted(done, clock.total) from None
        if isinstance(error, BrokenProcessPool):
            raise WorkerDied(done, clock.total) from None
        raise
    return errors


# ---- In the worker process


def _work(run: PlannedRun, folder: Path) -> str | None:
    """Simulate and store one run; the text of the error if it raised."""
    from colony_sim.colony import simulate

    try:
        record = simulate.simulate(run.scenario, stop_if_asked)
        RunStore(folder).save(run.key, record.daily, record.died_out_day)
    except Stopped:
        return "Stopped."
    except Exception as error:
        head = f"Policy {run.policy}, seed {run.scenario.seed}"
        trace = "".join(traceback.format_exception(error))
        return f"{head}\n{trace}"
    return None
