"""What one further measurement would settle: variance removed and value of information, by key.

Given runs at joint draws of uncertain keys, each with the difference D it came to, the first-order
share of a key is Var(E[D | key]) / Var(D): the share of the variance of D that knowing the key
would remove on average. It needs no runs besides those at hand (given-data estimation: Plischke,
Borgonovo & Smith 2013, Eur. J. Oper. Res. 226:536-550), holds where the draws of keys hang
together, and gives the expected value of partial perfect information (EVPPI) as well: Strong,
Oakley & Brennan (2014, Med. Decis. Making 34:311-326) estimate E[D | key] by the same regression.

* E[D | key] is a natural cubic spline in the key, fitted by least squares, with the cube root of
  the number of runs as degrees of freedom and knots at quantiles. What a curve of so many degrees
  explains of mere noise is taken off (adjusted R squared, Ezekiel 1930), so that a key without
  influence has an expected share of 0. Shares below 0 are left so. Where the values of a key are
  options without an order, E[D | key] is the mean of each option, with the same correction.
* Standard errors are from a bootstrap of the runs, the same for all keys, so that shares of two
  keys are compared on pairs. A key is said to narrow anything only if its p value by permutation of
  the differences, adjusted by Holm over the keys, is below 5 %.
* Chance of the single runs is part of D and of its variance; no measurement removes it.
* Expected value of partial perfect information on a key: E[max(0, E[D | key])] - max(0, E[D]), what
  better choices between the two policies would gain on average, in the unit of D. A curve through
  noise turns choices too, so this is above 0 on average even where a key tells nothing; a value
  that is not above those of permuted differences (5 %, Holm over the keys) is not told apart.
* How far such a value can be trusted with few runs and many keys, measured on a normal linear
  difference of mean m and SD 1 with 115 keys, of which one has a share of 0.25, one of 0.10 and one
  of 0.03 (120 sets; the true value is a unit normal loss integral). Mean estimates, and the share
  of the sets in which the key is told apart:

  ====  ===  ================  ================  ================  ================
  runs    m  share 0.25: true  estimate; told    share 0.10: true  estimate; told
  ====  ===  ================  ================  ================  ================
    64  0.0             0.199  0.152; 0.33                  0.126  0.073; 0.03
    64  0.3             0.084  0.087; 0.33                  0.029  0.032; 0.01
   128  0.0             0.199  0.158; 0.83                  0.126  0.081; 0.13
   128  0.3             0.084  0.077; 0.76                  0.029  0.023; 0.13
  ====  ===  ================  ================  ================  ================

  Estimates are too small where the choice is open (m = 0): the mean of the runs, which stands for
  what is known now, is on one side by chance. A value that is told apart is too large where few
  are: at m = 0.3 that of the first key was 0.135 then with 64 runs, 0.088 with 128. Keys without
  influence had 0.002 to 0.016, the largest of all of them 0.03 to 0.12, and one of them was told
  apart in 3 to 5 % of the sets.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from colony_sim.statistics.core import holm

LEVEL = 0.95
LEAST_RUNS = 12
"""Draws below which nothing is estimated."""
WORTH = 0.25
"""A share that is worth a measurement; for the number of runs that would show it."""
POWER = 0.8
_RESAMPLES, _SEED = 400, 20_014
_PERMUTATIONS = 1999
"""At least; more for many keys."""
_MOST_RUNS = 20_000
_AT_ONCE = 50_000
"""Resampled runs looked at together."""


@dataclass(frozen=True)
class Narrowing:
    """Expected narrowing of a difference.

    Attributes
    ----------
    runs : int
        Draws with a difference.
    mean, sd : float
        Of the difference over the draws, chance included.
    table : pandas.DataFrame
        One row per key, largest share first: key, share, share_se, share_low, share_high, p_holm,
        shown, range_now, range_after (width of the 95 % range of the difference over the draws,
        normal approximation), value, value_se (expected value of partial perfect information on
        the key, unit of the difference), value_p_holm (that permuted differences come to as much),
        told_apart (whether that is below 1 - level), turns
        (share of the draws at which knowing the key would turn the choice), level. Values are NaN
        with fewer than `LEAST_RUNS` draws.
    leading : tuple of str
        Keys shown to narrow it that the runs do not put behind the first of them; empty if none
        is shown.
    """

    runs: int
    mean: float
    sd: float
    table: pd.DataFrame
    leading: tuple[str, ...]

    @property
    def shown(self) -> tuple[str, ...]:
        """Keys that are shown to narrow the difference."""
        return tuple(self.table.loc[self.table["shown"], "key"])


def narrowing(
    keys: Sequence[str],
    draws: np.ndarray,
    differences: np.ndarray,
    level: float = LEVEL,
    options: Collection[str] = (),
) -> Narrowing:
    """Variance that knowing each key would remove, and the expected value of knowing it.

    Parameters
    ----------
    keys : sequence of str
        One a column of `draws`; columns of the same key are known together (E[D | key] is then the
        sum of a curve in each and a multiple of their product).
    draws : array, runs x columns
        Values of the keys; rows that are equal are one draw with several runs.
    differences : array, runs
        Result of each run, finite.
    level : float
        Of intervals and of the range.
    options : collection of str
        Keys whose values are numbers of options without an order.
    """
    draws, y = _one_row_a_draw(draws, differences)
    columns = [[i for i, each in enumerate(keys) if each == key] for key in dict.fromkeys(keys)]
    keys = list(dict.fromkeys(keys))
    n = len(y)
    mean = float(y.mean()) if n else math.nan
    sd = float(y.std(ddof=1)) if n > 1 else math.nan
    fits = []
    if n >= LEAST_RUNS and sd > 0:
        fits = [
            _Fit.of(draws[:, own], key in options) for key, own in zip(keys, columns, strict=True)
        ]
    z = float(scipy.stats.norm.ppf(0.5 + level / 2))
    rows, resampled = [], np.empty((0, 0))
    if fits:
        found = [_share_and_value(fit.frame[None], y[None])[:, 0] for fit in fits]
        estimates, values = np.array(found).T
        resampled, valued = _bootstrap(fits, y)
        errors = resampled.std(axis=1, ddof=1)
        permuted = _permuted(y, len(keys), level)
        found_p = zip(*(fit.p_values(permuted, mean) for fit in fits), strict=True)
        p, value_p = (holm(each) for each in found_p)
        for i, key in enumerate(keys):
            share = float(np.clip(estimates[i], 0.0, 1.0))
            rows.append({
                "key": key, "share": float(estimates[i]), "share_se": float(errors[i]),
                "share_low": max(float(estimates[i] - z * errors[i]), 0.0),
                "share_high": min(max(float(estimates[i] + z * errors[i]), 0.0), 1.0),
                "p_holm": float(p[i]), "shown": bool(p[i] < 1 - level),
                "range_now": 2 * z * sd, "range_after": 2 * z * sd * math.sqrt(1 - share),
                "value": float(values[i]), "value_se": float(valued[i].std(ddof=1)),
                "value_p_holm": float(value_p[i]), "told_apart": bool(value_p[i] < 1 - level),
                "turns": fits[i].turns(y), "level": level,
            })  # fmt: skip
    else:
        nothing = dict.fromkeys(
            ("share", "share_se", "share_low", "share_high", "p_holm"), math.nan
        )
        more: dict[str, object] = dict.fromkeys(
            ("range_after", "value", "value_se", "value_p_holm"), math.nan
        )
        more |= {"told_apart": False, "turns": math.nan, "level": level}
        rows = [
            {"key": key, **nothing, "shown": False, "range_now": 2 * z * sd, **more} for key in keys
        ]
    table = pd.DataFrame(rows)
    leading = _leading(list(keys), table, resampled, z) if fits else ()
    table = table.sort_values("share", ascending=False, kind="stable", ignore_index=True)
    return Narrowing(n, mean, sd, table, leading)


def runs_needed(keys: int, share: float = WORTH, level: float = LEVEL, power: float = POWER) -> int:
    """Draws that would show a key with this share with the given probability.

    From the power of the F test of its curve (noncentral F), at the level divided by the number of
    keys.
    """
    n = np.arange(LEAST_RUNS, _MOST_RUNS)
    df = _degrees(n)
    rest = n - df - 1
    critical = scipy.stats.f.ppf(1 - (1 - level) / keys, df, rest)
    enough = scipy.stats.ncf.sf(critical, df, rest, n * share / (1 - share)) >= power
    return int(n[np.argmax(enough)]) if enough.any() else _MOST_RUNS


def _degrees(n: np.ndarray | int) -> np.ndarray:
    return np.maximum(np.rint(np.cbrt(n)).astype(int), 1)


def _one_row_a_draw(draws: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distinct draws in order of appearance, and the mean result of each."""
    draws, values = np.asarray(draws, dtype=float), np.asarray(values, dtype=float)
    if not len(values):
        return draws, values
    _, first, place = np.unique(draws, axis=0, return_index=True, return_inverse=True)
    place = place.reshape(-1)
    means = np.bincount(place, weights=values) / np.bincount(place)
    order = np.argsort(first, kind="stable")
    return draws[first[order]], means[order]


