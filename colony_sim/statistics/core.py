"""Paired inference on arrays: t intervals and tests, Fieller's ratio, sign flips, Holm.

The last axis holds the pairs (seeds), any axes may lead, and what is returned has the leading
axes. A value that is not finite is missing: a pair that lacks one is left out. Where fewer than
two values are left there is no interval and no p value (NaN).

* Difference: paired t interval and test.
* Ratio of paired means: Fieller (1954, J. R. Stat. Soc. B 16:175-185). Unlike the delta method it
  leaves out 1 exactly when the t interval of the difference leaves out 0.
* Sign-flip permutation test of the mean, exact up to 14 pairs.
* Holm (1979, Scand. J. Stat. 6:65-70), over the last axis.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtr, stdtrit

_EXACT_PAIRS = 14
_FLIPS = 9999
_SEED = 20_011
_TINY = 1e-20
_AT_ONCE = 2**22
"""Flipped sums held together."""


class Mean(NamedTuple):
    """Means with their t intervals; arrays of the leading axes.

    `n` values are used; `sd` and `error` (standard error) are of the sample.
    """

    n: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    error: np.ndarray
    low: np.ndarray
    high: np.ndarray

    @property
    def limits(self) -> tuple[np.ndarray, np.ndarray]:
        """Ends of the interval."""
        return self.low, self.high


class Contrast(NamedTuple):
    """First less second in pairs; arrays of the leading axes.

    `first` and `second` are means over the `n` pairs used; the limits of first by second are
    Fieller's (NaN where the second mean is not clear of 0); `p` is that of the t test.
    """

    n: np.ndarray
    first: np.ndarray
    second: np.ndarray
    difference: np.ndarray
    low: np.ndarray
    high: np.ndarray
    ratio_low: np.ndarray
    ratio_high: np.ndarray
    p: np.ndarray


def t_quantile(probability: float, n: ArrayLike) -> np.ndarray:
    """Student's quantile for the mean of `n` values; NaN for fewer than two."""
    n = np.asarray(n)
    with np.errstate(invalid="ignore"):
        return stdtrit(np.where(n > 1, n - 1, np.nan), probability)


def t_p(t: ArrayLike, df: ArrayLike) -> np.ndarray:
    """Two-sided p value of Student's t with `df` degrees of freedom."""
    return 2 * stdtr(df, -np.abs(t))


