"""What a log says of an ensemble of possible colonies, and of what nobody has counted.

Every member of the ensemble has lived the same log and would have written numbers of its own. From
these alone the quantities wanted (what is in a bin, what will be harvested) are told, without a
fit of the biology in between: data-space inversion (Sun and Durlofsky 2017, Math. Geosci. 49:679,
doi 10.1007/s11004-016-9672-8), here with the local regression adjustment of Beaumont, Zhang and
Balding (2002, Genetics 162:2025). In three steps:

1. Summaries. Each quantity is regressed on the features of the log over all members; the principal
   components of what the left-out regressions say are the few numbers by which logs are compared
   (regressions as summaries: Fearnhead and Prangle 2012, J. R. Stat. Soc. B 74:419).
2. Nearness. The members nearest the keeper's log in these count, by an Epanechnikov kernel whose
   width is the distance of the first that does not.
3. Adjustment. Among them each quantity is regressed on the features, with the kernel as weights;
   the draws are those of the jackknife+ (`statistics.ridge`): what the regression without a member
   says of the keeper's log, plus how far it was from that member. So a draw is as wrong about the
   keeper as the method was about a colony whose contents are known.

Draws of all quantities come from the same members in the same order, so that sums and comparisons
over bins and weeks are to be had from them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from colony_sim.statistics.ridge import Ridge, ridge

NEAR = 0.4
"""Share of the members that count. Of 400, CRPS was lowest between 100 and 160 of them (demo log):
more blur, fewer starve. Values too were best told, and their intervals held, from this share on (of
1,024, 128 left out: skill .700 at .4, .687 at .6, .733 at .1 over the twelve values best told)."""
NEAR_KEPT = 0.25
"""The same after a further row, among kept ones that were nearest before it. CRPS was 6 % larger
than with all lived anew (0.4: 3 %), the ranges held as much (80 racks, demo log)."""
FEWEST = 40
_SUMMARIES = 6
_MOST_STANDARD = 5.0
_LEAST_SPREAD = 1e-9


@dataclass(frozen=True)
class Scale:
    """Standardises features by the ensemble; beyond five spreads all is equally far."""

    mean: np.ndarray
    spread: np.ndarray

    @classmethod
    def of(cls, features: np.ndarray, weights: np.ndarray | None = None) -> Scale:
        """That of some members."""
        mean = np.average(features, axis=0, weights=weights)
        spread = np.sqrt(np.average((features - mean) ** 2, axis=0, weights=weights))
        return cls(mean, np.where(spread > _LEAST_SPREAD, spread, np.inf))

    def __call__(self, features: np.ndarray) -> np.ndarray:
        """Standardised features."""
        return np.clip((features - self.mean) / self.spread, -_MOST_STANDARD, _MOST_STANDARD)


@dataclass(frozen=True)
class Nearness:
    """How far members are from a log.

    Attributes
    ----------
    scale : Scale
    regression : Ridge
        Of the standardised quantities on standardised features.
    axes : float64 array, shape (quantities, summaries)
    places : float64 array, shape (members, summaries)
        Where each member is, by regressions that left it out.
    """

    scale: Scale
    regression: Ridge
    axes: np.ndarray
    places: np.ndarray

    @classmethod
    def learn(
        cls, features: np.ndarray, targets: np.ndarray, summaries: int = _SUMMARIES
    ) -> Nearness:
        """Learn it from members (members x features, members x quantities)."""
        scale = Scale.of(features)
        told = targets[:, targets.std(axis=0) > _LEAST_SPREAD]
        told = (told - told.mean(axis=0)) / told.std(axis=0)
        regression = ridge(scale(features), told)
        axes = np.linalg.svd(regression.left_out, full_matrices=False)[2][:summaries].T
        return cls(scale, regression, axes, regression.left_out @ axes)

    def distances(self, log: np.ndarray) -> np.ndarray:
        """How far each member is from a log (features,)."""
        place = self.regression.of(self.scale(log)[None])[0] @ self.axes
        found: np.ndarray = np.sqrt(((self.places - place) ** 2).sum(axis=1))
        return found

    def distances_of(self, member: int) -> np.ndarray:
        """How far the others are from a member's own log; itself is left out, infinitely far."""
        found: np.ndarray = np.sqrt(((self.places - self.places[member]) ** 2).sum(axis=1))
        found[member] = np.inf
        return found


def near_of(members: int) -> int:
    """How many of so many members count."""
    return min(members, max(FEWEST, round(NEAR * members)))


