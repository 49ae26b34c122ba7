"""Which of two policies is ahead over worlds, with chance within a world taken off.

A world is one joint draw of what nobody knows. Both policies live in the same worlds, with the
same seeds, so that a pair of runs gives a gain g[w, r], first policy (A) less second (B), in world
w and replicate r. The model is the one-way random-effects model

    g[w, r] = G[w] + e[w, r],   var(G) = between,   var(e) = within,

and the questions are about G, the expected gain of a world, of which the mean of a few replicates
is a noisy reading: shares of worlds counted on the means are biased towards one half, and regrets
are too large. O'Hagan, Stevenson & Madan (2007, Health Econ. 16:1009-1023) put the same problem
for simulations of single patients under uncertain parameters.

* Split of the variance: `statistics.variance_split`.
* Distribution of G: means of worlds drawn in so that their variance is that between worlds (Louis
  1984, J. Am. Stat. Assoc. 79:393-398), which is exact if all is normal; then five EM steps towards
  the nonparametric maximum likelihood for normal chance, on the weights of the points ("smoothing
  by roughening", Laird & Louis 1991, Comput. Stat. Data Anal. 12:27-37), which bring out skewness
  and modes; last, mean and variance are set back to their estimates (constrained empirical Bayes,
  Ghosh 1992, J. Am. Stat. Assoc. 87:533-540). More steps follow the noise, and chance that is not
  normal, for what it is not.
* How far it goes is a matter of the reliability, between / (between + within / replicates).
  Largest bias of a share over all thresholds, measured on 1000 worlds of two replicates: for normal
  worlds and chance 0.01 at any reliability from 0.33. For exponential, log-normal and bimodal
  worlds 0.18, 0.11, 0.06, 0.04 at reliabilities of 0.5, 0.67, 0.8, 0.89 (0.22, 0.17, 0.13, 0.09 on
  the plain means). If chance is skewed or grows with the distance of the gain from its mean, 0.25,
  0.16, 0.10, 0.07, and for normal worlds 0.07, 0.06, 0.05, 0.03. Of a regret at 0.8: 0.03 standard
  deviations of G, 0.04 with such chance (0.10 on the plain means). Below 0.67 the shape of worlds
  can hardly be told, and a share is nearly that of normal worlds with the same mean and variance.
* Standard errors are Monte Carlo errors: of the worlds drawn and the replicates lived, with worlds
  as sampling units. That of the expected gain is in closed form, the others are from a bootstrap of
  whole worlds from a fixed seed. They hold no bias, and nothing of how well the worlds were drawn.

The split (`variance_split`) and the number of worlds and replicates (`worlds_design`) are modules
of their own, whose functions are to be had from here too; verdicts in several currencies are in
`currencies`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from colony_sim.statistics.variance_split import Sample, Split, split_of_variance, spread
from colony_sim.statistics.worlds_design import (
    MOST_REPLICATES,
    least_error,
    replicates_a_world,
    share_error,
    worlds_needed,
)

__all__ = [
    "CENTRAL",
    "MOST_REPLICATES",
    "Split",
    "WorldsVerdict",
    "least_error",
    "replicates_a_world",
    "share_error",
    "split_of_variance",
    "verdict_over_worlds",
    "worlds_needed",
]

CENTRAL = 0.9
"""Share of the worlds within the interval of expected gains."""
_STEPS = 5
_CELLS = 201
"""Points of the EM steps; odd, so that gains of the other sign make the same cells."""


@dataclass(frozen=True)
class WorldsVerdict:
    """What gains over worlds say about policies A and B; gains are those of A over B.

    Every `*_se` is a Monte Carlo standard error. That of a share is never less than `least_error`
    for as many worlds (single pairs: as many pairs).

    Attributes
    ----------
    worlds, runs : int
        Worlds, and pairs of runs in all of them.
    zone : float
        Half width of the gains that count as no difference, unit of the gain.
    of_single_pairs : bool
        Every world has one replicate, so that chance cannot be taken off: probabilities, interval
        and regrets are those of single pairs, and `sd_worlds`, `sd_chance` and `reliability` NaN.
    gain, gain_se : float
        Expected gain, every world counted alike.
    probability_a, probability_b, probability_zone (and `*_se`) : float
        Share of worlds whose expected gain is above +zone, below -zone, and neither. They add to 1.
    pairs_a, pairs_b (and `*_se`) : float
        Share of single pairs with a gain above +zone and below -zone, every world counted alike.
    low, high : float
        Limits of the central 90 % of expected gains over worlds.
    sd_worlds, sd_chance : float
        Standard deviation of expected gains over worlds, and of a gain within a world.
    reliability : float
        Share of the variance of the means of worlds that is not chance, 0 to 1.
    negative : bool
        The variance between worlds was estimated below 0 and counted as 0.
    regret_a, regret_b (and `*_se`) : float
        Expected loss of choosing A, E max(0, -G), and of choosing B, E max(0, G), over worlds with
        expected gains G: what the best choice in each world would gain over this one. Unit of the
        gain; regret_b - regret_a = gain.
    """

    worlds: int
    runs: int
    zone: float
    of_single_pairs: bool
    gain: float
    gain_se: float
    probability_a: float
    probability_a_se: float
    probability_b: float
    probability_b_se: float
    probability_zone: float
    probability_zone_se: float
    pairs_a: float
    pairs_a_se: float
    pairs_b: float
    pairs_b_se: float
    low: float
    high: float
    sd_worlds: float
    sd_chance: float
    reliability: float
    negative: bool
    regret_a: float
    regret_a_se: float
    regret_b: float
    regret_b_se: float


def verdict_over_worlds(gains: Sequence[ArrayLike], zone: float = 0.0) -> WorldsVerdict:
    """Which policy is ahead over worlds, how surely, and what a wrong choice costs.

    Parameters
    ----------
    gains : sequence of 1-D array
        Gains of A over B in the replicates of each world, at least two worlds. Numbers of
        replicates may differ, if they do not go with the gain.
    zone : float
        Half width of the gains that count as no difference, unit of the gain, at least 0.

    Returns
    -------
    WorldsVerdict
        With chance within a world taken off as the docstring of the module has it.

    Raises
    ------
    ValueError
        Fewer than two worlds, a world without a replicate, a gain that is not finite (the message
        has the number of the world, from 1), or a zone below 0 or not finite.
    """
    if not (math.isfinite(zone) and zone >= 0):
        raise ValueError(f"zone is {zone}, must be finite and at least 0")
    sample = Sample.of(gains)
    moment = between = within = math.nan
    if not sample.single:
        moment, within = map(float, sample.components())
        between = max(moment, 0.0)
    points = _expected_gains(sample.mean, sample.n, between, within)
    found = _functionals(points, zone)
    errors = _bootstrap(sample, zone)
    shares = found[:3]
    floor = [least_error(float(share), sample.worlds) for share in shares]
    share_errors = np.fmax(errors[:3], floor)
    low, high = _quantiles(points)

    pairs = {}
    for name, sign in (("pairs_a", 1.0), ("pairs_b", -1.0)):
        won = np.array([(sign * world > zone).mean() for world in sample.gains])
        share = float(won.mean())
        error = float(won.std(ddof=1)) / math.sqrt(sample.worlds)
        pairs[name] = share
        pairs[f"{name}_se"] = max(error, least_error(share, int(sample.n.sum())))
    chance = float((within / sample.n).mean())
    return WorldsVerdict(
        worlds=sample.worlds,
        runs=int(sample.n.sum()),
        zone=float(zone),
        of_single_pairs=sample.single,
        gain=float(sample.mean.mean()),
        gain_se=float(sample.mean.std(ddof=1)) / math.sqrt(sample.worlds),
        probability_a=float(shares[0]),
        probability_a_se=float(share_errors[0]),
        probability_b=float(shares[1]),
        probability_b_se=float(share_errors[1]),
        probability_zone=float(shares[2]),
        probability_zone_se=float(share_errors[2]),
        **pairs,
        low=low,
        high=high,
        sd_worlds=math.sqrt(between),
        sd_chance=math.sqrt(within),
        reliability=between / (between + chance) if between != 0 else 0.0,
        negative=moment < 0,
        regret_a=float(found[3]),
        regret_a_se=float(errors[3]),
        regret_b=float(found[4]),
        regret_b_se=float(errors[4]),
    )


class _Points(NamedTuple):
    """Estimated distribution of expected gains over worlds."""

    at: np.ndarray
    weight: np.ndarray


def _expected_gains(mean: np.ndarray, n: np.ndarray, between: float, within: float) -> _Points:
    """Distribution of expected gains from the means of worlds; NaN variances leave them as is."""
    worlds = len(mean)
    alike = np.full(worlds, 1 / worlds)
    if not within > 0:
        return _Points(mean, alike)
    centre = float(mean.mean())
    if between == 0:
        return _Points(np.full(worlds, centre), alike)
    chance = within / n
    at = centre + np.sqrt(between / (between + chance)) * (mean - centre)
    weight = _roughened(mean, chance, at)
    middle = float((weight * at).sum())
    sd = math.sqrt(float((weight * (at - middle) ** 2).sum()))
    # The divisor of the plain means, so that both agree as chance goes to 0.
    wanted = math.sqrt(between * (worlds - 1) / worlds)
    return _Points(centre + (at - middle) * (wanted / sd), weight)


def _roughened(mean: np.ndarray, chance: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Weights of the points `at` after the EM steps, from equal ones.

    Many worlds are put together in cells of neighbours (those of as much chance, for the means),
    each with its mean.
    """
    seen_in, placed_in = _cells(mean, chance), _cells(at, np.zeros(len(at)))
    size, room = np.bincount(seen_in), np.bincount(placed_in)
    seen = np.bincount(seen_in, weights=mean) / size
    noise = np.bincount(seen_in, weights=chance) / size
    place = np.bincount(placed_in, weights=at) / room
    log_density = -((seen[:, None] - place) ** 2) / (2 * noise[:, None])
    # Rows may be multiplied by anything; the largest is set to 1 against underflow.
    density = np.exp(log_density - log_density.max(axis=1, keepdims=True))
    share = size / len(mean)
    weight = room / len(at)
    for _ in range(_STEPS):
        weight = weight * (density.T @ (share / (density @ weight)))
    roughened = (weight / room)[placed_in]
    return roughened / roughened.sum()


