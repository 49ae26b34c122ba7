"""How many bins are needed and why: growth time over rotation interval, held against the runs.

Little's law: the mean number in a system is the rate of arrival times the mean stay, L = lambda W
(Little 1961, Operations Research 9:383-387). A bin arrives when beetles go in and leaves when it
is emptied.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from colony_sim.planning.forecast import Case, Forecast
from colony_sim.studies.points import mean_interval

LONGEST_DAYS = 300
"""Days after the beetles left at which a bin is emptied at last, where room does not press."""


@dataclass(frozen=True)
class Bins:
    """Bins in use and where they come from, in steady running.

    Attributes
    ----------
    growth, growth_low, growth_high : float
        Days from beetles in to the harvest of 9 tenths of a filling, where no bin is emptied
        before it is spent: median and 80 % range over fillings.
    first, first_low, first_high : float
        Days from beetles in to the first harvest, likewise.
    stay, stay_low, stay_high : float
        Days from beetles in to the emptying of the bin, likewise.
    stay_mean : float
        Mean stay (d).
    fillings_per_day : float
        Bins that beetles go into a day, mean over runs.
    needed : float
        Bins that growth alone would occupy: fillings a day x median growth time.
    needed_low, needed_high : float
        The same with the ends of the range of the growth time.
    little : float
        Fillings a day x mean stay: what Little's law expects in use.
    used, used_low, used_high : float
        Bins in use in the runs, mean over days, with a 95 % interval over runs.
    gap, gap_low, gap_high : float
        `used` minus `little`, paired by run, with a 95 % interval.
    edge : float
        Bins that one filling more or less at an edge of the weeks counted makes: mean stay over
        days counted. The law holds to within about that in a run.
    most : int
        Most bins in use on any day after the start.
    full_weeks : float
        Share of weeks in which every bin that the plan uses was taken on some day (0 to 1).
    """

    growth: float
    growth_low: float
    growth_high: float
    first: float
    first_low: float
    first_high: float
    stay: float
    stay_low: float
    stay_high: float
    stay_mean: float
    fillings_per_day: float
    needed: float
    needed_low: float
    needed_high: float
    little: float
    used: float
    used_low: float
    used_high: float
    gap: float
    gap_low: float
    gap_high: float
    edge: float
    most: int
    full_weeks: float


def unhurried(case: Case) -> Case:
    """The same handling in a rack where no bin is emptied to make room, nor before it is spent.

    In a rack that is full, a bin's harvest ends when its room is needed, so that its time would
    tell of the rack and not of growth.
    """
    every = int(case.values["rotation.interval_days"])
    bins = int(case.values["rack.bins"])
    enough = bins + -(-LONGEST_DAYS // every)
    more = {"rack.bins": max(2 * bins, enough), "rack.clear_after_days": LONGEST_DAYS}
    return replace(case, values={**case.values, **more})


def bins_needed(forecast: Forecast, after_days: int, free: Forecast | None = None) -> Bins:
    """Growth times, stays and bins in use of a forecast in steady running.

    Growth times are those of `free`, runs of the `unhurried` case, if they are given.

    The law is taken over whole weeks between `after_days` and the end. Fillings that are in use
    within those weeks count with the days they are: the law then holds up to the edges, where
    stays begun before or ended after are cut.
    """
    first_week, last_week = -(-after_days // 7), forecast.days // 7
    begin, end = 7 * first_week, 7 * last_week
    growth, early = _growth_times(forecast if free is None else free, begin)
    stays, per_run = [], []
    for outcome in forecast.outcomes:
        begun, own = 0, []
        for day_in, _, _, out, _ in outcome["fillings"]:
            if begin < day_in <= end:
                begun += 1
            if out is not None and begin < out <= end and day_in >= 1:
                own.append(out - day_in)
        stays += own
        stay = float(np.mean(own)) if own else np.nan
        per_run.append((begun / (end - begin), stay))
    rates, means = np.array(per_run).T
    used = forecast.weeks("bins")[:, first_week:last_week].mean(axis=1)
    little = rates * means
    known = np.isfinite(little)
    gap = mean_interval((used - little)[known])
    mean_used = mean_interval(used)
    rate = float(rates.mean())
    spread = {"growth": _range(growth), "first": _range(early), "stay": _range(stays)}
    mid, low, high = spread["growth"]
    most = forecast.weeks("bins_most")[:, first_week:last_week]
    rack = float(forecast.case.values["rack.bins"])
    return Bins(
        **{
            f"{name}{end}": value
            for name, values in spread.items()
            for end, value in zip(("", "_low", "_high"), values, strict=True)
        },
        stay_mean=float(np.mean(stays)) if stays else np.nan,
        fillings_per_day=rate,
        needed=rate * mid,
        needed_low=rate * low,
        needed_high=rate * high,
        little=float(np.mean(little[known])) if known.any() else np.nan,
        used=mean_used[0],
        used_low=mean_used[2],
        used_high=mean_used[3],
        gap=gap[0],
        gap_low=gap[2],
        gap_high=gap[3],
        edge=float(np.mean(stays)) / (end - begin) if stays else np.nan,
        most=int(most.max()) if most.size else 0,
        full_weeks=float((most >= rack).mean()) if most.size else np.nan,
    )


def _growth_times(forecast: Forecast, begin: int) -> tuple[list[float], list[float]]:
    """Days to 9 tenths of the harvest and to its first, of fillings emptied after a day.

    The last fillings of a run are not over; they would tell of the quick ones only. So only
    fillings of the days before any that is still open count.
    """
    growth, early = [], []
    for outcome in forecast.outcomes:
        rows = [row for row in outcome["fillings"] if row[0] >= 1]
        still_open = min((row[0] for row in rows if row[3] is None), default=np.inf)
        for day_in, first, most, out, _ in rows:
            if most is not None and out is not None and out > begin and day_in < still_open:
                growth.append(most - day_in)
                early.append(first - day_in)
    return growth, early


def _range(values: list[float]) -> tuple[float, float, float]:
    if not values:
        return np.nan, np.nan, np.nan
    low, mid, high = np.quantile(np.asarray(values, float), [0.1, 0.5, 0.9])
    return float(mid), float(low), float(high)