def slope(x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Slope of the least-squares line through three points or more, and its two-sided p value."""
    of_x, of_xy, _, of_y = np.cov(x, y, bias=True).flat
    r = of_xy / math.sqrt(of_x * of_y) if of_x * of_y > 0 else 0.0
    r, df = min(max(r, -1.0), 1.0), len(x) - 2
    t = r * math.sqrt(df / ((1.0 - r + _TINY) * (1.0 + r + _TINY)))
    return float(of_xy / of_x), float(t_p(t, df))


def mean_interval(values: ArrayLike, level: float = 0.95) -> Mean:
    """Mean, standard deviation and error, and two-sided t interval."""
    x = np.asarray(values, dtype=float)
    n, mean, centred = _centred(x)
    with np.errstate(invalid="ignore", divide="ignore"):
        sd = np.where(n > 1, np.sqrt((centred**2).sum(axis=-1) / (n - 1)), np.nan)
        error = sd / np.sqrt(n)
        half = t_quantile(0.5 + level / 2, n) * error
    return Mean(n, mean, sd, error, mean - half, mean + half)


def paired(first: ArrayLike, second: ArrayLike, level: float = 0.95) -> Contrast:
    """Compare two arrays of one shape in pairs."""
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    both = np.isfinite(a) & np.isfinite(b)
    a, b = np.where(both, a, np.nan), np.where(both, b, np.nan)
    d = a - b
    change = mean_interval(d, level)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_a, mean_b, limits = _fieller(a, b, level)
    ends = change.low, change.high
    return Contrast(change.n, mean_a, mean_b, change.mean, *ends, *limits, _t_test(d, change))


def paired_p(differences: ArrayLike) -> np.ndarray:
    """Two-sided p value of the paired t test."""
    d = np.asarray(differences, dtype=float)
    return _t_test(d, mean_interval(d))


def sign_flip_p(differences: ArrayLike) -> np.ndarray:
    """Two-sided sign-flip permutation p value of the mean; exact up to 14 pairs, else 9999 flips.

    The flips are drawn from a fixed seed, so that a table is the same each time it is made.
    """
    d = np.asarray(differences, dtype=float)
    rows = d.reshape(math.prod(d.shape[:-1]), d.shape[-1])
    known = np.isfinite(rows)
    count = known.sum(axis=1)
    p = np.full(len(rows), np.nan)
    for n in np.unique(count[count > 1]):
        exact = n <= _EXACT_PAIRS
        if exact:
            bits = (np.arange(2**n)[:, None] >> np.arange(n)) & 1
        else:
            bits = np.random.default_rng(_SEED).integers(0, 2, size=(_FLIPS, n))
        signs = (2 * bits - 1).astype(float)
        alike = np.flatnonzero(count == n)
        for part in np.array_split(alike, 1 + len(alike) * len(signs) // _AT_ONCE):
            x = rows[part][known[part]].reshape(len(part), n).T
            # Sums equal but for rounding count as ties.
            least = np.abs(x.sum(axis=0)) - 1e-9 * np.abs(x).sum(axis=0)
            found = (np.abs(signs @ x) >= least).sum(axis=0)
            p[part] = found / len(signs) if exact else (found + 1) / (_FLIPS + 1)
    return p.reshape(d.shape[:-1])


def holm(p: ArrayLike) -> np.ndarray:
    """Step-down adjusted p values; NaN stays NaN and is no member of the family."""
    p = np.asarray(p, dtype=float)
    order = np.argsort(p, axis=-1, kind="stable")  # NaN last
    factors = np.isfinite(p).sum(axis=-1, keepdims=True) - np.arange(p.shape[-1])
    rising = np.maximum.accumulate(np.take_along_axis(p, order, axis=-1) * factors, axis=-1)
    adjusted = np.empty_like(p)
    np.put_along_axis(adjusted, order, np.minimum(rising, 1.0), axis=-1)
    return adjusted


def _centred(x: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """How many are known, their mean, and deviations from it (0 where missing)."""
    known = np.isfinite(x)
    n = known.sum(axis=-1)
    with np.errstate(invalid="ignore"):
        mean = np.where(known, x, 0.0).sum(axis=-1) / np.where(n > 0, n, np.nan)
    return n, mean, np.where(known, x - mean[..., None], 0.0)


def _fieller(
    a: np.ndarray, b: np.ndarray, level: float
) -> tuple[np.ndarray, np.ndarray, tuple[np.ndarray, np.ndarray]]:
    n, mean_a, from_a = _centred(a)
    _, mean_b, from_b = _centred(b)

    def covariance(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return (x * y).sum(axis=-1) / (n - 1)

    t2 = t_quantile(0.5 + level / 2, n) ** 2 / n
    square = mean_b**2 - t2 * covariance(from_b, from_b)
    square = np.where(square > 0, square, np.nan)
    middle = mean_a * mean_b - t2 * covariance(from_a, from_b)
    last = mean_a**2 - t2 * covariance(from_a, from_a)
    root = np.sqrt(np.maximum(middle**2 - square * last, 0.0))
    return mean_a, mean_b, ((middle - root) / square, (middle + root) / square)


def _t_test(d: np.ndarray, found: Mean) -> np.ndarray:
    largest = np.where(np.isfinite(d), np.abs(d), 0.0).max(axis=-1, initial=0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        p = t_p(found.mean / found.error, np.where(found.n > 1, found.n - 1, np.nan))
    # All differences equal: t is not defined; the sign-flip test still is, and depends on how
    # many there are alone.
    alike = (found.n > 1) & (found.error <= 1e-12 * largest)
    p = np.where(alike, 1.0, p)
    for n in np.unique(found.n[alike & (largest > 0)]):
        p[alike & (largest > 0) & (found.n == n)] = sign_flip_p(np.ones(n))
    return p