def _cells(values: np.ndarray, kinds: np.ndarray) -> np.ndarray:
    """Number of the cell of each value; neighbours of one kind, a cell each if there are few."""
    total = len(values)
    if total <= _CELLS:
        return np.arange(total)
    cell = np.empty(total, dtype=int)
    start = 0
    for kind in np.unique(kinds):
        here = np.flatnonzero(kinds == kind)
        # An odd number parts values of the other sign alike.
        cells = min(len(here), (_CELLS * len(here) // total) | 1)
        order = here[np.argsort(values[here], kind="stable")]
        cell[order] = start + ((2 * np.arange(len(here)) + 1) * cells) // (2 * len(here))
        start += cells
    return cell


def _functionals(points: _Points, zone: float) -> np.ndarray:
    """Shares above, below and within the zone, regret of A and of B."""
    at, weight = points
    above, below = at > zone, at < -zone
    shares = [float(weight[here].sum()) for here in (above, below, ~(above | below))]
    # A share of all is 1 to the last digit.
    shares = [share / math.fsum(shares) for share in shares]
    regrets = [float((weight * np.maximum(sign * at, 0.0)).sum()) for sign in (-1.0, 1.0)]
    return np.array([*shares, *regrets])


def _bootstrap(sample: Sample, zone: float) -> np.ndarray:
    """Standard errors of the functionals."""
    found = []
    for rows in sample.resamples():
        if sample.single:
            moments = withins = np.full(len(rows), np.nan)
        else:
            moments, withins = sample.components(rows)
        for row, moment, within in zip(rows, moments, withins, strict=True):
            if not sample.single and np.isnan(within):
                continue
            between = max(float(moment), 0.0)
            points = _expected_gains(sample.mean[row], sample.n[row], between, float(within))
            found.append(_functionals(points, zone))
    return np.array([spread(column) for column in np.reshape(found, (-1, 5)).T])


def _quantiles(points: _Points) -> tuple[float, float]:
    """Limits of the central share, linear between the middles of the steps (Hazen 1914)."""
    order = np.argsort(points.at, kind="stable")
    at, weight = points.at[order], points.weight[order]
    middle = np.cumsum(weight) - weight / 2
    low, high = np.interp([0.5 - CENTRAL / 2, 0.5 + CENTRAL / 2], middle, at)
    return float(low), float(high)
