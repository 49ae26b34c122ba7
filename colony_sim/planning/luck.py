"""What is uncertain about a plan, parted into luck and into what nobody knows.

Every fresh run of a plan lives in a world of its own, with a seed of its own, so that runs differ
for two reasons: luck (which egg, larva and beetle lives, and when) and the biology of the world,
which nobody knows. Some worlds are lived once more with another seed; runs of one world differ by
luck alone. The variance of an outcome of a run is the mean variance within worlds (luck, aleatory)
plus the variance between the expectations of worlds (ignorance, epistemic); both are estimated
without bias by an analysis of variance (`statistics.over_worlds.split_of_variance`), whatever the
distribution, so that it serves what a run lacks and whether it meets the want alike. For the
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
FEWEST, TWICE = 5, 10
"""Worlds that must have met the want and missed it, and worlds that must be lived twice, for a
share to be told: a bootstrap of fewer takes its own error to be small."""


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
    missing : Part or None
        Of what is short of the want (g a day), mean over stretches; what is given beyond it does
        not make up for it, so that a world of plenty does not count for more than one that meets
        the want. None where fewer than `TWICE` worlds are lived twice, or fewer than `FEWEST` of
        them are short in a run.
    met : Part or None
        Of whether a run meets the want; None where fewer than `TWICE` worlds are lived twice, or
        fewer than `FEWEST` of them met it in a run, or missed it.
    """

    worlds: int
    runs: int
    twice: int
    both: int
    once: int
    never: int
    missing: Part | None
    met: Part | None


def luck(worlds: Sequence[int], missing: ArrayLike, met: ArrayLike) -> Luck:
    """Part what differs between runs into luck and worlds.

    Parameters
    ----------
    worlds : sequence of int
        World of each run.
    missing : array of float
        What each run is short of the want (g a day), at least 0.
    met : array of bool
        Whether each run meets the want within the minutes.
    """
    of_world: dict[int, list[int]] = {}
    for place, world in enumerate(worlds):
        of_world.setdefault(world, []).append(place)
    places = list(of_world.values())
    grams, held = np.asarray(missing, dtype=float), np.asarray(met, dtype=bool)
    twice = [runs for runs in places if len(runs) > 1]
    times = [int(held[runs[:2]].sum()) for runs in twice]
    both, once, never = (times.count(count) for count in (2, 1, 0))
    short = sum(bool(grams[runs].any()) for runs in twice)
    enough = len(twice) >= TWICE
    told = enough and min(both, never) + once >= FEWEST
    return Luck(
        worlds=len(places),
        runs=len(grams),
        twice=len(twice),
        both=both,
        once=once,
        never=never,
        missing=_part(grams, places) if enough and short >= FEWEST else None,
        met=_part(held.astype(float), places) if told else None,
    )


def _part(values: np.ndarray, places: Sequence[Sequence[int]]) -> Part | None:
    split = split_of_variance([values[runs] for runs in places])
    return Part(split.share, split.share_se) if np.isfinite(split.share) else None
