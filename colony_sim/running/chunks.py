"""Rows of a table lived in chunks: jobs whose outcomes are numpy arrays, put together in order."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from colony_sim.running.jobs import run_jobs
from colony_sim.running.local import LocalExecutor, SerialExecutor
from colony_sim.running.protocol import Job
from colony_sim.running.runner import Progress
from colony_sim.running.store import open_store


def run_chunks(
    chunks: Sequence[Job],
    folder: Path | None,
    workers: int,
    on_progress: Callable[[Progress], None] = lambda progress: None,
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

    Raises
    ------
    RuntimeError
        With the traceback of a chunk that failed.
    runner.Interrupted, runner.WorkerDied
        On Ctrl-C, and if a worker is killed; finished chunks are kept.
    """
    found: dict[str, np.ndarray] = {}
    workers = min(workers, len(chunks))
    with (
        open_store(folder) as store,
        LocalExecutor(workers) if workers > 1 else SerialExecutor() as executor,
    ):
        for ended in run_jobs(chunks, len(chunks), store, executor, on_progress, retry=False):
            if ended.error:
                raise RuntimeError(ended.error)
            found[ended.job.key] = np.load(io.BytesIO(ended.outcome), allow_pickle=False)
    return np.concatenate([found[chunk.key] for chunk in chunks])
