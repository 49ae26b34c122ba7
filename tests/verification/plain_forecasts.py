"""Two forecasters that a keeper has without any model, from the numbers of the log alone.

One says that it will be as in the same week of the last cycle, the other draws a straight line
through the last numbers. Each says one number; `dressed` gives it the errors that it made of all
other racks, which is more than a keeper could know of them.
"""

from __future__ import annotations

import numpy as np

from colony_sim.logs.schedule import Schedule

LAST = 8
"""Numbers or weeks that the straight line is drawn through."""


class Plain:
    """What both say of one log.

    Parameters
    ----------
    schedule : Schedule
    written : float64 array, shape (observed,)
    today, cycle : int
        Day of today, and days of a cycle: bins times the interval of moves.
    """

    def __init__(self, schedule: Schedule, written: np.ndarray, today: int, cycle: int) -> None:
        self.schedule, self.written = schedule, written
        self.today, self.cycle = today, cycle

    def _numbers(self, action: str, unit: str) -> tuple[np.ndarray, np.ndarray]:
        places = [
            k
            for k, one in enumerate(self.schedule.observed)
            if one.entry.action == action
            and one.unit == unit
            and one.entry.stage in ("larvae", "large larvae", "beetles")
        ]
        days = np.array([self.schedule.observed[k].day for k in places], float)
        return days, self.written[places]

    def _line(self, days: np.ndarray, values: np.ndarray, at: np.ndarray) -> np.ndarray:
        if len(days) < 2 or np.ptp(days) == 0:
            return np.full(len(at), values.mean() if len(values) else 0.0)
        slope, level = np.polyfit(days, values, 1)
        return np.maximum(level + slope * at, 0.0)

    def harvests(self, weeks: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
        """Grams harvested from now to each of some weeks ahead, by cycle and by line."""
        days, grams = self._numbers("harvest", "grams")
        weekly = np.array(
            [
                grams[(days > self.today - 7 * k - 7) & (days <= self.today - 7 * k)].sum()
                for k in range(LAST)
            ]
        )
        line = self._line(-np.arange(LAST, dtype=float), weekly, np.arange(1.0, max(weeks) + 1))
        since = self.today - self.cycle
        cycle = [grams[(days > since) & (days <= since + 7 * week)].sum() for week in weeks]
        return np.array(cycle), np.cumsum(line)[np.array(weeks) - 1]

    def beetles(self) -> tuple[float, float]:
        """Beetles in the rack."""
        days, counts = self._numbers("beetles out", "count")
        return self._both(days, counts)

    def larvae(self, growing: int) -> tuple[float, float]:
        """Larvae in the rack: those of a bin that was counted, for each growing bin."""
        days, counts = self._numbers("count", "count")
        cycle, line = self._both(days, counts)
        return cycle * growing, line * growing

    def large(self) -> tuple[float, float]:
        """Grams of harvest size in the rack: what was harvested in two weeks."""
        cycle, line = self.harvests((2,))
        return float(cycle[0]), float(line[0])

    def _both(self, days: np.ndarray, values: np.ndarray) -> tuple[float, float]:
        if not len(days):
            return 0.0, 0.0
        nearest = np.argmin(np.abs(days - (self.today - self.cycle)))
        line = self._line(days[-LAST:], values[-LAST:], np.array([float(self.today)]))
        return float(values[nearest]), float(line[0])


def dressed(said: np.ndarray, truth: np.ndarray, row: int) -> np.ndarray:
    """Draws of a forecaster for one rack: what it says, with its errors of the other racks.

    Errors are differences of log(1 + x), as quantities span decades.
    """
    errors = np.delete(np.log1p(truth) - np.log1p(said), row)
    return np.expm1(np.maximum(np.log1p(said[row]) + errors, 0.0))
