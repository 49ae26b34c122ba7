"""Simulated logs: drawn from the prior, lived by the model, kept by key.

Log number `i` of a stream depends on the job and on `i` alone, so that the number of workers
changes nothing and more logs keep the first.
"""

from __future__ import annotations

import hashlib
import io
import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from colony_sim.biology.parameters import Parameters
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.fitting import observe
from colony_sim.fitting.prior import Prior
from colony_sim.fitting.replay import replay
from colony_sim.fitting.schedule import Schedule
from colony_sim.running.chunks import run_chunks
from colony_sim.running.processes import stop_if_asked
from colony_sim.running.protocol import TaskResult
from colony_sim.running.runner import Progress
from colony_sim.source import source_bytes

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

    @cached_property
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
        digest.update(source_bytes(Path(__file__).with_name(f"{name}.py")))
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
        Results folder in whose store finished logs are kept; default: nowhere.
    scores : float64 array, shape (count, keys), optional
        Default: drawn from the prior.
    workers : int
        Processes; 1 simulates in this process.
    on_progress : callable

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
        On Ctrl-C, and if a worker is killed; finished logs are kept.
    """
    if scores is None:
        scores = np.stack([prior_scores(job, stream, i) for i in range(count)])
    key = f"{job.digest} {stream}".encode()
    if stream == PREDICT:  # Otherwise more logs keep the first: the draws follow from the job.
        key += scores.tobytes()
    # Whole chunks, so that a later fit with more logs finds them.
    full = scores
    if stream != PREDICT and count % CHUNK:
        more = range(count, count + CHUNK - count % CHUNK)
        full = np.concatenate([scores, [prior_scores(job, stream, i) for i in more]])
    digest = hashlib.sha256(key).hexdigest()
    chunks = [
        Chunk(f"{digest} {s}", job, stream, s, full[s : s + CHUNK])
        for s in range(0, len(full), CHUNK)
    ]
    table = run_chunks(chunks, folder, workers, _in_logs(on_progress, len(full)))[:count]
    return Logs(scores, table, _written(job, stream, table))


def _in_logs(tell: Callable[[Progress], None], logs: int) -> Callable[[Progress], None]:
    """Turns a progress in chunks into one in logs."""

    def told(chunks: Progress) -> None:
        done, reused = (min(CHUNK * n, logs) for n in (chunks.done, chunks.reused))
        tell(Progress(done, logs, reused, 0, chunks.seconds_left))

    return told


def prior_scores(job: Job, stream: int, number: int) -> np.ndarray:
    """Standard normal scores of log `number` of a stream."""
    return np.random.default_rng([job.seed, stream, number, 1]).standard_normal(len(job.prior.keys))


def _written(job: Job, stream: int, seen: np.ndarray) -> np.ndarray:
    return np.stack([
        observe.written(job.schedule, row, np.random.default_rng([job.seed, stream, i, 3]))
        for i, row in enumerate(seen)
    ])  # fmt: skip


@dataclass(frozen=True)
class Chunk:
    """Some logs of a stream, simulated and kept together (see ``running.protocol.Job``)."""

    key: str
    job: Job
    stream: int
    start: int
    scores: np.ndarray

    def run(self) -> TaskResult:
        """What their rows would show, as the bytes of a numpy file."""
        begin, packed = time.perf_counter(), io.BytesIO()
        seen = simulate_chunk(self.job, self.stream, self.start, self.scores)
        np.save(packed, seen, allow_pickle=False)
        return TaskResult(packed.getvalue(), None, time.perf_counter() - begin, None)


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
