"""Simulated logs: drawn from the prior, lived by the model, kept by key.

Log number `i` of a stream depends on the job and on `i` alone, so that the number of workers
changes nothing and more logs keep the first.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import time
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from colony_sim.atomic import write_atomic
from colony_sim.biology.parameters import Parameters
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.fitting import observe
from colony_sim.fitting.prior import Prior
from colony_sim.fitting.replay import replay
from colony_sim.fitting.schedule import Schedule
from colony_sim.running.processes import (
    ignoring_interrupts,
    spawning,
    start_worker,
    stop_if_asked,
    stop_workers,
)
from colony_sim.running.runner import Interrupted, Progress, WorkerDied, compile_kernels

#: Streams of draws, so that no log serves two purposes.
TRAIN, CALIBRATE, PREDICT = 0, 1, 2
#: Logs simulated and stored at a time.
CHUNK = 25


@dataclass(frozen=True)
class Job:
    """All that a simulated log depends on, besides its number.

    Attributes
    ----------
    schedule : Schedule
    parameters : Parameters
        Handling, and the biology that is not fitted.
    temperatures : tuple of float
        Daily means (C), day 1 first.
    prior : Prior
    seed : int
    """

    schedule: Schedule
    parameters: Parameters
    temperatures: tuple[float, ...]
    prior: Prior
    seed: int

    def digest(self) -> str:
        """SHA-256 over the job and the model."""
        content = {
            "steps": repr(sorted(self.schedule.steps.items())),
            "observed": repr(self.schedule.observed),
            "gaps": self.schedule.gaps,
            "bins": self.schedule.bins,
            "moist": sorted(self.schedule.moist),
            "days": self.schedule.days,
            "parameters": self.parameters.as_dict(),
            "temperatures": self.temperatures,
            "prior": repr(self.prior),
            "seed": self.seed,
            "model": model_fingerprint(),
            "code": _own_fingerprint(),
        }
        text = json.dumps(content, sort_keys=True, allow_nan=False)
        return hashlib.sha256(text.encode()).hexdigest()


def _own_fingerprint() -> str:
    """SHA-256 over the modules that make a simulated log."""
    digest = hashlib.sha256()
    for name in ("schedule", "replay", "log_keeper", "prior", "simulated"):
        source = Path(__file__).with_name(f"{name}.py").read_bytes()
        digest.update(source.replace(b"\r\n", b"\n"))
    return digest.hexdigest()


@dataclass(frozen=True)
class Logs:
    """Simulated logs.

    Attributes
    ----------
    scores : float64 array, shape (logs, keys)
        Standard normal scores of the values they were simulated with.
    seen : float64 array, shape (logs, observed)
        What their rows would show, without errors of counting.
    values : float64 array, shape (logs, observed)
        What was written down.
    """

    scores: np.ndarray
    seen: np.ndarray
    values: np.ndarray


def simulate_logs(
    job: Job,
    stream: int,
    count: int,
    folder: Path | None = None,
    *,
    scores: np.ndarray | None = None,
    workers: int = 1,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Logs:
    """Simulate the first `count` logs of a stream, those that are not in `folder` yet.

    Parameters
    ----------
    job : Job
    stream : int
        `TRAIN`, `CALIBRATE` or `PREDICT`.
    count : int
    folder : Path, optional
        Where finished chunks are kept (held with ``store.claim``); default: nowhere.
    scores : float64 array, shape (count, keys), optional
        Default: drawn from the prior.
    workers : int
        Processes; 1 simulates in this process.
    on_progress : callable

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
        On Ctrl-C, and if a worker is killed; finished chunks are kept.
    """
    if scores is None:
        scores = np.stack([prior_scores(job, stream, i) for i in range(count)])
    key = hashlib.sha256(f"{job.digest()} {stream}".encode() + scores.tobytes()).hexdigest()
    if stream != PREDICT:  # More logs keep the first: the draws follow from the job.
        key = hashlib.sha256(f"{job.digest()} {stream}".encode()).hexdigest()
    starts = range(0, count, CHUNK)
    # Whole chunks, so that a later fit with more logs finds them.
    full = scores
    if stream != PREDICT and count % CHUNK:
        more = range(count, starts[-1] + CHUNK)
        full = np.concatenate([scores, [prior_scores(job, stream, i) for i in more]])
    chunks = {s: full[s : s + CHUNK] for s in starts}
    path = {s: folder / f"{key}-{s}.npy" if folder is not None else None for s in starts}
    seen: dict[int, np.ndarray] = {}
    for s in starts:
        stored = _stored(path[s], chunks[s])
        if stored is not None:
            seen[s] = stored
    todo = [s for s in starts if s not in seen]
    clock = _Clock(sum(len(c) for c in chunks.values()), sum(len(seen[s]) for s in seen),
                   on_progress)  # fmt: skip
    if folder is not None and todo:
        folder.mkdir(parents=True, exist_ok=True)
    clock.report()
    for s, result in _run(job, stream, {s: chunks[s] for s in todo}, workers, clock):
        seen[s] = result
        if path[s] is not None:
            write_atomic(path[s], lambda p, r=result: _save(p, r))
    table = np.concatenate([seen[s] for s in starts])[:count]
    return Logs(scores, table, _written(job, stream, table))


def prior_scores(job: Job, stream: int, number: int) -> np.ndarray:
    """Standard normal scores of log `number` of a stream."""
    return np.random.default_rng([job.seed, stream, number, 1]).standard_normal(len(job.prior.keys))


def _written(job: Job, stream: int, seen: np.ndarray) -> np.ndarray:
    return np.stack([
        observe.written(job.schedule, row, np.random.default_rng([job.seed, stream, i, 3]))
        for i, row in enumerate(seen)
    ])  # fmt: skip


def _save(path: Path, array: np.ndarray) -> None:
    with open(path, "wb") as handle:
        np.save(handle, array, allow_pickle=False)


def _stored(path: Path | None, chunk: np.ndarray) -> np.ndarray | None:
    """A finished chunk, None if there is none or its file is not whole."""
    if path is None or not path.is_file():
        return None
    try:
        array = np.load(path, allow_pickle=False)
    except (OSError, ValueError, EOFError):
        return None
    return array if array.ndim == 2 and len(array) == len(chunk) else None


class _Clock:
    """Counts simulated logs and tells how far they are."""

    def __init__(self, total: int, reused: int, tell: Callable[[Progress], None]) -> None:
        self.total, self.reused, self.finished = total, reused, 0
        self.began, self._tell = time.monotonic(), tell

    def report(self) -> None:
        left = None
        if self.finished:
            still = self.total - self.reused - self.finished
            left = (time.monotonic() - self.began) / self.finished * still
        done = self.reused + self.finished
        self._tell(Progress(done, self.total, self.reused, 0, left))


def _run(job: Job, stream: int, chunks: dict[int, np.ndarray], workers: int, clock: _Clock):
    """Simulate chunks; yields each with its start, in the order in which they end."""
    if not chunks:
        return
    compile_kernels()
    clock.began = time.monotonic()
    workers = min(workers, len(chunks))
    if workers <= 1:
        try:
            for s, scores in chunks.items():
                yield s, simulate_chunk(job, stream, s, scores)
                clock.finished += len(scores)
                clock.report()
        except KeyboardInterrupt:
            raise Interrupted(clock.reused + clock.finished, clock.total) from None
        return
    context = multiprocessing.get_context("spawn")
    others = set(multiprocessing.active_children())
    pool, starts = None, {}
    try:
        with spawning():
            stop = context.Event()
            pool = ProcessPoolExecutor(workers, context, start_worker, (stop,))
            starts: dict[Future, int] = {
                pool.submit(simulate_chunk, job, stream, s, scores): s
                for s, scores in chunks.items()
            }
        pending = set(starts)
        while pending:
            ended, pending = wait(pending, timeout=0.25, return_when=FIRST_COMPLETED)
            for future in ended:
                result: Any = future.result()
                clock.finished += len(result)
                yield starts[future], result
            clock.report()
        pool.shutdown()
    except BaseException as error:
        with ignoring_interrupts():
            stop_workers(pool, starts, others, lambda: stop.set())
        done = clock.reused + clock.finished
        if isinstance(error, KeyboardInterrupt):
            raise Interrupted(done, clock.total) from None
        if isinstance(error, BrokenProcessPool):
            raise WorkerDied(done, clock.total) from None
        raise


# ---- In the worker process


def simulate_chunk(job: Job, stream: int, start: int, scores: np.ndarray) -> np.ndarray:
    """What the rows of some logs would show (logs x observed)."""
    temperatures = np.array(job.temperatures)
    rows = []
    for offset, values in enumerate(job.prior.values(scores)):
        drawn = dict(zip(job.prior.keys, values.tolist(), strict=True))
        parameters = job.parameters.with_values(drawn, where="prior")
        seeds = np.random.SeedSequence([job.seed, stream, start + offset, 2])
        seed = int(seeds.generate_state(1, np.uint64)[0])
        rows.append(replay(job.schedule, parameters, temperatures, seed, stop_if_asked))
    return np.stack(rows)
