"""Possible colonies: each lives the log to today; the near ones go on. In worker processes, by key.

A member is a world (a joint draw of the biology and of what nobody chooses of the handling) with a
seed of its own. What member `i` shows depends on the log and on `i` alone, so neither the number of
workers nor whether it was gone on from a kept colony changes it.
"""

from __future__ import annotations

import hashlib
import io
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property, partial
from pathlib import Path

import numpy as np

from colony_sim.assimilation import lived
from colony_sim.assimilation.checkpoint import UNFIT, Kept, prefix_digest
from colony_sim.assimilation.onward import Course
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.model import Colony
from colony_sim.colony.simulate import as_lived
from colony_sim.experiment.files import Policy
from colony_sim.experiment.hands import with_hands
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.experiment.worlds import Worlds
from colony_sim.logs import observe
from colony_sim.logs.reading import temperatures
from colony_sim.logs.schedule import Schedule
from colony_sim.running.chunks import run_chunks
from colony_sim.running.processes import stop_if_asked
from colony_sim.running.protocol import Executor, TaskResult
from colony_sim.running.runner import Progress
from colony_sim.source import source_bytes

#: Lives lived and stored at a time.
CHUNK = 8
KEEP_DAYS = 7
"""Colonies are kept as they were so many days before the last row, for rows written late."""
_SOURCES = (
    "assimilation/lived", "assimilation/onward", "assimilation/ensemble", "assimilation/checkpoint",
    "logs/schedule", "logs/log_keeper", "logs/replay",
)  # fmt: skip


@dataclass(frozen=True)
class Ensemble:
    """All that a member depends on, besides its number.

    Attributes
    ----------
    schedule : Schedule
        Up to today.
    today : int
        Its day; not before the last row.
    parameters : Parameters
        Handling, and the biology that no world draws; as lived.
    worlds : Worlds
        With the uncertain handling (`experiment.hands`); member i lives in draw i, from 1.
    temperatures : tuple of float
        Daily means (C), day 1 first, to the end of the weeks to come.
    seed : int
    """

    schedule: Schedule
    today: int
    parameters: Parameters
    worlds: Worlds
    temperatures: tuple[float, ...]
    seed: int

    @classmethod
    def of(
        cls,
        schedule: Schedule,
        parameters: Parameters,
        climate: Climate,
        worlds: Worlds,
        seed: int = 1,
        *,
        today: int | None = None,
        ahead: int = 0,
    ) -> Ensemble:
        """Possible colonies of a log.

        Parameters
        ----------
        schedule : Schedule
        parameters : Parameters
            Of the rack, its rules and what no world draws.
        climate : Climate
        worlds : Worlds
            The uncertain handling is drawn besides.
        seed : int
        today : int, optional
            Day of the log; default: that of its last row.
        ahead : int
            Days after it that are to be lived.

        Raises
        ------
        InputError
            A climate without these days.
        """
        today = schedule.days if today is None else today
        warm = temperatures(climate, replace(schedule, days=today + ahead))
        as_is = as_lived(parameters, climate)
        drawn = with_hands(worlds, (Policy("as logged", as_is),))
        return cls(schedule, today, as_is, drawn, warm, seed)

    @cached_property
    def digest(self) -> str:
        """SHA-256 over the ensemble and the model."""
        content = [
            *self.schedule.content, self.today, self.temperatures, self.base_digest
        ]  # fmt: skip
        return hashlib.sha256(json.dumps(content).encode()).hexdigest()

    @cached_property
    def base_digest(self) -> str:
        """SHA-256 over all but the log and the temperatures."""
        digest = hashlib.sha256()
        content = [
            self.parameters.as_dict(), self.worlds.keys, self.seed, model_fingerprint(),
        ]  # fmt: skip
        digest.update(json.dumps(content, sort_keys=True).encode())
        digest.update(self.worlds.draws.tobytes())
        for name in _SOURCES:
            digest.update(source_bytes(Path(__file__).parents[1] / f"{name}.py"))
        return digest.hexdigest()

    @property
    def keep_day(self) -> int:
        """Day of the colonies that are kept."""
        return max(0, self.schedule.days - KEEP_DAYS)

    def kept_digest(self, day: int) -> str:
        """Names colonies that are kept in the evening of a day."""
        warm = self.temperatures[:day]
        text = f"{self.base_digest} {prefix_digest(self.schedule, day)} {warm}"
        return hashlib.sha256(text.encode()).hexdigest()

    def values(self, member: int) -> Parameters:
        """Biology and handling of a member."""
        # As `with_values`, in half the time: it looks up every key once more.
        return Parameters(self.worlds.draw(member), where="worlds", base=self.parameters)

    def run_seed(self, member: int) -> int:
        """Seed of a member's chance."""
        seeds = np.random.SeedSequence([self.seed, 17, member])
        return int(seeds.generate_state(1, np.uint64)[0])

    def found(self, member: int) -> Colony:
        """A member on day 0."""
        return lived.found(
            self.schedule, self.values(member), np.array(self.temperatures), self.run_seed(member)
        )

    def today_of(self, member: int, kept: Kept | None = None, save: Kept | None = None) -> Colony:
        """A member in the evening of today.

        Parameters
        ----------
        member : int
        kept : Kept, optional
            Colonies to go on from.
        save : Kept, optional
            Where to keep it as it is on `keep_day`.
        """
        colony = self.found(member)
        if kept is not None:
            try:
                kept.load(member, colony)
            except UNFIT:
                colony = self.found(member)  # Damaged: all of it anew.
        if save is not None and colony.day <= self.keep_day:
            lived.live_until(colony, self.keep_day, _stop)
            save.save(member, colony)
        lived.live_until(colony, self.today, _stop)
        return colony


