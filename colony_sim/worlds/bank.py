"""The bank: published experiments lived under many worlds, each study with its own strain.

A row is a world. Under it every replication is lived once, with a strain, circumstances that its
paper leaves open, and a seed of its own, so that a row is at the same time a made-up literature
whose truth is known. What a keeper would see under the world (`predictions`) is lived with one
more strain.
"""

from __future__ import annotations

import hashlib
import io
import math
import time
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import numpy as np

from colony_sim.evidence import registry
from colony_sim.evidence.conditions import conditions, key, seed_of
from colony_sim.evidence.lab import Lab
from colony_sim.evidence.numbers import Compare, Standing, numbers
from colony_sim.evidence.registry import replications
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.running.chunks import run_chunks
from colony_sim.running.processes import stop_if_asked
from colony_sim.running.protocol import TaskResult
from colony_sim.running.runner import Progress
from colony_sim.running.task import peak_mb
from colony_sim.source import source_bytes
from colony_sim.worlds import predictions
from colony_sim.worlds.prior import STRAIN, Scores

#: Ends of a range of individuals, in percent of all individuals.
INDIVIDUALS = (5.0, 95.0)
#: Rows lived and stored at a time.
CHUNK = 4


@cache
def outputs(*standings: Standing) -> tuple[str, ...]:
    """Ids of the numbers of some standings; a range of individuals has a low and a high end."""
    found: list[str] = []
    for number in numbers():
        if number.standing in standings:
            ends = ("/low", "/high") if number.compare is Compare.INDIVIDUALS else ("",)
            found += [number.id + end for end in ends]
    return tuple(found)


def studies(outputs: Sequence[str]) -> tuple[str, ...]:
    """Replications that give some outputs."""
    return tuple(dict.fromkeys(name.partition(".")[0] for name in outputs))


@dataclass(frozen=True, eq=False)
class Bank:
    """Rows of lived worlds.

    Attributes
    ----------
    outputs : tuple of str
        Ids of the numbers lived.
    scores : Scores
    strains : float64 array, shape (rows, studies + 1, len(STRAIN))
        Log factors of the strain of each study, and last of the keeper.
    found : float64 array, shape (rows, outputs)
        The model's numbers; NaN where it gives none.
    seen : float64 array, shape (rows, predictions)
        What the keeper sees.
    """

    outputs: tuple[str, ...]
    scores: Scores
    strains: np.ndarray
    found: np.ndarray
    seen: np.ndarray

    def __len__(self) -> int:
        return len(self.found)

    def take(self, rows: np.ndarray | slice) -> Bank:
        """Some of the rows."""
        return Bank(
            self.outputs,
            self.scores.take(rows),
            self.strains[rows],
            self.found[rows],
            self.seen[rows],
        )

    @classmethod
    def join(cls, *parts: Bank) -> Bank:
        """Rows of several banks over the same outputs."""
        return cls(
            parts[0].outputs,
            Scores.join(*(p.scores for p in parts)),
            np.concatenate([p.strains for p in parts]),
            np.concatenate([p.found for p in parts]),
            np.concatenate([p.seen for p in parts]),
        )


def strains(scores: Scores, count: int, rng: np.random.Generator) -> np.ndarray:
    """Strains of some studies or keepers of each world (worlds x count x len(STRAIN))."""
    spread = scores.spread()[:, None, : len(STRAIN)]
    return spread * rng.standard_normal((len(scores), count, len(STRAIN)))


