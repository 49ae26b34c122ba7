"""What is short and by how much: each limit is loosened in turn until the want would be met.

Warmth is no limit here: `cold.warm_room` finds the one temperature that a plan speaks of.

The runs of a limit are over the same seeds as the plan's fresh ones, and the handling is one of
the best that the search found, so a limit that is told is one that suffices for it; a better
handling might need less. A limit is found by bisection: more of it is taken to be no worse. Where
more seeds do not bear it out, it is raised step by step until they do.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from colony_sim.biology.parameters import Value
from colony_sim.planning.chance import next_run, reach_limits, share, within_reach
from colony_sim.planning.choose import Chosen, Tried, lacking, rank
from colony_sim.planning.forecast import Case, Forecast, Forecaster, Seeds
from colony_sim.planning.wants import Have, Want

MOST_BINS, MANY_BINS = 3, 20
"""Times the bins there that are tried at most: 3, and 2 where there are more than `MANY_BINS`."""
MOST_BEETLES = 4
HANDLINGS = 2
STEPS = 8
"""Steps at least from what is there to the most that is tried."""


@dataclass(frozen=True)
class Reach:
    """What the plan gives with the probability asked for.

    Attributes
    ----------
    grams, low, high : float
        Harvest of the poorest stretch (g a day) that the share of runs reaches, with a 95 %
        interval (infinite where the runs are too few for a limit).
    lack : float
        What is wanted minus that; 0 or less where it is met.
    """

    grams: float
    low: float
    high: float
    lack: float


@dataclass(frozen=True)
class Limit:
    """One way to loosen the limits.

    Attributes
    ----------
    key, unit : str
    there : float
        What there is.
    tried : float
        The most that was tried.
    """

    key: str
    unit: str
    there: float
    tried: float


def reach(forecast: Forecast, want: Want) -> Reach:
    """What a forecast gives with the probability asked for."""
    sure = forecast.sure(want.after_days)
    grams = within_reach(sure, want.probability)
    low, high = reach_limits(sure, want.probability)
    return Reach(grams, low, high, want.grams_per_day - grams)


def shortfalls(
    chosen: Chosen, want: Want, have: Have, forecaster: Forecaster, few: Seeds, many: Seeds
) -> pd.DataFrame:
    """Loosen bins, beetles to start with and minutes in turn.

    Parameters
    ----------
    chosen : Chosen
        Of the search, for the handlings to try.
    few, many : sequence of (int, int)
        Seeds to search with, and to tell the share of runs with.

    Returns
    -------
    pandas.DataFrame
        Per limit: limit, unit, there, needed (missing if nothing up to `tried` does), tried,
        runs, met with met_low and met_high at `needed` (at `tried` if that does not do), in_time
        (share of runs within the minutes), minutes_per_week and sure_g_per_day there, handling
        (keys that differ from the plan's).
    """
    cases = _handlings(chosen, want, have)
    rows = []

    def search(limit: Limit, at: Callable[[Case, float], Case], step: float) -> None:
        promise, best = _first_that_promises(
            cases, lambda case: at(case, limit.tried), want, have, forecaster, few
        )
        needed = None
        if promise:
            needed = bisect(
                limit.there, limit.tried, step,
                lambda amount: lacking(
                    forecaster.run([at(best, amount)], few)[0], want, have
                ) == 0,
            )  # fmt: skip
        amount = limit.tried if needed is None else needed
        forecast = forecaster.run([at(best, amount)], many)[0]
        # The few seeds may have flattered it.
        rise = step
        while needed is not None and share(forecast.met(want, have)).value < want.probability:
            needed = None if amount >= limit.tried else min(amount + rise, limit.tried)
            amount, rise = limit.tried if needed is None else needed, 2 * rise
            forecast = forecaster.run([at(best, amount)], many)[0]
        rows.append(_row(limit, needed, forecast, want, have, chosen))

    most = have.bins * (MOST_BINS if have.bins <= MANY_BINS else 2)
    search(
        Limit("bins", "bins", have.bins, most),
        lambda case, bins: _with(case, "rack.bins", int(bins)),
        max(1.0, (most - have.bins) // STEPS),
    )
    if have.breeders:
        most = MOST_BEETLES * have.breeders
        search(
            Limit("beetles to start with", "beetles", have.breeders, most),
            lambda case, count: _with(case, "start.breeders", round(count)),
            max(1.0, (most - have.breeders) / STEPS),
        )
    if have.minutes_per_week is not None:
        free = replace(have, minutes_per_week=None)
        rows.append(_minutes(chosen, want, free, have.minutes_per_week, forecaster, many))
    # With none that is enough the column would be one of nothing.
    return pd.DataFrame(rows).astype({"needed": float})


def bisect(there: float, tried: float, step: float, enough: Callable[[float], bool]) -> float:
    """Least amount (to within `step`) that is enough; `tried` is, `there` is not.

    Amounts are whole multiples of `step` above `there`.
    """
    low, high = 0, round((tried - there) / step)
    while high - low > 1:
        at = (low + high) // 2
        if enough(there + at * step):
            high = at
        else:
            low = at
    return there + high * step


def _handlings(chosen: Chosen, want: Want, have: Have) -> list[Case]:
    """The best of the search, the best that spreads beetles over more bins, and less work."""
    order = sorted(chosen.tried, key=lambda t: (*rank(t.forecast, want, have), t.choice))
    # A handling that is over the minutes may be what another limit needs.
    free = replace(have, minutes_per_week=None)
    by_yield = sorted(chosen.tried, key=lambda t: (*rank(t.forecast, want, free), t.choice))
    split = [t for t in by_yield if t.forecast.case.values["rotation.surplus"] == "split"]
    picked = [t.forecast.case for t in (*order[:1], *by_yield[:1], *split[:1], *order[1:])]
    if have.minutes_per_week is not None:
        # With more of a limit there is more to harvest, so the same rules take more work.
        picked.insert(1, _with(picked[0], "pupae.isolate", False))
    found: list[Case] = []
    for case in picked:
        if case not in found:
            found.append(case)
    return found[:HANDLINGS]


def _first_that_promises(
    cases: Sequence[Case], at: Callable[[Case], Case], want: Want, have: Have,
    forecaster: Forecaster, seeds: Seeds,
) -> tuple[bool, Case]:  # fmt: skip
    ran = forecaster.run([at(case) for case in cases], seeds)
    best = min(range(len(ran)), key=lambda i: (*rank(ran[i], want, have), i))
    return lacking(ran[best], want, have) == 0, cases[best]


def _with(case: Case, key: str, value: Value) -> Case:
    return replace(case, values={**case.values, key: value})


def _minutes(
    chosen: Chosen, want: Want, free: Have, there: float, forecaster: Forecaster, seeds: Seeds
) -> dict[str, object]:
    """Least minutes of the candidates tried that give the grams, whatever the minutes."""
    p = want.probability

    def needs(tried: Tried) -> float:
        return -next_run(-tried.forecast.minutes(want.after_days), p)

    enough = [t for t in chosen.tried if lacking(t.forecast, want, free) == 0]
    best = (
        min(enough, key=lambda t: (needs(t), t.choice))
        if enough
        else min(chosen.tried, key=lambda t: (*rank(t.forecast, want, free), t.choice))
    )
    forecast = forecaster.run([best.forecast.case], seeds)[0]
    most = max(needs(tried) for tried in chosen.tried)
    limit = Limit("minutes", "minutes a week", float(there), float(most))
    minutes = -next_run(-forecast.minutes(want.after_days), p)
    # The few seeds of the search may have flattered it.
    borne_out = share(forecast.met(want, free)).value >= p
    needed = float(minutes) if enough and borne_out else None
    return _row(limit, needed, forecast, want, free, chosen)


def _row(
    limit: Limit, needed: float | None, forecast: Forecast, want: Want, have: Have, chosen: Chosen
) -> dict[str, object]:
    met = share(forecast.met(want, have))
    own = chosen.forecast.case.values
    other = {key: v for key, v in forecast.case.values.items() if own.get(key) != v}
    return {
        "limit": limit.key,
        "unit": limit.unit,
        "there": float(limit.there),
        "needed": needed,
        "tried": float(limit.tried),
        "runs": met.runs,
        "met": met.value,
        "met_low": met.low,
        "met_high": met.high,
        "in_time": float(forecast.in_time(want, have).mean()),
        "minutes_per_week": float(forecast.minutes(want.after_days).mean()),
        "sure_g_per_day": within_reach(forecast.sure(want.after_days), want.probability),
        "handling": ", ".join(f"{key} {value}" for key, value in other.items()),
    }
