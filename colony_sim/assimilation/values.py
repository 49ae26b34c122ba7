"""The values of possible colonies as numbers that a regression can take, and back."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy
from scipy.special import ndtr, ndtri

from colony_sim.experiment.worlds import Worlds


@dataclass(frozen=True)
class Values:
    """Values of some members, and their normal scores.

    Attributes
    ----------
    worlds : Worlds
        One row a member.
    numbers : tuple of int
        Columns of `worlds` that are numbers and not alike in all members.
    scores : float64 array, shape (members, numbers)
        Normal scores of ranks.
    """

    worlds: Worlds
    numbers: tuple[int, ...]
    scores: np.ndarray

    @classmethod
    def of(cls, worlds: Worlds, members: np.ndarray) -> Values:
        """Those of some members of an ensemble that lives in these worlds (from 1)."""
        worlds = replace(worlds, draws=worlds.draws[(members - 1) % len(worlds.draws)])
        drawn = np.ptp(worlds.draws, axis=0) > 0
        numbers = tuple(
            place for place, entry in enumerate(worlds.entries) if entry.is_number and drawn[place]
        )
        ranks = scipy.stats.rankdata(worlds.draws[:, numbers], axis=0)
        return cls(worlds, numbers, ndtri((ranks - 0.5) / len(ranks)))

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the numbers."""
        return tuple(self.worlds.keys[place] for place in self.numbers)

    def targets(self) -> np.ndarray:
        """What logs are told apart by: scores, and whether a structure has each of its forms."""
        forms = [
            (self.worlds.draws[:, place] == code)[:, None].astype(float)
            for place, entry in enumerate(self.worlds.entries)
            if not entry.is_number
            for code in np.unique(self.worlds.draws[:, place])
        ]
        return np.hstack([self.scores, *forms])

    def numbers_at(self, scores: np.ndarray) -> np.ndarray:
        """Numbers from scores (... x numbers), within those of the members."""
        at = ndtr(scores) * len(self.scores) - 0.5
        places = np.arange(len(self.scores))
        ordered = np.sort(self.worlds.draws[:, self.numbers], axis=0)
        columns = [
            np.interp(at[..., column], places, ordered[:, column])
            for column in range(len(self.numbers))
        ]
        found = np.stack(columns, axis=-1)
        kinds = np.array([self.worlds.entries[place].kind for place in self.numbers])
        return np.where(kinds == "integer", np.round(found), found)
