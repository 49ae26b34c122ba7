"""Spread of a gain from worlds and from chance: unbiased split of a variance, nested design.

With gains g[w, r] of replicates r in worlds w, the one-way random-effects model is
g[w, r] = G[w] + e[w, r], var(G) = between, var(e) = within. The split is that of unweighted means
of the unbalanced one-way analysis (Thomas & Hultquist 1978, Ann. Stat. 6:582-587). Weighting worlds
by their replicates, as the analysis of variance does, would set the spread of all worlds by those
that happen to be lived more often.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

_RESAMPLES, _SEED = 200, 20_071
_AT_ONCE = 2**20
"""Resampled worlds held together."""


@dataclass(frozen=True)
class Split:
    """Spread of a gain from worlds and from chance.

    Attributes
    ----------
    worlds, runs : int
        Worlds, and pairs of runs in all of them.
    moment : float
        Unbiased estimate of the variance between worlds of the expected gain, squared unit of the
        gain; below 0 if the means of worlds differ by less than chance alone would make them.
    moment_se : float
        Its standard error.
    within, within_se : float
        Variance of chance within a world (pooled over worlds), and its standard error.
    share_se : float
        Standard error of `share`.
    """

    worlds: int
    runs: int
    moment: float
    moment_se: float
    within: float
    within_se: float
    share_se: float

    @property
    def negative(self) -> bool:
        """Whether the variance between worlds is estimated below 0."""
        return self.moment < 0

    @property
    def between(self) -> float:
        """Variance between worlds as it is used: an estimate below 0 counts as 0."""
        return max(self.moment, 0.0)

    @property
    def share(self) -> float:
        """Share of the variance of single runs that is between worlds, 0 to 1.

        The intraclass correlation; NaN where nothing varies.
        """
        return float(_share_between(np.array(self.moment), np.array(self.within)))


def split_of_variance(gains: Sequence[ArrayLike]) -> Split:
    """Variance of a gain between worlds and within a world.

    With n[w] replicates in world w, MSW the mean square within worlds and V the variance of the
    means of worlds: within = MSW and between = V - MSW mean(1 / n) (Thomas & Hultquist 1978). Both
    are unbiased whatever the distributions, as long as the number of replicates of a world does not
    go with its gain or its chance. Standard errors
    are from a bootstrap of worlds; resamples without a world of two replicates are left out.

    Parameters
    ----------
    gains : sequence of 1-D array
        Gains of the replicates of each world; at least two worlds, one of them with two replicates.

    Raises
    ------
    ValueError
        Fewer than two worlds, a world without a replicate, a gain that is not finite (the message
        has the number of the world, from 1), or one replicate in every world.
    """
    sample = Sample.of(gains)
    if sample.single:
        raise ValueError("every world has one replicate: worlds and chance cannot be told apart")
    moment, within = sample.components()
    moments, withins = sample.resampled()
    return Split(
        worlds=sample.worlds,
        runs=int(sample.n.sum()),
        moment=float(moment),
        moment_se=spread(moments),
        within=float(within),
        within_se=spread(withins),
        share_se=spread(_share_between(moments, withins)),
    )


@dataclass(frozen=True)
class Sample:
    """Gains of worlds, and for each world their number, mean and sum of squares about it."""

    gains: list[np.ndarray]
    n: np.ndarray
    mean: np.ndarray
    squares: np.ndarray

    @classmethod
    def of(cls, gains: Sequence[ArrayLike]) -> Sample:
        """Check and reduce the gains of each world; refusals as `split_of_variance`."""
        worlds = [np.asarray(world, dtype=float) for world in gains]
        if len(worlds) < 2:
            raise ValueError(f"there must be at least 2 worlds, not {len(worlds)}")
        for number, world in enumerate(worlds, 1):
            if world.ndim != 1 or not len(world):
                raise ValueError(
                    f"gains of world {number} must be a row of at least one, have shape"
                    f" {world.shape}"
                )
            if not np.isfinite(world).all():
                bad = world[~np.isfinite(world)][0]
                raise ValueError(f"a gain of world {number} is {bad}, must be finite")
        n = np.array([len(world) for world in worlds])
        mean = np.array([world.mean() for world in worlds])
        squares = np.array([((world - world.mean()) ** 2).sum() for world in worlds])
        return cls(worlds, n, mean, squares)

    @property
    def worlds(self) -> int:
        """Number of worlds."""
        return len(self.n)

    @property
    def single(self) -> bool:
        """Whether every world has one replicate."""
        return bool((self.n == 1).all())

    def components(self, rows: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Variance between and within of resampled worlds (sets x worlds), or of all of them."""
        rows = np.arange(self.worlds) if rows is None else rows
        n, mean, squares = self.n[rows], self.mean[rows], self.squares[rows]
        freedom = n.sum(axis=-1) - n.shape[-1]
        with np.errstate(invalid="ignore", divide="ignore"):
            within = np.where(freedom > 0, squares.sum(axis=-1) / freedom, np.nan)
        between = mean.var(axis=-1, ddof=1) - within * (1.0 / n).mean(axis=-1)
        # Gains that are equal but for rounding differ by nothing.
        nothing = (1e-12 * np.abs(self.mean).max()) ** 2
        return np.where(np.abs(between) <= nothing, 0.0, between), within

    def resamples(self) -> list[np.ndarray]:
        """Rows of the bootstrap in parts, each of sets x worlds."""
        rng = np.random.default_rng(_SEED)
        rows = rng.integers(0, self.worlds, size=(_RESAMPLES, self.worlds))
        return np.array_split(rows, 1 + rows.size // _AT_ONCE)

    def resampled(self) -> np.ndarray:
        """Variances between and within of the resamples, array of shape (2, resamples)."""
        return np.concatenate([self.components(rows) for rows in self.resamples()], axis=1)


def spread(values: np.ndarray) -> float:
    """Standard deviation of the finite values; NaN with fewer than two."""
    known = values[np.isfinite(values)]
    return float(known.std(ddof=1)) if len(known) > 1 else math.nan


def _share_between(moment: np.ndarray, within: np.ndarray) -> np.ndarray:
    """Share of the variance that is between worlds; a variance below 0 counts as 0."""
    between = np.maximum(moment, 0.0)
    with np.errstate(invalid="ignore"):
        return between / (between + within)
