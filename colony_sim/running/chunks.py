"""Rows of a table lived in chunks: jobs whose outcomes are numpy arrays, put together in order."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from pathlib import Path

import numpy as np

from colony_sim.running.jobs import run_jobs
from colony_sim.running.local import LocalExecutor, SerialExecutor
from colony_sim.running.protocol import Executor, Job
from colony_sim.running.runner import Progress
from colony_sim.running.store import open_store


def executor_of(workers: int) -> Executor:
    """So many worker processes; this very process where one has to do."""
    return LocalExecutor(workers) if workers > 1 else SerialExecutor()


def run_chunks(
    chunks: Sequence[Job],
    folder: Path | None,
    workers: int,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    executor: Executor | None = None,
) -> np.ndarray:
    """Arrays of all chunks in their order, along the first axis.

    Parameters
    ----------
    chunks : sequence of Job
        Each gives the bytes of one array (``numpy.save``).
    folder : Path or None
        Where finished chunks are kept; None keeps none.
    workers : int
        Processes; they do not change what comes out.
    on_progress : callable
        Told how far the chunks are.
    executor : Executor, optional
        An open one, for many calls; it stays open. Default: one of its own.

    Raises
    ------
    RuntimeError
        With the traceback of a chunk that failed.
    runner.Interrupted, runner.WorkerDied
        On Ctrl-C, and if a worker is killed; finished chunks are kept.
    """
    found: dict[str, np.ndarray] = {}
    own = executor_of(min(workers, len(chunks))) if executor is None else nullcontext(executor)
    with open_store(folder) as store, own as opened:
        for ended in run_jobs(chunks, len(chunks), store, opened, on_progress, retry=False):
            if ended.error:
                raise RuntimeError(ended.error)
            found[ended.job.key] = np.load(io.BytesIO(ended.outcome), allow_pickle=False)
    return np.concatenate([found[chunk.key] for chunk in chunks])
