"""The used numbers as data: the scale each is read on, its error, and made-up literatures.

A number is read on the scale on which studies differ evenly: the logarithm where its allowance is
a factor, else its own unit. Its error is the allowance of ``evidence/allowed.toml`` (taken as one
standard deviation of a study) times the world's factor for studies; numbers of one kind in one
study share half of its variance, as diet, room and counting move them together. A published range,
a word, and a range of individuals tell only between which bounds the number lies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from colony_sim.evidence.numbers import Compare, Number, allowances, numbers

#: Share of the variance between studies that numbers of one kind in one study have in common.
SHARED = 0.5
#: Below this share of the published number a number read on the logarithm counts as this much.
_LEAST = 0.01
#: Kinds whose allowance is a factor but whose numbers may be below zero.
_SIGNED = ("growth",)


@dataclass(frozen=True)
class Scale:
    """How a number is read.

    Attributes
    ----------
    log : bool
    shift : float
        Added before the logarithm.
    least : float
        Smaller sums count as this.
    error : float
        SD between studies on this scale, for a factor of 1.
    """

    log: bool
    shift: float
    least: float
    error: float

    def __call__(self, value: float | np.ndarray) -> np.ndarray:
        """A number, or numbers, on this scale; infinite stays infinite."""
        value = np.asarray(value, float)
        if not self.log:
            return value
        with np.errstate(invalid="ignore"):
            return np.log(np.maximum(value + self.shift, self.least))

    def back(self, value: float) -> float:
        """A number on this scale in its own unit."""
        return math.exp(value) - self.shift if self.log else value


def scale(number: Number) -> Scale:
    """The scale of a number."""
    allowance = allowances()[number.kind]
    middle = number.low if not math.isfinite(number.high) else number.high
    middle = abs(number.middle if math.isfinite(number.middle) else middle)
    factor = math.log(allowance.below * allowance.above) / 2.0
    if number.kind == "none":
        # None in a sample: what is read is how far from none, in units of that sample's size.
        return Scale(True, allowance.points, allowance.points / 2.0, math.log(2.0))
    if number.kind in _SIGNED:
        return Scale(False, 0.0, 0.0, factor * middle)
    if factor > 0.0 or (number.compare is Compare.WORDS and number.unit == "ratio"):
        return Scale(True, 0.0, _LEAST * (middle or 1.0), factor)
    return Scale(False, 0.0, 0.0, allowance.points)


@dataclass(frozen=True, eq=False)
class Literature:
    """Numbers between bounds, on their scales.

    Attributes
    ----------
    outputs : int array
        Which outputs of the bank they are.
    low, high : float arrays
        Bounds; equal for one value, infinite where only one side is told.
    """

    outputs: np.ndarray
    low: np.ndarray
    high: np.ndarray

    @property
    def points(self) -> np.ndarray:
        """Which have one value (bool array)."""
        return self.low == self.high


@cache
def numbers_of(outputs: tuple[str, ...]) -> tuple[Number, ...]:
    """The number of each output."""
    by_id = {number.id: number for number in numbers()}
    return tuple(by_id[name.partition("/")[0]] for name in outputs)


def on_scale(found: np.ndarray, outputs: tuple[str, ...]) -> np.ndarray:
    """Numbers (rows x outputs) on their scales."""
    of = map(scale, numbers_of(outputs))
    return np.column_stack([read(column) for read, column in zip(of, found.T, strict=True)])


def published(outputs: tuple[str, ...]) -> Literature:
    """The literature as it is, of some outputs."""
    low, high = np.array([_bounds(name) for name in outputs]).T
    return Literature(np.arange(len(low)), low, high)


def _bounds(name: str) -> tuple[float, float]:
    (number,) = numbers_of((name,))
    low, high = bounds(number)
    if number.compare is Compare.INDIVIDUALS:
        # The range holds the individuals, so its ends hold their ends.
        return (low, math.inf) if name.endswith("/low") else (-math.inf, high)
    return low, high


def bounds(number: Number) -> tuple[float, float]:
    """Ends of the published number on its scale; infinite where words tell one side only."""
    read = scale(number)
    nothing = number.low == 0.0 and number.compare is Compare.WORDS
    low = -math.inf if nothing else float(read(number.low))
    return low, float(read(number.high)) if math.isfinite(number.high) else math.inf


@cache
def covariance(outputs: tuple[str, ...]) -> np.ndarray:
    """Covariance of outputs between studies, for a factor of 1 (outputs x outputs)."""
    error = np.array([scale(number).error for number in numbers_of(outputs)])
    study = np.array([name.partition(".")[0] for name in outputs])
    kind = np.array([number.kind for number in numbers_of(outputs)])
    together = (study[:, None] == study) & (kind[:, None] == kind)
    return np.outer(error, error) * np.where(together, SHARED, 0.0) + np.diag(
        (1.0 - SHARED) * error**2
    )


def made_up(
    found: np.ndarray, outputs: tuple[str, ...], factor: float, rng: np.random.Generator
) -> Literature:
    """A literature from one row of a bank, told as the real one is told.

    Parameters
    ----------
    found : float64 array, shape (outputs,)
        Of the row, on their scales; those that are NaN are not published.
    outputs : tuple of str
    factor : float
        The world's factor for studies.
    rng : Generator
    """
    told = found + factor * rng.multivariate_normal(np.zeros(len(found)), covariance(outputs))
    real, compare = published(outputs), [number.compare for number in numbers_of(outputs)]
    low, high = told.copy(), told.copy()
    for k in np.flatnonzero(~real.points & np.isfinite(told)):
        a, b = real.low[k], real.high[k]
        if math.isfinite(a) and math.isfinite(b) and compare[k] is not Compare.WORDS:
            # A range as wide as the real one, laid without regard to the number.
            first = a + (b - a) * rng.random()
            low[k] = first + (b - a) * math.floor((told[k] - first) / (b - a))
            high[k] = low[k] + (b - a)
        else:
            ends = np.array([-math.inf, a, b, math.inf])
            at = int(np.searchsorted(ends[1:3], told[k]))
            low[k], high[k] = ends[at], ends[at + 1]
    kept = np.flatnonzero(np.isfinite(told))
    return Literature(kept, low[kept], high[kept])