def _stop(colony: Colony) -> None:
    stop_if_asked(colony.day)


@dataclass(frozen=True)
class Lived:
    """Members as they are today.

    Attributes
    ----------
    members : int array
    seen : float64 array, shape (members, observed)
        What the rows of the log have shown of each, without errors of counting.
    written : float64 array, shape (members, observed)
        What its keeper would have written.
    contents : float64 array, shape (members, slots, `lived.CONTENTS`)
    uses : float64 array, shape (members, bins, 4)
        See `lived.uses`.
    """

    members: np.ndarray
    seen: np.ndarray
    written: np.ndarray
    contents: np.ndarray
    uses: np.ndarray

    def and_those(self, others: Lived) -> Lived:
        """These members and then others."""
        return Lived(*(
            np.concatenate([getattr(self, field.name), getattr(others, field.name)])
            for field in fields(self)
        ))  # fmt: skip


def live(
    ensemble: Ensemble,
    members: Sequence[int],
    folder: Path | None = None,
    *,
    kept: Kept | None = None,
    save: Kept | None = None,
    workers: int = 1,
    executor: Executor | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Lived:
    """Let members live the log to today.

    Parameters
    ----------
    ensemble : Ensemble
    members : sequence of int
    folder : Path, optional
        Results folder in whose store they are kept.
    kept, save : Kept, optional
        As in `Ensemble.today_of`.
    workers : int
    executor : Executor, optional
        As in `run_chunks`.
    on_progress : callable

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
    """
    make = partial(Chunk, ensemble=ensemble, what="today", kept=kept, save=save, courses=())
    table = _run(make, members, CHUNK, folder, workers, executor, on_progress)
    observed = len(ensemble.schedule.observed)
    written = np.stack([
        observe.written(
            ensemble.schedule, row[:observed], np.random.default_rng([ensemble.seed, 18, member])
        )
        for member, row in zip(members, table, strict=True)
    ])  # fmt: skip
    bins, kinds = _bins(ensemble), len(lived.CONTENTS)
    seen, contents, uses = np.split(table, [observed, observed + (bins + 1) * kinds], axis=1)
    return Lived(
        np.array(members), seen, written, contents.reshape(len(members), bins + 1, kinds),
        uses.reshape(len(members), bins, -1),
    )  # fmt: skip


def live_on(
    ensemble: Ensemble,
    members: Sequence[int],
    courses: Sequence[Course] = (lived.BY_THE_RULES,),
    folder: Path | None = None,
    *,
    kept: Kept | None = None,
    workers: int = 1,
    executor: Executor | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> list[lived.Ahead]:
    """Let members live the weeks to come, once on each course.

    Parameters
    ----------
    courses : sequence of Course

    Returns
    -------
    list of lived.Ahead
        One for each course; arrays have members first.
    """
    make = partial(
        Chunk, ensemble=ensemble, what="on", kept=kept, save=None, courses=tuple(courses)
    )
    size = max(1, CHUNK // len(courses))
    table = _run(make, members, size, folder, workers, executor, on_progress)
    table = table.reshape(len(members), len(courses), -1)
    return [_apart(table[:, k], _bins(ensemble)) for k in range(len(courses))]


def _bins(ensemble: Ensemble) -> int:
    return max(len(ensemble.schedule.bins), ensemble.parameters["rack.bins"], 2)


def _shapes(bins: int) -> dict[str, tuple[int, ...]]:
    return {
        "harvest_g": (lived.WEEKS, bins), "large_g": (lived.WEEKS, bins),
        "firsts": (bins, len(lived.FIRSTS)), "beetles": (lived.WEEKS,),
        "hatched": (lived.WEEKS,), "move": (1,),
    }  # fmt: skip


def _apart(rows: np.ndarray, bins: int) -> lived.Ahead:
    found, start = {}, 0
    for name, shape in _shapes(bins).items():
        size = int(np.prod(shape))
        found[name] = rows[:, start : start + size].reshape(len(rows), *shape)
        start += size
    return found


@dataclass(frozen=True)
class Chunk:
    """Some members, lived and stored together (see ``running.protocol.Job``)."""

    ensemble: Ensemble
    what: str
    members: tuple[int, ...]
    kept: Kept | None
    save: Kept | None
    courses: tuple[Course, ...]

    @cached_property
    def key(self) -> str:
        """Key under which the outcome is stored."""
        text = f"{self.ensemble.digest} {self.what} {self.members} {self.courses}"
        return hashlib.sha256(text.encode()).hexdigest()

    def run(self) -> TaskResult:
        """One row a member, as the bytes of a numpy file."""
        begin, packed = time.perf_counter(), io.BytesIO()
        rows = [self._row(member) for member in self.members]
        np.save(packed, np.stack(rows), allow_pickle=False)
        return TaskResult(packed.getvalue(), None, time.perf_counter() - begin, None)

    def _row(self, member: int) -> np.ndarray:
        if self.what == "today":
            colony = self.ensemble.today_of(member, self.kept, self.save)
            lived.end(colony)
            parts = [lived.shown(colony), lived.contents(colony), lived.uses(colony)]
            return np.concatenate([part.ravel() for part in parts])
        parts = []
        for course in self.courses:
            # Living the last days again is quicker than a copy of the colony, and needs no code.
            colony = self.ensemble.today_of(member, self.kept)
            ahead = lived.live_on(colony, course, _stop)
            lived.end(colony)
            parts += [ahead[name].ravel() for name in _shapes(len(colony.bins))]
        return np.concatenate(parts)


def _run(
    make: Callable[..., Chunk],
    members: Sequence[int],
    size: int,
    folder: Path | None,
    workers: int,
    executor: Executor | None,
    on_progress: Callable[[Progress], None],
) -> np.ndarray:
    chunks = [
        make(members=tuple(int(member) for member in members[start : start + size]))
        for start in range(0, len(members), size)
    ]

    def tell(progress: Progress) -> None:
        done, reused = (min(size * n, len(members)) for n in (progress.done, progress.reused))
        on_progress(Progress(done, len(members), reused, 0, progress.seconds_left))

    return run_chunks(chunks, folder, workers, tell, executor)
