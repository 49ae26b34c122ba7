"""Trials lived in every possible colony of a comparison, in worker processes, by key."""

from __future__ import annotations

import hashlib
import io
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from colony_sim.biology.parameters import Parameters
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.experiment.worlds import Worlds
from colony_sim.running.chunks import run_chunks
from colony_sim.running.processes import stop_if_asked
from colony_sim.running.protocol import TaskResult
from colony_sim.running.runner import Progress
from colony_sim.source import source_bytes
from colony_sim.trial.boxes import Trial

CHUNK = 4


@dataclass(frozen=True)
class Chunk:
    """All trials in some worlds (see ``running.protocol.Job``).

    Attributes
    ----------
    trials : tuple of Trial
    base : Parameters
        What no world draws.
    worlds : Worlds
    numbers : tuple of int
        Which of them, from 1.
    room_c : float
    seed : int
    """

    trials: tuple[Trial, ...]
    base: Parameters
    worlds: Worlds
    numbers: tuple[int, ...]
    room_c: float
    seed: int

    @cached_property
    def key(self) -> str:
        """SHA-256 over all that the outcome depends on."""
        rows = [self.worlds.draw(number) for number in self.numbers]
        content = [
            self.base.as_dict(), rows, self.numbers, self.room_c, self.seed, model_fingerprint(),
            [(trial.name, trial.key) for trial in self.trials],
        ]  # fmt: skip
        digest = hashlib.sha256(json.dumps(content, sort_keys=True).encode())
        for name in ("boxes", "lived", "side"):
            digest.update(source_bytes(Path(__file__).with_name(f"{name}.py")))
        return digest.hexdigest()

    def run(self) -> TaskResult:
        """What a keeper would write down in each world (worlds x numbers of all trials)."""
        begin, packed = time.perf_counter(), io.BytesIO()
        rows = []
        for number in self.numbers:
            # As `with_values`, in half the time: it looks up every key once more.
            p = Parameters(self.worlds.draw(number), where="worlds", base=self.base)
            row = []
            for place, trial in enumerate(self.trials):
                stop_if_asked(place)
                seeds = np.random.SeedSequence([self.seed, 43, number, place])
                seen = trial.live(p, int(seeds.generate_state(1, np.uint64)[0]), self.room_c)
                chance = np.random.default_rng([self.seed, 44, number, place])
                row.append(trial.written(seen, chance))
            rows.append(np.concatenate(row))
        np.save(packed, np.stack(rows), allow_pickle=False)
        return TaskResult(packed.getvalue(), None, time.perf_counter() - begin, None)


def live(
    trials: Sequence[Trial],
    base: Parameters,
    worlds: Worlds,
    numbers: Sequence[int],
    room_c: float,
    seed: int,
    folder: Path | None = None,
    *,
    workers: int = 1,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> list[np.ndarray]:
    """What would be written down of each trial (float64 arrays, worlds x its numbers).

    Parameters
    ----------
    trials : sequence of Trial
    base : Parameters
    worlds : Worlds
    numbers : sequence of int
        Worlds, from 1.
    room_c : float
        Temperature of the boxes (C).
    seed : int
    folder : Path, optional
        Results folder in whose store they are kept.
    workers : int
    on_progress : callable

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
    """
    chunks = [
        Chunk(tuple(trials), base, worlds, tuple(numbers[start : start + CHUNK]), room_c, seed)
        for start in range(0, len(numbers), CHUNK)
    ]

    def tell(now: Progress) -> None:
        done, reused = (min(CHUNK * n, len(numbers)) for n in (now.done, now.reused))
        on_progress(Progress(done, len(numbers), reused, 0, now.seconds_left))

    table = run_chunks(chunks, folder, workers, tell)
    ends = np.cumsum([len(trial.numbers) for trial in trials])[:-1]
    return np.split(table, ends, axis=1)
