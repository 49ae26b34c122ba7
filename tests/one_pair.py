"""The statistics of pairs written out for one pair at a time, to hold the arrays against."""

import math

import numpy as np
from scipy import stats


def t_interval(values: np.ndarray, level: float = 0.95) -> tuple[float, float]:
    """Two-sided t interval of a mean; NaN limits with fewer than two values."""
    values = np.asarray(values, dtype=float)
    n = len(values)
    if n < 2:
        return math.nan, math.nan
    mean = float(values.mean())
    half = float(stats.t.ppf(0.5 + level / 2, n - 1) * values.std(ddof=1) / math.sqrt(n))
    return mean - half, mean + half


def fieller_interval(
    first: np.ndarray, second: np.ndarray, level: float = 0.95
) -> tuple[float, float]:
    """Fieller interval of mean(first) / mean(second), paired; NaN where it is unbounded."""
    n = len(first)
    if n < 2:
        return math.nan, math.nan
    t2 = float(stats.t.ppf(0.5 + level / 2, n - 1)) ** 2 / n
    cov = np.cov(first, second)
    p, b = float(np.mean(first)), float(np.mean(second))
    a = b * b - t2 * float(cov[1, 1])
    if a <= 0:
        return math.nan, math.nan
    middle = p * b - t2 * float(cov[0, 1])
    root = math.sqrt(max(middle * middle - a * (p * p - t2 * float(cov[0, 0])), 0.0))
    return (middle - root) / a, (middle + root) / a


def sign_flip_p(differences: np.ndarray) -> float:
    """Two-sided sign-flip permutation p value of the mean; exact up to 14 pairs, else 9999 flips.

    The flips are drawn from a fixed seed, so that a table is the same each time it is made.
    """
    d = np.asarray(differences, dtype=float)
    n = len(d)
    if n < 2:
        return math.nan
    exact = n <= 14
    if exact:
        bits = (np.arange(2**n)[:, None] >> np.arange(n)) & 1
    else:
        bits = np.random.default_rng(20_011).integers(0, 2, size=(9999, n))
    sums = np.abs((2 * bits - 1) @ d)
    # Sums equal but for rounding count as ties.
    at_least = int((sums >= abs(d.sum()) - 1e-9 * np.abs(d).sum()).sum())
    return at_least / 2**n if exact else (at_least + 1) / (9999 + 1)


def holm(p: np.ndarray) -> np.ndarray:
    """Holm step-down adjusted p values; NaN stays NaN and is no member of the family."""
    p = np.asarray(p, dtype=float)
    adjusted = np.full(len(p), np.nan)
    known = np.flatnonzero(np.isfinite(p))
    order = known[np.argsort(p[known], kind="stable")]
    factors = len(order) - np.arange(len(order))
    adjusted[order] = np.minimum(np.maximum.accumulate(p[order] * factors), 1.0)
    return adjusted


def t_test_p(d: np.ndarray) -> float:
    n = len(d)
    if n < 2:
        return math.nan
    error = float(d.std(ddof=1)) / math.sqrt(n)
    if error <= 1e-12 * float(np.abs(d).max()):
        # All differences equal: t is not defined; the sign-flip test still is.
        return sign_flip_p(d)
    return float(2 * stats.t.sf(abs(float(d.mean())) / error, n - 1))
