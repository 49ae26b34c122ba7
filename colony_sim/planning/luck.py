"""What is uncertain about a plan, parted into luck and into what nobody knows.

Every fresh run of a plan lives in a world of its own, with a seed of its own, so that runs differ
for two reasons: luck (which egg, larva and beetle lives, and when) and the biology of the world,
which nobody knows. Some worlds are lived once more with another seed; runs of one world differ by
luck alone. The variance of an outcome of a run is the mean variance within worlds (luck, aleatory)
plus the variance between the expectations of worlds (ignorance, epistemic); both are estimated
without bias by the one-way analysis of variance (Searle, Casella & McCulloch 1992), whatever the
distribution, so that it serves what a run harvests and whether it meets the want alike. For the
latter, with a probability p of a world, they are E p (1 - p) and var p, which add up to
P (1 - P) of the probability P over all worlds that the plan states.

The temperatures of the room are those that the keeper gave, the same in every run: weather is no
part of the luck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from colony_sim.statistics.over_worlds import split_of_variance

UNCLEAR = 0.25
"""Standard error of a share from which on luck and ignorance are not told apart."""
FEWEST = 5
"""Worlds lived twice that must have met the want, and missed it, for a share of `met`: a bootstrap
of fewer takes its own error to be small."""


@dataclass(frozen=True)
class Part:
    """Share of a variance that is between worlds: what nobody knows. The rest is luck.

    Attributes
    ----------
    unknown : float
        From 0 to 1.
    error : float
        Its standard error, from a bootstrap of worlds.
    """

    unknown: float
    error: float

    @property
    def clear(self) -> bool:
        """Whether it is known well enough to be told."""
        return self.error < UNCLEAR


@dataclass(frozen=True)
class Luck:
    """Runs of a plan by world.

    Attributes
    ----------
    worlds, runs : int
        Different worlds, and runs in all of them.
    twice : int
        Worlds lived at least twice.
    both, once, never : int
        Of these, worlds whose first two runs meet the want both, one of them, and neither.
    grams : Part or None
        Of the harvest of the poorest stretch; None where no world is lived twice or nothing
        varies.
    met : Part or None
        Of whether a run meets the want, likewise; None as well where fewer than `FEWEST` of the
        worlds lived twice met it, or missed it.
    """

    worlds: int
    runs: int
    twice: int
    both: int
    once: int
    never: int
    grams: Part | None
    met: Part | None


def luck(worlds: Sequence[int], sure: ArrayLike, met: ArrayLike) -> Luck:
    """Part what differs between runs into luck and worlds.

    Parameters
    ----------
    worlds : sequence of int
        World of each run.
    sure : array of float
        Harvest (g a day) of the poorest stretch of each run.
    met : array of bool
        Whether each run meets the want within the minutes.
    """
    of_world: dict[int, list[int]] = {}
    for place, world in enumerate(worlds):
        of_world.setdefault(world, []).append(place)
    places = list(of_world.values())
    grams, held = np.asarray(sure, dtype=float), np.asarray(met, dtype=bool)
    times = [int(held[runs[:2]].sum()) for runs in places if len(runs) > 1]
    both, once, never = (times.count(count) for count in (2, 1, 0))
    told = min(both, never) + once >= FEWEST
    return Luck(
        worlds=len(places),
        runs=len(grams),
        twice=len(times),
        both=both,
        once=once,
        never=never,
        grams=_part(grams, places),
        met=_part(held.astype(float), places) if told else None,
    )


def _part(values: np.ndarray, places: Sequence[Sequence[int]]) -> Part | None:
    if len(places) < 2 or len(values) == len(places):
        return None
    split = split_of_variance([values[runs] for runs in places])
    return Part(split.share, split.share_se) if np.isfinite(split.share) else None
