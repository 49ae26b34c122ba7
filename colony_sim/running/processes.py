"""Worker processes of one machine: how they start, stop, and end with their parent.

Workers are started with the ``spawn`` method: it is the same on Linux, macOS and Windows, and
unlike ``fork`` it does not copy the threads of numba and Arrow in a state that can lock up.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import types
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor, wait
from functools import partial
from multiprocessing import resource_tracker
from multiprocessing.process import BaseProcess
from multiprocessing.synchronize import Event
from typing import Any

GRACE_SECONDS = 1.0
_BEHIND = 10
"""Niceness of workers that give way: a tenth of a core where all are busy, not nothing."""
#: Variables by which libraries of linear algebra learn their number of threads as they load.
_THREADS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


def stop_workers(
    pool: ProcessPoolExecutor | None,
    futures: Iterable[Future[Any]],
    others: set[BaseProcess],
    stop: Callable[[], object],
) -> None:
    """End the workers of a pool: their runs at the end of a day, then by force.

    `others` are child processes that were there before the pool and are left alone.
    """
    if pool is None:
        return
    stop()
    closed = close(pool)
    # A run stops at the end of its day; one that is about to be stored is stored first.
    wait([future for future in futures if future.running()], timeout=GRACE_SECONDS)
    for process in set(multiprocessing.active_children()) - others:
        process.terminate()
    closed()


def close(pool: ProcessPoolExecutor) -> Callable[[], object]:
    """Take no more work; what is returned waits for the pool's thread, once its processes ended.

    At its end the interpreter wakes that thread, and would stumble over one that is just closing
    what it is woken by.
    """
    manager: threading.Thread | None = getattr(pool, "_executor_manager_thread", None)
    pool.shutdown(wait=False, cancel_futures=True)
    return (lambda: None) if manager is None else partial(manager.join, GRACE_SECONDS)


@contextlib.contextmanager
def spawning() -> Iterator[None]:
    """Start workers deaf to Ctrl-C and without the caller's main script.

    A blocked signal stays blocked in a new process, also while it still imports; here it only
    waits for the end of this block, and so does one that another thread took: a semaphore that is
    half made would be left in the system. And ``spawn`` would run the main script once more in
    every worker, so that a three-line script without an ``if __name__`` guard would start itself.

    Workers share the cores, so that linear algebra in each of them gets one thread.
    """
    main = sys.modules["__main__"]
    ours = {name: "1" for name in _THREADS if name not in os.environ}
    os.environ.update(ours)
    sys.modules["__main__"] = types.ModuleType("__main__")
    masks = hasattr(signal, "pthread_sigmask")
    if masks:
        # The first semaphore would start it, and then the signal is no longer blocked.
        resource_tracker.ensure_running()
    with _interrupts_later():
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if masks else None
        try:
            yield
        finally:
            sys.modules["__main__"] = main
            for name in ours:
                os.environ.pop(name, None)
            if before is not None:
                signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextlib.contextmanager
def _interrupts_later() -> Iterator[None]:
    """Ctrl-C in this block raises at its end."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, frame: came.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before or signal.default_int_handler)
        if came:
            signal.raise_signal(signal.SIGINT)


def one_thread() -> None:
    """Linear algebra that is loaded from now on, here or in a worker, gets one thread.

    For many small matrices beside workers: threads that wait for each other take their cores.
    """
    for name in _THREADS:
        os.environ.setdefault(name, "1")


@contextlib.contextmanager
def ignoring_interrupts() -> Iterator[None]:
    """Ctrl-C does nothing inside this block."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


# ---- In the worker process


class Stopped(Exception):
    """The parent asked for an end."""


_stop: Event | None = None


def start_worker(stop: Event, behind: bool = False) -> None:
    """First call in a new worker: keep the event by which the parent asks for an end.

    With `behind` it takes only what the other processes of the machine leave it.
    """
    global _stop
    _stop = stop
    if behind and hasattr(os, "nice"):
        os.nice(_BEHIND)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def stop_if_asked(day: int) -> None:
    """Called after each simulated day; raises `Stopped` if the parent asked for an end."""
    if _stop is not None and _stop.is_set():
        raise Stopped


def _leave_with_parent() -> None:
    # A parent that was killed can tell its workers nothing; without this they would stay.
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
