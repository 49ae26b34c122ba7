"""Warm-up and steady state of a daily series.

Warm-up is found by MSER-5 (White 1997, Simulation 69(6):323-334; Franklin & White 2008,
Proc. Winter Simulation Conference, 541-546): of all truncation points d of m batch means,
take the one with the least marginal standard error  sum_{i>d}(y_i - ybar_d)^2 / (m - d)^2,
searched in the first half only; a minimum at or after the half cuts the series at its half.
Whether what is left is steady is then for the drift check alone to say: MSER has no stated rate
of false alarms, and a few waves of one generation of beetles put its minimum late by chance.

Three things are added, because a colony is not a queue:

* Periodicity must never pass for warm-up. Handling comes in pulses, so a batch is a whole
  number of `smooth_period` days. Too few batches of a year fit in a run, so under a yearly
  wave each day is compared with the same day one season later, x[t] - x[t + season]: whatever
  shape the season has cancels, and MSER runs on what is left.
* A drift check after truncation: a run that still grows or dwindles is not settled. Over all
  series of a steady run it gives a false alarm in at most `FALSE_ALARMS` of runs (Bonferroni).
* A run in which the colony died out is its own state.

Batches are counted from the end of the series; days left over fall to the warm-up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from colony_sim.statistics.core import mean_interval, slope, t_p

BATCH_DAYS = 5
"""Least batch length (days), the 5 of MSER-5."""
LONGEST_BATCH = 60
"""Longest handling period (days); a longer one is a season unless 20 of it fit in the run."""
MIN_BATCHES = 20
"""Least number of batches; below it the MSER minimum lands on the half by chance too often."""
DRIFT_GROUPS = 8
"""Batches are pooled into at most this many groups, so that group means are nearly independent."""
FALSE_ALARMS = 0.05
"""Share of steady runs that the drift check may call unsettled, over all monitored columns."""
MONITORED = ("larvae_g", "adults", "harvest_g")
"""Columns of `RunRecord.daily` that must all be steady."""


@dataclass(frozen=True)
class SteadyState:
    """Verdict on one run.

    Attributes
    ----------
    status : 'settled', 'unsettled' or 'died_out'.
    warm_up_days : days at the start to leave out; the whole series unless settled.
    days_used : days in the steady window (0 unless settled).
    half_width : half-width of the t interval of the window's mean from batch means, in the
        unit of the series; NaN where not estimable.
    note : one plain sentence saying why.
    """

    status: Literal["settled", "unsettled", "died_out"]
    warm_up_days: int
    days_used: int
    half_width: float
    note: str


def mser(batches: np.ndarray) -> tuple[int, np.ndarray]:
    """MSER truncation point of batch means, and the statistic for d = 0 .. ceil(m/2).

    The first minimum counts. 2 d >= m means the minimum lies at or after the half.
    """
    y = np.asarray(batches, dtype=float)
    m = len(y)
    # Rounding noise of equal values must not choose the point.
    floor = (1e-12 * float(np.max(np.abs(y)))) ** 2
    statistic = np.empty((m + 1) // 2 + 1)
    for d in range(len(statistic)):
        variance = float(np.var(y[d:])) if d < m else math.inf
        statistic[d] = 0.0 if variance <= floor else variance / (m - d)
    return int(np.argmin(statistic)), statistic


def batch_length(smooth_period: int) -> int:
    """Least multiple of `smooth_period` (days) that is at least 5 days."""
    return smooth_period * math.ceil(BATCH_DAYS / smooth_period)


def common_period(intervals: Sequence[int], longest: int = LONGEST_BATCH) -> int:
    """A `smooth_period` (days) for handling at several intervals (days).

    Their least common multiple; where that is over `longest`, the largest interval, so that
    each other pulse is evened out to within one pulse per batch.
    """
    whole = [int(i) for i in intervals]
    if any(i < 1 for i in whole):
        raise ValueError("intervals must be whole days, 1 or more")
    multiple = math.lcm(*whole)
    return multiple if multiple <= longest else max(whole)


def find_steady_state(
    series: np.ndarray | pd.Series,
    *,
    smooth_period: int = 1,
    season_days: int | None = None,
    died_out_day: int | None = None,
    drift_level: float = FALSE_ALARMS,
    drift_tolerance: float = 0.02,
    level: float = 0.95,
) -> SteadyState:
    """Find warm-up and steady window of one daily series.

    Parameters
    ----------
    series : one value a day, finite, in any unit.
    smooth_period : days after which handling pulses repeat. A period over 60 days of which fewer
        than 20 fit is taken as `season_days`, where that is not given.
    season_days : days of a season (365 for a yearly wave). The window is then whole seasons,
        at least two, since one year alone cannot show that it would come again.
    died_out_day : day the colony died out, if it did.
    drift_level : false-alarm rate of the drift test (two-sided).
    drift_tolerance : a change over the window of less than this share of the mean is no drift.
    level : of the interval behind `half_width`.

    Raises
    ------
    ValueError : a period below one day, or a series not one-dimensional or not finite.
    """
    x = np.asarray(series, dtype=float)
    if x.ndim != 1 or not np.isfinite(x).all():
        raise ValueError("series must be one-dimensional and finite")
    if smooth_period < 1 or (season_days is not None and season_days < 2):
        raise ValueError("smooth_period must be 1 day or more, season_days 2 or more")
    n = len(x)
    if died_out_day is not None:
        note = f"The colony died out on day {died_out_day}."
        return SteadyState("died_out", n, 0, math.nan, note)
    few = n // batch_length(smooth_period) < MIN_BATCHES
    if season_days is None and few and smooth_period > LONGEST_BATCH:
        season_days, smooth_period = smooth_period, 1
    if season_days is None:
        return _by_batches(x, batch_length(smooth_period), drift_level, drift_tolerance, level)
    batch = batch_length(smooth_period)
    return _by_season(x, batch, season_days, drift_level, drift_tolerance, level)


def steady_state_of_run(
    daily: pd.DataFrame,
    died_out_day: int | None = None,
    *,
    monitored: Sequence[str] = MONITORED,
    smooth_period: int = 1,
    season_days: int | None = None,
    level: float = 0.95,
) -> SteadyState:
    """Steady state of a run: settled only where every monitored column is.

    The warm-up is the longest one. `FALSE_ALARMS` is shared among the columns (Bonferroni).
    `half_width` belongs to the first column, over its own window. A run that ends without an
    insect has died out even if no day was passed.

    Raises ValueError if `monitored` is empty, KeyError if a column is missing.
    """
    if not monitored:
        raise ValueError("at least one column must be monitored")
    stocks = ["eggs", "larvae", "pupae", "adults"]
    known = len(daily) > 0 and set(stocks) <= set(daily.columns)
    if died_out_day is None and known and not daily[stocks].iloc[-1].any():
        died_out_day = int(daily["day"].iloc[-1])
    found = {
        column: find_steady_state(
            daily[column],
            smooth_period=smooth_period,
            season_days=season_days,
            died_out_day=died_out_day,
            drift_level=FALSE_ALARMS / len(monitored),
            level=level,
        )
        for column in monitored
    }
    first = found[monitored[0]]
    if first.status == "died_out":
        return first
    failed = {c: s for c, s in found.items() if s.status == "unsettled"}
    if failed:
        notes = {s.note for s in failed.values()}
        note = (
            notes.pop()
            if len(notes) == 1
            else " ".join(f"{column}: {state.note}" for column, state in failed.items())
        )
        return _unsettled(len(daily), note)
    slowest = max(monitored, key=lambda c: found[c].warm_up_days)
    warm_up = found[slowest].warm_up_days
    used = len(daily) - warm_up
    note = f"Settled after day {warm_up} (last to settle: {slowest}); {used} days used."
    return SteadyState("settled", warm_up, used, first.half_width, note)


def _by_batches(
    x: np.ndarray, batch: int, drift_level: float, tolerance: float, level: float
) -> SteadyState:
    n = len(x)
    m = n // batch
    if m < MIN_BATCHES:
        need = MIN_BATCHES * batch
        return _unsettled(n, f"The run of {n} days is too short; at least {need} are needed.")
    means = _batch_means(x, batch)
    window = means[min(mser(means)[0], m // 2) :]
    groups, centres = _groups(window)
    rise, p = slope(centres, groups)
    change = rise * len(window)
    if _drifts(change, p, window, drift_level, tolerance):
        return _unsettled(n, _drift_note(change, float(window.mean()), "over the rest of the run"))
    used = len(window) * batch
    return _settled(n, used, _half_width(groups, level))


def _by_season(
    x: np.ndarray, batch: int, season: int, drift_level: float, tolerance: float, level: float
) -> SteadyState:
    n = len(x)
    # The start-up is never steady, so two whole seasons must fit behind the first days.
    if n < 2 * season or (n - season) // batch < MIN_BATCHES:
        need = max(2 * season, season + MIN_BATCHES * batch)
        return _unsettled(
            n, f"The run of {n} days is too short; at least {need} days and the warm-up are needed."
        )
    steps = _batch_means(x[:-season] - x[season:], batch)
    d = min(mser(steps)[0], len(steps) // 2)
    # Without warm-up the few days that fill no batch are no reason to lose a season.
    start = (n - season) % batch + d * batch if d else 0
    whole = (n - start) // season
    if whole < 2:
        note = f"Fewer than two whole seasons of {season} days remain after day {start}."
        return _unsettled(n, note)
    seasons = x[n - whole * season :].reshape(whole, season)
    # First against last seasons, day of season by day of season.
    half = whole // 2
    rise = seasons[-half:].mean(axis=0) - seasons[:half].mean(axis=0)
    groups = np.array([part.mean() for part in np.array_split(rise, DRIFT_GROUPS)])
    change = float(rise.mean())
    error = float(groups.std(ddof=1)) / math.sqrt(len(groups))
    p = float(t_p(groups.mean() / error, len(groups) - 1)) if error > 0 else 0.0
    if _drifts(change, p, seasons, drift_level, tolerance):
        note = _drift_note(change, float(seasons.mean()), "from its first to its last seasons")
        return _unsettled(n, note)
    return _settled(n, whole * season, _half_width(seasons.mean(axis=1), level))


def _batch_means(x: np.ndarray, batch: int) -> np.ndarray:
    return x[len(x) % batch :].reshape(-1, batch).mean(axis=1)


def _groups(window: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Means and mid-times (in batches) of a few groups of neighbouring batches."""
    parts = np.array_split(np.arange(len(window)), min(DRIFT_GROUPS, len(window)))
    return np.array([window[p].mean() for p in parts]), np.array([p.mean() for p in parts])


def _drifts(
    change: float, p: float, window: np.ndarray, drift_level: float, tolerance: float
) -> bool:
    rounding = 1e-9 * float(np.abs(window).max())
    material = abs(change) > max(tolerance * abs(float(window.mean())), rounding)
    return material and p < drift_level


def _drift_note(change: float, mean: float, span: str) -> str:
    verb = "growing" if change > 0 else "dwindling"
    size = f" by {abs(change / mean):.0%} of its mean" if mean else ""
    return f"The series is still {verb}{size} {span}."


def _half_width(groups: np.ndarray, level: float) -> float:
    found = mean_interval(groups, level)
    return float(found.high - found.mean)


def _settled(n: int, used: int, half_width: float) -> SteadyState:
    note = f"Settled after day {n - used}; {used} days used."
    return SteadyState("settled", n - used, used, half_width, note)


def _unsettled(n: int, note: str) -> SteadyState:
    return SteadyState("unsettled", n, 0, math.nan, note)