@dataclass(frozen=True)
class _Fit:
    """A curve in one key, or means of its options: an orthonormal basis without the constant.

    The degrees of freedom are the same whether a key has one column or several.

    Empty for a constant key.
    """

    frame: np.ndarray

    @classmethod
    def of(cls, x: np.ndarray, options: bool = False) -> _Fit:
        n, columns = x.shape
        if options:
            basis = (x == np.unique(x)[1:]).astype(float)
        elif columns == 1:
            basis = _natural_spline(x[:, 0], int(_degrees(n)))
        else:
            each = max(1, (int(_degrees(n)) - 1) // columns)
            curves = [_natural_spline(column, each) for column in x.T]
            basis = np.column_stack([*curves, np.prod(x - x.mean(axis=0), axis=1)])
        basis = basis - basis.mean(axis=0)
        frame, rest = np.linalg.qr(basis)
        # A column that adds nothing to those before it would be one of mere rounding.
        own = np.abs(np.diag(rest))
        return cls(frame[:, own > 1e-9 * np.linalg.norm(basis, axis=0)[: own.size]])

    def turns(self, y: np.ndarray) -> float:
        """Share of the runs at which the curve has another sign than the mean."""
        _, curve = _curves(self.frame[None], y[None])
        return float((curve[0] * y.mean() < 0).mean())

    def p_values(self, sets: np.ndarray, mean: float) -> tuple[float, float]:
        """Of no influence, and of no value, by permutation of the results (`_permuted`)."""
        n = sets.shape[1]
        weights = sets @ self.frame
        explained = (weights**2).sum(axis=1)
        crude = np.clip(explained / (sets[0] ** 2).sum(), 0.0, 1.0)
        _, drawn_in = _adjusted(crude, n, self.frame.shape[1])
        curves = mean + drawn_in[:, None] * (weights @ self.frame.T)
        values = np.maximum(curves, 0.0).mean(axis=1) - max(mean, 0.0)
        # Sums of values that are nothing differ by rounding.
        values[np.abs(values) <= 1e-12 * np.abs(sets[0]).max()] = 0.0
        return _share_above(explained), _share_above(values)


def _permuted(y: np.ndarray, keys: int, level: float) -> np.ndarray:
    """Results less their mean, first themselves, then permuted; the same for all keys.

    The least p value is 1 over their number, and Holm multiplies it by the number of keys: with
    too few, no key at all could be shown.
    """
    times = max(_PERMUTATIONS, 2 * round(keys / (1 - level)) - 1)
    left = y - y.mean()
    rng = np.random.default_rng(_SEED)
    return np.vstack([left, rng.permuted(np.tile(left, (times, 1)), axis=1)])


def _share_above(found: np.ndarray) -> float:
    """p value of the first of some numbers by the others, those as large counted."""
    at_least = int((found[1:] >= found[0] * (1 - 1e-12)).sum())
    return (at_least + 1) / len(found)


def _adjusted(crude: np.ndarray, n: int, df: int) -> tuple[np.ndarray, np.ndarray]:
    """Adjusted R squared, and the factor that draws a curve in to explain no more than that."""
    adjusted = 1 - (1 - crude) * (n - 1) / max(n - df - 1, 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        drawn_in = np.where(crude > 0, np.sqrt(np.maximum(adjusted, 0.0) / crude), 0.0)
    return adjusted, drawn_in


def _curves(frames: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Adjusted R squared, and the curve drawn in so that its variance is not too large.

    `frames` of shape (sets, runs, df) and `y` of shape (sets, runs); one of each for every set.
    """
    _, n, df = frames.shape
    mean = y.mean(axis=1, keepdims=True)
    left = y - mean
    total = (left**2).sum(axis=1)
    if not df:
        return np.zeros(len(y)), np.broadcast_to(mean, y.shape)
    centred = frames - frames.mean(axis=1, keepdims=True)
    turned = centred.transpose(0, 2, 1)
    # A resampled set may hold too few different runs for all columns.
    weights = np.linalg.pinv(turned @ centred, hermitian=True) @ (turned @ left[:, :, None])
    curve = (centred @ weights)[:, :, 0]
    with np.errstate(invalid="ignore", divide="ignore"):
        crude = np.where(total > 0, (curve**2).sum(axis=1) / total, 0.0)
    adjusted, drawn_in = _adjusted(crude, n, df)
    return np.where(total > 0, adjusted, 0.0), mean + drawn_in[:, None] * curve


def _share_and_value(frames: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Share and value of every set, array of shape (2, sets)."""
    shares, curves = _curves(frames, y)
    gained = np.maximum(curves, 0).mean(axis=1) - np.maximum(curves.mean(axis=1), 0)
    return np.stack([shares, gained])


def _natural_spline(x: np.ndarray, df: int) -> np.ndarray:
    """Natural cubic spline basis without the constant, array of shape (n, at most df).

    Hastie, Tibshirani & Friedman 2009, The Elements of Statistical Learning, eq. 5.4-5.5.
    """
    span = np.ptp(x)
    if span == 0:
        return np.empty((len(x), 0))
    x = (x - x.min()) / span
    knots = np.unique(np.quantile(x, np.linspace(0, 1, df + 1)))
    columns = [x]
    last = knots[-1]

    def bend(knot: float) -> np.ndarray:
        return (np.maximum(x - knot, 0) ** 3 - np.maximum(x - last, 0) ** 3) / (last - knot)

    columns += [bend(knot) - bend(knots[-2]) for knot in knots[:-2]]
    return np.column_stack(columns)


def _bootstrap(fits: Sequence[_Fit], y: np.ndarray) -> np.ndarray:
    """Shares and values of resampled runs, array of shape (2, keys, resamples)."""
    rng = np.random.default_rng(_SEED)
    rows = rng.integers(0, len(y), size=(_RESAMPLES, len(y)))
    parts = np.array_split(rows, 1 + rows.size // _AT_ONCE)
    return np.stack(
        [
            np.concatenate([_share_and_value(fit.frame[part], y[part]) for part in parts], axis=1)
            for fit in fits
        ],
        axis=1,
    )


def _leading(
    keys: list[str], table: pd.DataFrame, resampled: np.ndarray, z: float
) -> tuple[str, ...]:
    """Shown keys whose share the runs do not put below the largest one, largest first."""
    shown = table[table["shown"]].sort_values("share", ascending=False, kind="stable")
    if shown.empty:
        return ()
    first = shown.index[0]
    kept = []
    for place, row in shown.iterrows():
        error = float((resampled[first] - resampled[place]).std(ddof=1))
        if table.loc[first, "share"] - row["share"] <= z * error:
            kept.append(keys[place])
    return tuple(kept)
