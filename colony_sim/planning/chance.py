"""How sure a plan is: shares of runs with exact intervals, and bounds for the next run."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy

from colony_sim.statistics.core import t_quantile

LEVEL = 0.95
LOW, HIGH = 0.1, 0.9
"""Ends of the 80 % range over runs."""


@dataclass(frozen=True)
class Share:
    """Runs that met something, of how many, with an exact two-sided interval.

    Clopper & Pearson 1934, Biometrika 26:404-413.
    """

    met: int
    runs: int
    level: float = LEVEL

    @property
    def value(self) -> float:
        """The share counted."""
        return self.met / self.runs if self.runs else math.nan

    @property
    def low(self) -> float:
        """Lower limit of the probability."""
        if self.met == 0:
            return 0.0
        return float(scipy.stats.beta.ppf((1 - self.level) / 2, self.met, self.runs - self.met + 1))

    @property
    def high(self) -> float:
        """Upper limit of the probability."""
        if self.met == self.runs:
            return 1.0
        return float(scipy.stats.beta.ppf((1 + self.level) / 2, self.met + 1, self.runs - self.met))

    def against(self, probability: float) -> str:
        """What the runs say: "shown" or "not met" where the interval is clear, else "open"."""
        if self.low >= probability:
            return "shown"
        return "not met" if self.high < probability else "open"


def share(met: np.ndarray) -> Share:
    """Share of runs in which a condition (bool, shape (runs,)) holds."""
    return Share(int(np.count_nonzero(met)), len(met))


def next_run(values: np.ndarray, probability: float) -> float:
    """What the next run reaches with this probability, by a normal law with unknown mean and SD.

    The lower prediction bound  mean - t sd sqrt(1 + 1/n)  (Hahn & Meeker 1991, Statistical
    Intervals, ch. 4; from memory). One value alone is its own bound.
    """
    x = np.asarray(values, dtype=float)
    if len(x) < 2:
        return float(x[0])
    t = float(t_quantile(probability, len(x)))
    return float(x.mean() - t * x.std(ddof=1) * math.sqrt(1 + 1 / len(x)))


def within_reach(sure: np.ndarray, probability: float) -> float:
    """The most that at least this share of the runs reaches: an order statistic of `sure`."""
    ordered = np.sort(np.asarray(sure, dtype=float))[::-1]
    needed = math.ceil(probability * len(ordered) - 1e-9)
    return float(ordered[max(needed, 1) - 1])


def reach_limits(sure: np.ndarray, probability: float, level: float = LEVEL) -> tuple[float, float]:
    """Interval for what is reached with this probability, free of any law, from order statistics.

    Ranks from the binomial law (Thompson 1936, Ann. Math. Statist. 7:122; from memory); where
    the runs are too few for a limit it is 0 or infinite.
    """
    x = np.sort(np.asarray(sure, dtype=float))
    n, below = len(x), 1 - probability
    first = int(scipy.stats.binom.ppf((1 - level) / 2, n, below))  # x[first - 1] is below it
    last = int(scipy.stats.binom.ppf((1 + level) / 2, n, below)) + 1
    low = float(x[first - 1]) if first >= 1 else 0.0
    high = float(x[last - 1]) if last <= n else math.inf
    return low, high


def middle(values: np.ndarray, axis: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Median and the ends of the 80 % range over runs."""
    low, mid, high = np.quantile(np.asarray(values, float), [LOW, 0.5, HIGH], axis=axis)
    return mid, low, high


def middle_of_days(days: list[int | None]) -> tuple[float, float, float]:
    """Median and 80 % range of days, of which some never came (None: later than any).

    An end of the range is a day of a run (no mean of a day and of never); infinite if it never
    came.
    """
    x = np.array([math.inf if day is None else float(day) for day in days])
    low, mid, high = np.quantile(x, [LOW, 0.5, HIGH], method="inverted_cdf")
    return float(mid), float(low), float(high)
