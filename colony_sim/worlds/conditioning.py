"""Worlds given a literature, as jobs for worker processes: many literatures at a time, kept by key.

A job is one run of the sampler. The real literature, its repetitions, literatures made up from the
bank and those without a structure all pass through here.
"""

from __future__ import annotations

import hashlib
import io
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from colony_sim.running.jobs import run_jobs
from colony_sim.running.local import LocalExecutor
from colony_sim.running.protocol import TaskResult
from colony_sim.running.runner import Progress
from colony_sim.running.store import open_store
from colony_sim.running.task import peak_mb
from colony_sim.source import source_bytes
from colony_sim.worlds import prior
from colony_sim.worlds.likelihood import Likelihood
from colony_sim.worlds.prior import Scores
from colony_sim.worlds.sampler import LAST_MOVES, Sample, sample


@dataclass(frozen=True, eq=False)
class Conditioning:
    """One run of the sampler (see ``running.protocol.Job``).

    Attributes
    ----------
    likelihood : Likelihood
    count : int
        Worlds.
    seed : int
    power : float
        Of the likelihood, 1 for the posterior.
    last : int
        Moves after the last power.
    without : tuple of (str, int)
        Options of structures that are left out: key and index into its options.
    """

    likelihood: Likelihood
    count: int
    seed: int
    power: float = 1.0
    last: int = LAST_MOVES
    without: tuple[tuple[str, int], ...] = ()

    @cached_property
    def key(self) -> str:
        """SHA-256 over the surfaces, the data, the settings and the sampler."""
        words = (self.count, self.seed, self.power, self.last, self.without)
        digest = hashlib.sha256(repr(words).encode())
        data, emulator = self.likelihood.data, self.likelihood.emulator
        parts = [self.likelihood.unexplained, data.outputs, data.low, data.high]
        parts += [part for s in emulator.surfaces for part in (s.pairs, s.weights)]
        for part in parts:
            digest.update(np.ascontiguousarray(part).tobytes())
        for name in ("sampler", "likelihood", "literature", "prior", "emulator"):
            digest.update(source_bytes(Path(__file__).with_name(f"{name}.py")))
        return f"conditioning {digest.hexdigest()}"

    def run(self) -> TaskResult:
        """The sample, as the bytes of a numpy archive."""
        begin, packed = time.perf_counter(), io.BytesIO()
        found = sample(
            self.likelihood,
            self.count,
            np.random.default_rng(self.seed),
            power=self.power,
            last=self.last,
            allowed=self._allowed if self.without else None,
        )
        np.savez(
            packed,
            values=found.scores.values,
            spreads=found.scores.spreads,
            structures=found.scores.structures,
            log_likelihood=found.log_likelihood,
            facts=np.array([found.evidence, found.accepted, *found.powers]),
        )
        return TaskResult(packed.getvalue(), None, time.perf_counter() - begin, peak_mb())

    def _allowed(self, scores: Scores) -> np.ndarray:
        fine = np.ones(len(scores), bool)
        for key, option in self.without:
            fine &= scores.structures[:, prior.STRUCTURES.index(key)] != option
        return fine


def condition(
    jobs: Sequence[Conditioning],
    folder: Path | None = None,
    *,
    workers: int = 1,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> list[Sample]:
    """Samples in the order of the jobs, those that are in `folder` read back.

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
        On Ctrl-C, and if a worker is killed; finished samples are kept.
    """
    found: dict[str, Sample] = {}
    # Always in workers, whose linear algebra has one thread: sums in another order would in time
    # accept another proposal.
    with open_store(folder) as store, LocalExecutor(min(workers, len(jobs))) as executor:
        for ended in run_jobs(jobs, len(jobs), store, executor, on_progress, retry=False):
            if ended.error:
                raise RuntimeError(ended.error)
            found[ended.job.key] = _read(ended.outcome)
    return [found[job.key] for job in jobs]


def _read(packed: bytes) -> Sample:
    with np.load(io.BytesIO(packed), allow_pickle=False) as data:
        evidence, accepted, *powers = data["facts"].tolist()
        scores = Scores(data["values"], data["spreads"], data["structures"])
        return Sample(scores, evidence, tuple(powers), accepted, data["log_likelihood"])
