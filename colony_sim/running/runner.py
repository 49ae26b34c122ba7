"""What all runs share: how far they are, how they end early, workers, compiled kernels."""

from __future__ import annotations

import gc
import os
import pickle
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache

from colony_sim.atomic import remove, write_bytes
from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.running import pace

MOST_WORKERS = 61  # Windows waits on no more processes than that.
COMPILE_SECONDS = {1: 44, 2: 25}
"""What compiling the kernels took on one core and on two (s), on the machine of `pace`."""
_COMPILED = "all-compiled"


@dataclass(frozen=True)
class Progress:
    """How far the runs are; ``seconds_left`` is None as long as no run has finished."""

    done: int
    total: int
    reused: int
    failed: int
    seconds_left: float | None


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
        raise InputError(ARGUMENT, "workers", workers, "a whole number")
    if not 1 <= workers <= MOST_WORKERS:
        raise InputError(ARGUMENT, "workers", workers, f"a whole number from 1 to {MOST_WORKERS}")
    return workers


def preparing() -> str:
    """What is to be said before the kernels are compiled; empty if they need not be."""
    from colony_sim.biology import compiled

    if not compiled.CACHE_FOLDER:
        return "Preparing the model, as in every run: there is no folder to keep it in."
    seconds = seconds_to_prepare()
    return f"Preparing the model for this machine, once: about {seconds:.0f} s." if seconds else ""


def seconds_to_prepare() -> float:
    """About how long the kernels take to compile (s); 0 where they need not be."""
    from colony_sim.biology import compiled

    if compiled.CACHE_FOLDER and (compiled.CACHE_FOLDER / _COMPILED).exists():
        return 0.0
    return pace.here(COMPILE_SECONDS[min(default_workers(), 2)])


def compile_kernels() -> None:
    """Compile the kernels once and say so, before workers would each do the same.

    Does nothing if an earlier run left all of them on disk.
    """
    from colony_sim.biology import compiled

    line = preparing()
    if not line:
        return
    print(line, file=sys.stderr, flush=True)
    if compiled.CACHE_FOLDER:
        with _helper():
            use_kernels()
        # Kernels come to the folder one by one; this file says that none is missing.
        write_bytes(compiled.CACHE_FOLDER / _COMPILED, b"")


@contextmanager
def _helper() -> Iterator[None]:
    """A process that compiles from the other end, where there is a core for it."""
    if default_workers() < 2:
        yield
        return
    end = "from colony_sim.running.runner import use_kernels_from_the_end as f; f()"
    quiet = subprocess.DEVNULL
    with subprocess.Popen([sys.executable, "-c", end], stdout=quiet, stderr=quiet) as helper:
        try:
            yield
        finally:
            helper.kill()


def use_kernels_from_the_end() -> None:
    """Compile the last kernels of a day first (`kernels.compile_from_the_end`)."""
    from colony_sim.biology.rates import constants
    from colony_sim.population.kernels import compile_from_the_end

    compile_from_the_end(constants(Parameters.default()))


def use_kernels() -> None:
    """Two days of a small colony, by which the kernels are compiled or loaded.

    Compiled code that is cut short, as a power cut leaves it, is compiled anew.
    """
    from colony_sim.biology import compiled
    from colony_sim.colony import simulate

    two_days = simulate.Scenario(Parameters.default(), constant(27.0), days=2, seed=0, breeders=10)
    try:
        simulate.simulate(two_days)
    except (EOFError, pickle.UnpicklingError):
        if compiled.CACHE_FOLDER is None:
            raise
        for path in compiled.CACHE_FOLDER.rglob("*.nb?"):
            remove(path)
        simulate.simulate(two_days)


def get_ready_together(from_the_end: bool) -> None:
    """As `get_ready`, in two processes at once that compile from both ends and meet halfway.

    Whoever called them has said so.
    """
    from colony_sim.biology import compiled

    if compiled.CACHE_FOLDER:
        if from_the_end:
            use_kernels_from_the_end()
        use_kernels()
        write_bytes(compiled.CACHE_FOLDER / _COMPILED, b"")
    get_ready()


@cache
def get_ready() -> None:
    """Compile or load the kernels, once in a process."""
    # Loading the compiled kernels must not count as time of the first run.
    compile_kernels()
    use_kernels()
    # What stays for good need not be looked through after every run.
    gc.freeze()