def near_of_kept(members: int) -> int:
    """How many count after a further row, where so many lived the log before it."""
    return min(members, max(FEWEST, round(NEAR_KEPT * members)))


def kernel(distances: np.ndarray, near: int | None = None) -> np.ndarray:
    """Weights of members by their distances; 0 beyond the `near` nearest (`near_of`)."""
    order = np.sort(distances[np.isfinite(distances)])
    near = near_of(len(order)) if near is None else near
    # With no member beyond, the farthest still counts a little.
    width = order[near] if near < len(order) else order[-1] * 1.1
    if not width > 0:
        return np.ones(len(distances))
    return np.maximum(1 - (distances / width) ** 2, 0.0)


class Weighed:
    """Draws with weights that add to 1."""

    weights: np.ndarray

    @property
    def effective(self) -> float:
        """Effective number of members: 1 / sum of squared weights (Kish 1965)."""
        return float(1 / np.sum(self.weights**2))


@dataclass(frozen=True)
class Draws(Weighed):
    """What could be, one row a member that counts.

    Attributes
    ----------
    weights : float64 array, shape (draws,)
        They add to 1.
    values : dict of str to float64 array
        By name, draws first.
    """

    weights: np.ndarray
    values: Mapping[str, np.ndarray]

    def quantiles(self, values: np.ndarray, levels: tuple[float, ...]) -> np.ndarray:
        """Weighted quantiles over draws (levels first)."""
        return quantiles(values, self.weights, levels)

    def probability(self, holds: np.ndarray) -> np.ndarray:
        """Share of the draws in which something holds (draws first)."""
        found: np.ndarray = np.tensordot(self.weights, holds.astype(float), axes=1)
        return found


def quantiles(values: np.ndarray, weights: np.ndarray, levels: tuple[float, ...]) -> np.ndarray:
    """Weighted quantiles along the first axis, linear between the middles of the steps."""
    flat = values.reshape(len(values), -1)
    order = np.argsort(flat, axis=0, kind="stable")
    at = np.take_along_axis(flat, order, axis=0)
    steps = weights[order] / weights.sum()
    middle = np.cumsum(steps, axis=0) - steps / 2
    found = np.empty((len(levels), flat.shape[1]))
    for column in range(flat.shape[1]):
        found[:, column] = np.interp(levels, middle[:, column], at[:, column])
    return found.reshape(len(levels), *values.shape[1:])


@dataclass(frozen=True)
class Kind:
    """On which scale a quantity is regressed, and within which limits it lies.

    Attributes
    ----------
    log : bool
        On that of log(1 + x), for counts and grams.
    least, most : float
    """

    log: bool = True
    least: float = 0.0
    most: float = np.inf

    def forth(self, values: np.ndarray) -> np.ndarray:
        """To the scale of the regression."""
        return np.log1p(values) if self.log else values

    def back(self, values: np.ndarray, members: np.ndarray) -> np.ndarray:
        """From it; no further from 0 than half as much again as any member."""
        limit = 1.5 * members.max(axis=0) if self.log else self.most
        natural = np.expm1(np.minimum(values, 50.0)) if self.log else values
        return np.clip(natural, self.least, np.minimum(limit, self.most))


def adjust(
    features: np.ndarray,
    quantities: Mapping[str, np.ndarray],
    kinds: Mapping[str, Kind],
    weights: np.ndarray,
    log: np.ndarray,
) -> Draws:
    """Draws of quantities for a log.

    Parameters
    ----------
    features : float64 array, shape (members, features)
        Of the numbers each member would have written.
    quantities : mapping of str to float64 array
        Members first.
    kinds : mapping of str to Kind
        By the same names.
    weights : float64 array, shape (members,)
        See `kernel`; members of weight 0 are left out.
    log : float64 array, shape (features,)
    """
    use = weights > 0
    share = weights[use] / weights[use].sum()
    scale = Scale.of(features[use], share)
    standard, row = scale(features[use]), scale(log)
    forth = {name: kinds[name].forth(values[use]) for name, values in quantities.items()}
    table = np.concatenate([values.reshape(len(share), -1) for values in forth.values()], axis=1)
    found = ridge(standard, table, share).jackknife(row, table) if features.shape[1] else table
    values, start = {}, 0
    for name, members in forth.items():
        size = members[0].size
        part = found[:, start : start + size].reshape(members.shape)
        values[name] = kinds[name].back(part, quantities[name][use])
        start += size
    return Draws(share, values)
