"""Can a possible colony have written this log? And if not, which bin and which weeks stick out?

The numbers of a log are compared with those of the members nearest to it, by the precision matrix
of their features (shrunk towards equal variances, as Ledoit and Wolf 2004, J. Multivar. Anal.
88:365, with a fixed share). A number sticks out by how far it is from what all other numbers of the
log let expect, in its own standard deviations: the residual of a Gaussian conditional distribution.
Two distances of the log, of all numbers together and of the bin that sticks out most, are ranked
among those of the members, each taken as a log with itself left out, so that the false-alarm rate
is as stated whatever the distribution. A third is ranked among those of all members, near or not:
what regressions on the log say of the values behind it (learned summaries: Fearnhead and Prangle
2012, J. R. Stat. Soc. B 74:419), from the nearest of what they say of members, which is far where
no member has such values. What each sees: ``python -m tests.verification calibration``.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import cdist

from colony_sim.assimilation.conditioning import Nearness, Scale
from colony_sim.assimilation.values import Values
from colony_sim.logs.schedule import Schedule
from colony_sim.logs.words import LogAction

DOUBT = 0.01
"""Below this the log is said to be none that a possible colony writes."""
_SHRINK = 0.2
_SUMMARIES, _NEIGHBOURS = 20, 20
"""For the values read from a log; 6 to 20 summaries and 5 to 20 neighbours saw as much."""
_FILLS = (LogAction.BEETLES_IN, LogAction.LARVAE_IN)


@dataclass(frozen=True)
class Use:
    """One use of a bin, from its filling to the next.

    Attributes
    ----------
    bin : str
    since : datetime.date
        Of its first number that sticks out.
    until : datetime.date
        Of its last number.
    places : tuple of int
        Of its numbers among `Schedule.observed`.
    """

    bin: str
    since: datetime.date
    until: datetime.date
    places: tuple[int, ...]


@dataclass(frozen=True)
class Misfit:
    """A log beside the members nearest to it.

    Attributes
    ----------
    p : float
        How often a member's own log is as far off, by the worse of two standardised distances of
        numbers. Where the values are judged as well, the smaller of this and of theirs with Sidak's
        correction (1967, J. Am. Stat. Assoc. 62:626).
    p_total, p_use, p_values : float
        Of all numbers together, of the use of a bin that sticks out most, and of the values that
        are read from it.
    residuals : float64 array, shape (observed,)
        How far each number is from what the others let expect, in standard deviations.
    strange : tuple of Use
        Uses that stick out further than the most of 19 members in 20 does, the worst first.
    """

    p: float
    p_total: float
    p_use: float
    p_values: float | None
    residuals: np.ndarray
    strange: tuple[Use, ...]

    @property
    def doubtful(self) -> bool:
        """Whether the log cannot be explained."""
        return self.p < DOUBT


def uses(schedule: Schedule) -> list[tuple[str, tuple[int, ...]]]:
    """Numbers of the log by the use of a bin that they belong to."""
    fills: dict[str, list[int]] = {}
    for day in sorted(schedule.steps):
        for step in schedule.steps[day]:
            filled = {step.slot} if step.entry.action in _FILLS else set()
            if step.what == "put in":
                filled = {slot for slot, _, _ in step.targets}
            for slot in filled:
                fills.setdefault(schedule.bins[slot], []).append(day)
    groups: dict[tuple[str, int], list[int]] = {}
    for place, one in enumerate(schedule.observed):
        if place == schedule.bran or one.entry.bin not in fills:
            continue
        number = sum(day <= one.day for day in fills[one.entry.bin])
        groups.setdefault((one.entry.bin, number), []).append(place)
    return [(name, tuple(places)) for (name, _), places in groups.items()]


def misfit(
    schedule: Schedule, features: np.ndarray, log: np.ndarray, p_values: float | None = None
) -> Misfit | None:
    """Judge a log; None where it has too few numbers.

    Parameters
    ----------
    schedule : Schedule
    features : float64 array, shape (members, features)
        Of the members nearest to it; the first columns are those of `Schedule.observed`.
    log : float64 array, shape (features,)
    p_values : float, optional
        See `rank_of_values`. It sees values that no member has, at the cost of half the sight of
        what is not written down (a tub of larvae: 34 instead of 72 of 100), so that a fit asks for
        it and the state of a rack does not.
    """
    observed = len(schedule.observed)
    groups = uses(schedule)
    if observed < 3 or not groups or len(features) < 20:
        return None
    table = features[:, :observed]
    scale = Scale.of(table)
    table, mine = scale(table), scale(log[:observed])
    mine_residuals = _residuals(table, mine)
    squares = np.vstack([_left_out(table), mine_residuals]) ** 2
    total = np.log(np.mean(squares, axis=1) + 1e-12)
    by_use = np.column_stack([
        np.log(np.mean(squares[:, list(places)], axis=1) + 1e-12)
        for _, places in groups
    ])  # fmt: skip
    middle, spread = by_use[:-1].mean(axis=0), by_use[:-1].std(axis=0)
    far = (by_use - middle) / np.maximum(spread, 1e-9)
    worst = far.max(axis=1)
    p_total, p_use = _rank(total), _rank(worst)
    both = np.column_stack([total, worst])
    both = (both - both[:-1].mean(axis=0)) / np.maximum(both[:-1].std(axis=0), 1e-9)
    limit = np.quantile(worst[:-1], 0.95)
    order = [k for k in np.argsort(-far[-1]) if far[-1, k] > limit]
    strange = tuple(_use(schedule, groups[int(k)], mine_residuals) for k in order)
    p = _rank(both.max(axis=1))
    if p_values is not None:
        p = 1 - (1 - min(p, p_values)) ** 2
    return Misfit(p, p_total, p_use, p_values, mine_residuals, strange)


def rank_of_values(features: np.ndarray, log: np.ndarray, values: Values) -> float:
    """How often a member is as far from the nearest others in what is read from its log.

    Parameters
    ----------
    features : float64 array, shape (members, features)
        Of all members.
    log : float64 array, shape (features,)
    values : Values
        Of the same members.
    """
    if len(features) <= _NEIGHBOURS or features.shape[1] == 0:
        return 1.0
    nearness = Nearness.learn(features, values.targets(), _SUMMARIES)
    places = nearness.places
    own = cdist(places, places)
    np.fill_diagonal(own, np.inf)
    far = np.append(np.sort(own, axis=1)[:, _NEIGHBOURS - 1],
                    np.sort(nearness.distances(log))[_NEIGHBOURS - 1])  # fmt: skip
    return _rank(far)


def _residuals(table: np.ndarray, row: np.ndarray) -> np.ndarray:
    """How far each number of a row is from what the others let expect."""
    mean = table.mean(axis=0)
    about = table - mean
    covariance = (1 - _SHRINK) * about.T @ about / len(table)
    covariance[np.diag_indices_from(covariance)] += _SHRINK
    precision = np.linalg.inv(covariance)
    found: np.ndarray = precision @ (row - mean) / np.sqrt(np.diag(precision))
    return found


def _left_out(table: np.ndarray) -> np.ndarray:
    """`_residuals` of each row, of the table without it, by Sherman and Morrison's formula."""
    rows = len(table)
    about = table - table.mean(axis=0)
    one = (1 - _SHRINK) * rows / (rows - 1)
    covariance = one * about.T @ about / rows
    covariance[np.diag_indices_from(covariance)] += _SHRINK
    precision = np.linalg.inv(covariance)
    turned = about @ precision
    rest = 1 - one / (rows - 1) * (turned * about).sum(axis=1, keepdims=True)
    own = np.diag(precision) + one / (rows - 1) * turned**2 / rest
    found: np.ndarray = rows / (rows - 1) * turned / rest / np.sqrt(own)
    return found


def _rank(values: np.ndarray) -> float:
    """How often one of the values is as large as the last, itself counted."""
    return float(np.mean(values >= values[-1]))


def _use(schedule: Schedule, group: tuple[str, tuple[int, ...]], residuals: np.ndarray) -> Use:
    name, places = group
    far = [place for place in places if abs(residuals[place]) > 1.0] or list(places)
    dates = [schedule.observed[place].entry.date for place in places]
    since = min(schedule.observed[place].entry.date for place in far)
    return Use(name, since, max(dates), places)
