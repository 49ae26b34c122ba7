"""Which of two policies is ahead over worlds, with chance within a world taken off.

A world is one joint draw of what nobody knows. Both policies live in the same worlds, with the
same seeds, so that a pair of runs gives a gain g[w, r], first policy (A) less second (B), in world
w and replicate r. The model is the one-way random-effects model

    g[w, r] = G[w] + e[w, r],   var(G) = between,   var(e) = within,

and the questions are about G, the expected gain of a world, of which the mean of a few replicates
is a noisy reading: shares of worlds counted on the means are biased towards one half, and regrets
are too large. O'Hagan, Stevenson & Madan (2007, Health Econ. 16:1009-1023) put the same problem
for simulations of single patients under uncertain parameters.

* Split of the variance: unweighted means of the unbalanced one-way analysis (Thomas & Hultquist
  1978, Ann. Stat. 6:582-587). Weighting worlds by their replicates, as the analysis of variance
  does, would set the spread of all worlds by those that happen to be lived more often.
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
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats

MOST_REPLICATES = 1000
"""Replicates a world that are looked at."""
CENTRAL = 0.9
"""Share of the worlds within the interval of expected gains."""
_STEPS = 5
_CELLS = 201
"""Points of the EM steps; odd, so that gains of the other sign make the same cells."""
_RESAMPLES, _SEED = 200, 20_071
_AT_ONCE = 2**20
"""Resampled worlds held together."""
_CLEAR = 2.0
"""Standard errors from one half at which a probability counts as on its side of it."""


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


@dataclass(frozen=True)
class Currencies:
    """Verdicts on one pair of policies in several currencies.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a currency, in the order given: currency, expected_gain, expected_gain_se (unit of
        the currency), probability_a, probability_a_se, probability_b, probability_b_se, low, high,
        regret_a, regret_a_se, regret_b, regret_b_se (as in `WorldsVerdict`), of_single_pairs, and
        ahead: "a" or "b" if the probability that the policy is ahead is above one half by more
        than two standard errors, "" if that of neither is.
    verdicts : dict
        The whole `WorldsVerdict` by currency.
    """

    table: pd.DataFrame
    verdicts: dict[str, WorldsVerdict]

    @property
    def disagree(self) -> bool:
        """Whether A is ahead in one currency and B in another."""
        return {"a", "b"} <= set(self.table["ahead"])


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
    sample = _Sample.of(gains)
    if sample.single:
        raise ValueError("every world has one replicate: worlds and chance cannot be told apart")
    moment, within = sample.components()
    moments, withins = sample.resampled()
    return Split(
        worlds=sample.worlds,
        runs=int(sample.n.sum()),
        moment=float(moment),
        moment_se=_spread(moments),
        within=float(within),
        within_se=_spread(withins),
        share_se=_spread(_share_between(moments, withins)),
    )


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
    sample = _Sample.of(gains)
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


def replicates_a_world(
    between: float,
    within: float,
    cost_world: float = 0.0,
    cost_run: float = 1.0,
    purpose: Literal["mean", "probability"] = "mean",
    gain: float = 0.0,
) -> int:
    """Replicates in every world that give the least error for a given cost of all runs.

    With n replicates in each of W worlds the cost is W (cost_world + n cost_run).

    * Mean: the error is that of a nested design, (between + within / n) / W; the best n is near
      sqrt(within cost_world / (between cost_run)) (Cochran 1977, Sampling Techniques, section
      10.6), so a world that costs nothing of its own gets one replicate.
    * Probability: the error is that of the share of worlds drawn in as Louis (1984) has it, for
      normal worlds and chance (delta method, see `share_error`). There are two replicates at
      least, or chance could not be taken off.

    Parameters
    ----------
    between, within : float
        Variances as of `split_of_variance`, at least 0.
    cost_world, cost_run : float
        Cost of a new world, of one more pair of runs in it; any common unit.
    purpose : "mean" or "probability"
        What is to be estimated.
    gain : float
        Expected gain less the zone, unit of the gain; counts for the probability alone.

    Returns
    -------
    int
        1 to `MOST_REPLICATES`. Without variance between worlds, one world is as good as many: if
        a world costs anything, `MOST_REPLICATES`.

    Raises
    ------
    ValueError
        Variances below 0, a cost of a run not above 0, a cost of a world below 0, another purpose.
    """
    for name, value, least in (
        ("between", between, "at least 0"),
        ("within", within, "at least 0"),
        ("cost_world", cost_world, "at least 0"),
        ("cost_run", cost_run, "above 0"),
    ):
        if not math.isfinite(value) or value < 0 or (least == "above 0" and value == 0):
            raise ValueError(f"{name} is {value}, must be finite and {least}")
    if purpose not in ("mean", "probability"):
        raise ValueError(f"purpose is {purpose!r}, must be 'mean' or 'probability'")
    if within == 0:
        return 1
    fewest = 1 if purpose == "mean" else 2
    if between == 0:
        return MOST_REPLICATES if cost_world > 0 else fewest
    n = np.arange(fewest, MOST_REPLICATES + 1)
    if purpose == "mean":
        variance = between + within / n
    else:
        variance = share_error(gain, between, within, n, 1) ** 2
    return int(n[np.argmin(variance * (cost_world + n * cost_run))])


def share_error(
    gain: float, between: float, within: float, replicates: ArrayLike, worlds: int
) -> np.ndarray:
    """Standard error of the share of worlds ahead, if worlds and chance are normal.

    Delta method on the share of drawn-in means (Louis 1984) above 0: chance of the share itself,
    and of the estimated mean and variances that the means are drawn in by. The EM steps of
    `verdict_over_worlds` add a little.

    Parameters
    ----------
    gain : float
        Expected gain less the zone, unit of the gain.
    between, within : float
        Variances between worlds (above 0) and of chance within one.
    replicates : array of int
        In every world, at least 2.
    worlds : int

    Returns
    -------
    array
        Of the shape of `replicates`.
    """
    n = np.asarray(replicates, dtype=float)
    at = -gain / math.sqrt(between)
    p, density = float(stats.norm.sf(at)), float(stats.norm.pdf(at))
    chance = within / n
    total = between + chance
    f = np.sqrt(between / total)
    # Threshold on the means: it moves with their mean, their variance, and that of chance.
    of_mean = density / np.sqrt(total) * (1 / f - 1)
    bend = density / np.sqrt(total) * at * math.sqrt(between) / (2 * f**3)
    of_total, of_chance = bend * chance / total**2, -bend / total
    variance = (
        p * (1 - p)
        + of_mean**2 * total
        + 2 * of_total**2 * total**2
        + of_chance**2 * 2 * chance**2 / (n - 1)
        + 2 * of_mean * np.sqrt(total) * density
        + 2 * of_total * total * at * density
    )
    return np.sqrt(variance / worlds)


def least_error(p: float, worlds: int) -> float:
    """Least standard error of a probability `p` that this number of worlds allows.

    sqrt(p (1 - p) / worlds), of a share of worlds whose expected gains are known. A share of 0 or 1
    has an error too: `p` counts as no nearer to them than the rule of succession (Laplace) puts a
    share of none or all, 1 / (worlds + 2).

    Raises
    ------
    ValueError
        `p` outside 0 to 1, or no world.
    """
    _check_probability(p)
    if worlds < 1:
        raise ValueError(f"worlds is {worlds}, must be at least 1")
    end = 1 / (worlds + 2)
    p = min(max(p, end), 1 - end)
    return math.sqrt(p * (1 - p) / worlds)


def worlds_needed(p: float, error: float) -> int:
    """Fewest worlds whose `least_error` of a probability `p` is `error` or less.

    With few replicates a world more are needed: see `share_error`.

    Raises
    ------
    ValueError
        `p` outside 0 to 1, or `error` not above 0.
    """
    _check_probability(p)
    if not (math.isfinite(error) and error > 0):
        raise ValueError(f"error is {error}, must be finite and above 0")
    enough = 1
    while least_error(p, enough) > error:
        enough *= 2
    too_few = enough // 2
    while enough - too_few > 1:
        middle = (too_few + enough) // 2
        if least_error(p, middle) > error:
            too_few = middle
        else:
            enough = middle
    return enough


def in_currencies(
    a: Mapping[str, Sequence[ArrayLike]],
    b: Mapping[str, Sequence[ArrayLike]],
    currencies: Mapping[str, tuple[str, str | None]],
    zones: Mapping[str, float] | None = None,
) -> Currencies:
    """Verdicts on policies A and B in currencies, ratios of two measures of a run.

    The gain of a pair is the ratio of A's run less that of B's run, so the expected gain is one of
    expected ratios, not of ratios of expectations.

    Parameters
    ----------
    a, b : mapping of str to array (worlds, replicates) or sequence of 1-D array
        Values of the measures under each policy: one array a world, the same seeds in the same
        order under both.
    currencies : mapping of str to (measure, measure or None)
        What is divided by what, such as grams per hour = ("yield_g", "hours"); None divides by 1.
    zones : mapping of str to float, optional
        Half width of gains that count as none, by currency, in its unit. Default: 0.

    Raises
    ------
    ValueError
        No currency, a measure that a policy lacks, shapes that differ, a ratio that is not finite,
        a zone of an unknown currency, or as `verdict_over_worlds`; the message names the currency.
    """
    if not currencies:
        raise ValueError("no currency is given")
    unknown = sorted(set(zones or {}) - set(currencies))
    if unknown:
        raise ValueError(f"zones of unknown currencies {unknown}")
    verdicts, rows = {}, []
    for name, (above, below) in currencies.items():
        try:
            ratios = [
                _ratio(policy, values, above, below)
                for policy, values in zip("AB", (a, b), strict=True)
            ]
            shapes = [[world.shape for world in ratio] for ratio in ratios]
            if shapes[0] != shapes[1]:
                raise ValueError("A and B differ in worlds or replicates")
            gains = [first - second for first, second in zip(*ratios, strict=True)]
            found = verdict_over_worlds(gains, (zones or {}).get(name, 0.0))
        except ValueError as error:
            raise ValueError(f"currency {name!r}: {error}") from None
        verdicts[name] = found
        rows.append({
            "currency": name, "expected_gain": found.gain, "expected_gain_se": found.gain_se,
            "probability_a": found.probability_a, "probability_a_se": found.probability_a_se,
            "probability_b": found.probability_b, "probability_b_se": found.probability_b_se,
            "low": found.low, "high": found.high,
            "regret_a": found.regret_a, "regret_a_se": found.regret_a_se,
            "regret_b": found.regret_b, "regret_b_se": found.regret_b_se,
            "of_single_pairs": found.of_single_pairs, "ahead": _ahead(found),
        })  # fmt: skip
    return Currencies(pd.DataFrame(rows), verdicts)


class _Points(NamedTuple):
    """Estimated distribution of expected gains over worlds."""

    at: np.ndarray
    weight: np.ndarray


@dataclass(frozen=True)
class _Sample:
    """Gains, and for each world their number, mean and sum of squares about it."""

    gains: list[np.ndarray]
    n: np.ndarray
    mean: np.ndarray
    squares: np.ndarray

    @classmethod
    def of(cls, gains: Sequence[ArrayLike]) -> _Sample:
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


def _bootstrap(sample: _Sample, zone: float) -> np.ndarray:
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
    return np.array([_spread(column) for column in np.reshape(found, (-1, 5)).T])


def _quantiles(points: _Points) -> tuple[float, float]:
    """Limits of the central share, linear between the middles of the steps (Hazen 1914)."""
    order = np.argsort(points.at, kind="stable")
    at, weight = points.at[order], points.weight[order]
    middle = np.cumsum(weight) - weight / 2
    low, high = np.interp([0.5 - CENTRAL / 2, 0.5 + CENTRAL / 2], middle, at)
    return float(low), float(high)


def _ratio(
    policy: str, values: Mapping[str, Sequence[ArrayLike]], above: str, below: str | None
) -> list[np.ndarray]:
    """Ratio of two measures, an array a world."""
    missing = [name for name in (above, below) if name is not None and name not in values]
    if missing:
        raise ValueError(f"policy {policy} lacks the measures {missing}")
    top = [np.asarray(world, dtype=float) for world in values[above]]
    if below is None:
        ratio = top
    else:
        bottom = [np.asarray(world, dtype=float) for world in values[below]]
        if [world.shape for world in top] != [world.shape for world in bottom]:
            raise ValueError(f"{above} and {below} of policy {policy} differ in shape")
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = [one / other for one, other in zip(top, bottom, strict=True)]
    for number, world in enumerate(ratio, 1):
        if not np.isfinite(world).all():
            raise ValueError(f"a value of policy {policy} in world {number} is not finite")
    return ratio


def _ahead(found: WorldsVerdict) -> str:
    if found.probability_a - 0.5 > _CLEAR * found.probability_a_se:
        return "a"
    if found.probability_b - 0.5 > _CLEAR * found.probability_b_se:
        return "b"
    return ""


def _share_between(moment: np.ndarray, within: np.ndarray) -> np.ndarray:
    """Share of the variance that is between worlds; a variance below 0 counts as 0."""
    between = np.maximum(moment, 0.0)
    with np.errstate(invalid="ignore"):
        return between / (between + within)


def _spread(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(known.std(ddof=1)) if len(known) > 1 else math.nan


def _check_probability(p: float) -> None:
    if not 0 <= p <= 1:
        raise ValueError(f"p is {p}, must be from 0 to 1")
