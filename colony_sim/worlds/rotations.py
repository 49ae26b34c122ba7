"""A move every 14 days against one every 21, lived under many worlds: the verdict to be checked.

The rack is that of `predictions`. Each pair of runs has a world, a keeper's strain and a seed; what
is kept is what both gave and took, so that any currency can be asked afterwards.
"""

from __future__ import annotations

import hashlib
import io
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import numpy as np

from colony_sim.experiment.plan import model_fingerprint
from colony_sim.running.chunks import run_chunks
from colony_sim.running.processes import stop_if_asked
from colony_sim.running.protocol import TaskResult
from colony_sim.running.runner import Progress
from colony_sim.running.task import peak_mb
from colony_sim.source import source_bytes
from colony_sim.worlds import predictions
from colony_sim.worlds.prior import Scores

#: What is kept of a run, a day: harvest (g), handling (min), bins in use, bran given (g).
KEPT = ("harvest_g", "work_minutes", "bins_in_use", "bran_given_g")
#: Pairs lived and stored at a time.
CHUNK = 4


def fill(
    scores: Scores,
    strains: np.ndarray,
    seeds: np.ndarray,
    folder: Path | None = None,
    *,
    workers: int = 1,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> np.ndarray:
    """Live both policies under worlds, those that are not in `folder` yet.

    Parameters
    ----------
    scores : Scores
    strains : float array, shape (worlds, len(STRAIN))
        Log factors of the keeper's strain.
    seeds : int array, shape (worlds,)
        Of the engine, the same for both policies.
    folder, workers, on_progress
        As in `bank.fill`.

    Returns
    -------
    float64 array, shape (worlds, policies, len(KEPT))
        Means over the days after `predictions.WARM_UP`; policies as `predictions.INTERVALS`.

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
        On Ctrl-C, and if a worker is killed; finished pairs are kept.
    """
    chunks = []
    for start in range(0, len(scores), CHUNK):
        rows = slice(start, start + CHUNK)
        some = tuple(int(seed) for seed in seeds[rows])
        chunks.append(Pairs(scores.take(rows), strains[rows], some))
    return run_chunks(chunks, folder, workers, on_progress)


@dataclass(frozen=True, eq=False)
class Pairs:
    """Some pairs of runs, lived and kept together (see ``running.protocol.Job``)."""

    scores: Scores
    strains: np.ndarray
    seeds: tuple[int, ...]

    @cached_property
    def key(self) -> str:
        """SHA-256 over the worlds, the model and the rack."""
        digest = hashlib.sha256(repr((self.seeds, model_fingerprint(), _sources())).encode())
        for part in (self.scores.values, self.scores.structures, self.strains):
            digest.update(np.ascontiguousarray(part).tobytes())
        return f"rotations {digest.hexdigest()}"

    def run(self) -> TaskResult:
        """What both policies came to, as the bytes of a numpy file."""
        begin, packed = time.perf_counter(), io.BytesIO()
        table = []
        for k, seed in enumerate(self.seeds):
            p = self.scores.parameters(k, self.strains[k])
            pair = []
            for interval in predictions.INTERVALS:
                stop_if_asked(0)
                handling = {"rotation.interval_days": interval}
                days, larvae = predictions.DAYS, predictions.LARVAE
                daily = predictions.rack(p, seed, days, larvae, handling).daily
                pair.append(daily.loc[daily["day"] > predictions.WARM_UP, list(KEPT)].mean())
            table.append(pair)
        np.save(packed, np.array(table, float), allow_pickle=False)
        return TaskResult(packed.getvalue(), None, time.perf_counter() - begin, peak_mb())


@cache
def _sources() -> str:
    """SHA-256 over what lives a pair."""
    digest = hashlib.sha256()
    for name in ("rotations", "predictions", "prior"):
        digest.update(source_bytes(Path(__file__).with_name(f"{name}.py")))
    return digest.hexdigest()