def fill(
    scores: Scores,
    seed: int,
    folder: Path | None = None,
    *,
    wanted: tuple[str, ...],
    first: int = 0,
    bins: int = 0,
    gains: int = 0,
    workers: int = 1,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Bank:
    """Live the replications of worlds, those that are not in `folder` yet.

    Parameters
    ----------
    scores : Scores
    seed : int
        Of strains, circumstances and draws of the engine, with the number of a row.
    folder : Path, optional
        Results folder in whose store finished rows are kept; default: nowhere.
    wanted : tuple of str
        Ids of the numbers to be lived, from `outputs`.
    first : int
        Number of the first row.
    bins, gains : int
        Rows, from row 0 on, under which a keeper's first bin and the comparison of rotations are
        lived as well.
    workers : int
        Processes; they do not change what comes out.
    on_progress : callable

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
        On Ctrl-C, and if a worker is killed; finished rows are kept.
    """
    drawn = np.concatenate(
        [
            strains(scores.take([k]), len(studies(wanted)) + 1, _rng(seed, "strains", first + k))
            for k in range(len(scores))
        ]
    )
    chunks = []
    for start in range(0, len(scores), CHUNK):
        rows = np.arange(start, min(start + CHUNK, len(scores)))
        chunk = Chunk(scores.take(rows), drawn[rows], first + start, seed, wanted, bins, gains)
        chunks.append(chunk)
    table = run_chunks(chunks, folder, workers, on_progress)
    wide = len(wanted)
    return Bank(wanted, scores, drawn, table[:, :wide], table[:, wide:])


@dataclass(frozen=True, eq=False)
class Chunk:
    """Some rows, lived and kept together (see ``running.protocol.Job``)."""

    scores: Scores
    strains: np.ndarray
    start: int
    seed: int
    wanted: tuple[str, ...]
    bins: int
    gains: int

    @cached_property
    def key(self) -> str:
        """SHA-256 over the rows, the model and the replications."""
        # Those beyond these rows change nothing here.
        more = [max(0, min(n - self.start, len(self.scores))) for n in (self.bins, self.gains)]
        words = (self.start, self.seed, self.wanted, more, model_fingerprint(), _sources())
        digest = hashlib.sha256(repr(words).encode())
        for part in (self.scores.values, self.scores.structures, self.strains):
            digest.update(np.ascontiguousarray(part).tobytes())
        return f"worlds {digest.hexdigest()}"

    def run(self) -> TaskResult:
        """Outputs and predictions of each row, as the bytes of a numpy file."""
        begin, packed = time.perf_counter(), io.BytesIO()
        names = studies(self.wanted)
        table = []
        for k in range(len(self.scores)):
            row = self.start + k
            lived: dict[str, float] = {}
            for name, strain in zip(names, self.strains[k], strict=False):
                stop_if_asked(0)
                lived |= _live(name, self.scores, k, strain, self.seed, row)
            keeper = self.scores.parameters(k, self.strains[k, -1])
            own = seed_of(self.seed, "keeper", row)
            seen = predictions.lived(keeper, own, row < self.bins, row < self.gains)
            table.append([*(lived[name] for name in self.wanted), *seen])
        np.save(packed, np.array(table, float), allow_pickle=False)
        return TaskResult(packed.getvalue(), None, time.perf_counter() - begin, peak_mb())


@cache
def _sources() -> str:
    """SHA-256 over the replications and what lives them."""
    digest = hashlib.sha256()
    evidence = Path(registry.__file__).parent
    source = [evidence / f"{name}.py" for name in ("box", "conditions", "lab")]
    source += sorted((evidence / "replications").glob("*.py"))
    source += [Path(__file__).with_name(f"{name}.py") for name in ("bank", "predictions", "prior")]
    for path in (*source, evidence / "conditions.toml"):
        digest.update(source_bytes(path))
    return digest.hexdigest()


def _live(
    name: str, scores: Scores, k: int, strain: np.ndarray, seed: int, row: int
) -> dict[str, float]:
    """One replication under one world."""
    replication = replications()[name]
    rng = _rng(seed, name, row)
    given = {
        open_: of.low + (of.high - of.low) * float(rng.random())
        for open_ in replication.conditions
        for of in (conditions()[open_],)
    }
    p = scores.parameters(k, strain)
    with np.errstate(all="ignore"), warnings.catch_warnings():
        # Where nobody is left to be counted a number is NaN.
        warnings.simplefilter("ignore", RuntimeWarning)
        lived = replication.live(Lab(p, seed_of(seed, name, row), given))
    found: dict[str, float] = {}
    for what, value in lived.items():
        full = f"{name}.{what}"
        values = np.atleast_1d(value).astype(float)
        if full in _individuals():
            low, high = np.percentile(values, INDIVIDUALS) if values.size else (math.nan,) * 2
            found[full + "/low"], found[full + "/high"] = float(low), float(high)
        else:
            found[full] = float(values.mean()) if values.size else math.nan
    return found


@cache
def _individuals() -> frozenset[str]:
    """Numbers of which a paper gives a range of individuals."""
    return frozenset(number.id for number in numbers() if number.compare is Compare.INDIVIDUALS)


def _rng(seed: int, name: str, row: int) -> np.random.Generator:
    return np.random.default_rng(key(seed, name, row))
