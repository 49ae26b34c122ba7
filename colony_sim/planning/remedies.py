"""What can be done about a plan that falls short: each remedy run on the same seeds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from colony_sim.planning.buying import in_words
from colony_sim.planning.candidates import Choice, Levels
from colony_sim.planning.chance import Share, share
from colony_sim.planning.cold import Warm
from colony_sim.planning.forecast import Case, Forecast, Forecaster, Seeds
from colony_sim.planning.wants import STRETCH_DAYS, Have, Want
from colony_sim.studies.points import mean_interval
from colony_sim.words.units import show

SMALLER_MG = 60.0
STORES = (2, 4)
"""Stretches of four weeks that larvae may be kept cool."""


@dataclass(frozen=True)
class Remedy:
    """Something to do, as a case, or as a way to use the harvest of the plan itself.

    Attributes
    ----------
    name : str
        What to do.
    note : str
        What it takes, or what is assumed.
    case : Case or None
        None: the plan's own runs.
    stored : int
        Stretches that larvae are kept for later.
    """

    name: str
    note: str
    case: Case | None
    stored: int = 0


def remedies(
    case: Case, choice: Choice, of: Levels, warm: Warm | None, bought: Case | None, start: date
) -> list[Remedy]:
    """What may help a case in its room.

    Parameters
    ----------
    case : Case
        Of the plan.
    choice, of
        Its levels.
    warm : Warm or None
        The room kept warm, where that is one to try.
    bought : Case or None
        With the beetles that are bought against its troughs.
    start : date
        Day 1.
    """
    found = []
    if warm is not None:
        note = "heating, thermostat; fire and power: follow the maker and local codes"
        found.append(Remedy(f"keep the room at {show(warm.floor, 'C')} or more", note, warm.case))
    if bought is not None:
        found.append(Remedy(in_words(bought.buys, start), "put to the other beetles", bought))
    keys = list(of)
    place = keys.index("harvest.fraction")
    if choice[place] > 0:
        part = of["harvest.fraction"][choice[place] - 1]
        values = {**case.values, "harvest.fraction": part}
        note = "all year: the model's keeper has one rule for every season"
        found.append(
            Remedy(
                f"keep back more: harvest {100 * part:.0f} %", note, replace(case, values=values)
            )
        )
    smaller = {**case.values, "harvest.smallest_mg": SMALLER_MG}
    note = "smaller larvae, so more of them to a gram"
    found.append(
        Remedy(f"harvest from {show(SMALLER_MG, 'mg')} on", note, replace(case, values=smaller))
    )
    for many in STORES:
        note = "harvest ahead; assumes that none is lost in store and none loses weight"
        weeks = many * STRETCH_DAYS // 7
        found.append(Remedy(f"keep surplus larvae cool up to {weeks} weeks", note, None, many))
    return found


def fed(forecast: Forecast, want: Want, stored: int = 0) -> np.ndarray:
    """Stretches in which what is wanted is there (bool, shape (runs, stretches)).

    What is over in a stretch may serve the next `stored` ones, the oldest first.
    """
    yields = forecast.stretch_yields(want.after_days % STRETCH_DAYS)
    skipped = want.after_days // STRETCH_DAYS
    rows = [_served(row, want.grams_per_day, stored) for row in yields]
    return np.array(rows, bool).reshape(len(rows), -1)[:, skipped:]


def _served(yields: Sequence[float], wanted: float, stored: int) -> list[bool]:
    stock: list[float] = []  # What is over, by stretch, the oldest first; at most `stored` old.
    met = []
    for grams in yields:
        need = wanted - grams
        if need <= 0:
            met.append(True)
            stock.append(-need)
        else:
            for i, left in enumerate(stock):
                used = min(left, need)
                stock[i], need = left - used, need - used
            # Rounding of sums must not starve anyone.
            met.append(need <= 1e-9 * wanted)
            stock.append(0.0)
        stock = stock[-stored:] if stored else []
    return met


def try_remedies(
    base: Forecast,
    found: Sequence[Remedy],
    want: Want,
    have: Have,
    forecaster: Forecaster,
    seeds: Seeds,
) -> pd.DataFrame:
    """Run the remedies on seeds of the base and hold them against it, pair by pair.

    Parameters
    ----------
    base : Forecast
        Of the plan, over the same seeds.

    Returns
    -------
    pandas.DataFrame
        Per remedy, best first: remedy, note, runs, fed_share (share of stretches fed, mean over
        runs), gain with gain_low and gain_high (that share minus the plan's, paired, 95 %),
        met and met_low, met_high (share of runs with every stretch fed within the minutes; exact
        interval), mean_g_per_day, in_time (share of runs within the minutes), minutes_per_week,
        helps (the interval of the gain is above 0). The first row is the plan itself.
    """
    ran = forecaster.run([remedy.case or base.case for remedy in found], seeds)
    before = fed(base, want).mean(axis=1)
    rows = [_row("the plan as it is", "", base, fed(base, want), before, want, have)]
    for remedy, forecast in zip(found, ran, strict=True):
        met = fed(forecast, want, remedy.stored)
        rows.append(_row(remedy.name, remedy.note, forecast, met, before, want, have))
    table = pd.DataFrame(rows)
    # Where none gives what is asked for, how few runs are fed throughout says little.
    enough = table["met"] >= want.probability
    order = (
        table.assign(enough=enough)
        .iloc[1:]
        .sort_values(["enough", "fed_share", "gain_low"], ascending=False, kind="stable")
    )
    return pd.concat([table.iloc[:1], order.drop(columns="enough")], ignore_index=True)


def _row(
    name: str, note: str, forecast: Forecast, met: np.ndarray, before: np.ndarray,
    want: Want, have: Have,
) -> dict[str, object]:  # fmt: skip
    here = met.mean(axis=1)
    every: Share = share(met.all(axis=1) & forecast.in_time(want, have))
    gain, _, low, high = mean_interval(here - before)
    return {
        "remedy": name,
        "note": note,
        "runs": forecast.runs,
        "fed_share": float(here.mean()),
        "gain": gain,
        "gain_low": low,
        "gain_high": high,
        "met": every.value,
        "met_low": every.low,
        "met_high": every.high,
        "mean_g_per_day": float(forecast.mean_yield(want.after_days).mean()),
        "in_time": float(forecast.in_time(want, have).mean()),
        "minutes_per_week": float(forecast.minutes(want.after_days).mean()),
        "helps": bool(low > 0),
    }
