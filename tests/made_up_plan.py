"""Made-up runs for plans: outcomes that follow a simple law, so that what is best is known."""

from __future__ import annotations

from datetime import date
from functools import cache

import numpy as np
import pandas as pd

from colony_sim.planning.measuring import WEEKLY_SUMS
from colony_sim.running.task import Task, TaskResult

FIRST_DAY = 100
GROWTH = 120
STAY = 140


def grams_per_day(parameters, temperatures: np.ndarray, seed: int) -> np.ndarray:
    """Half a gram a bin, less away from a harvest of 8 tenths; none at 15 C, all from 25 C on."""
    chance = np.random.default_rng(seed).normal(1.0, 0.02)
    level = 0.5 * parameters["rack.bins"] * (1 - abs(parameters["harvest.fraction"] - 0.8))
    warmth = np.clip((temperatures - 15.0) / 10.0, 0.0, 1.0)
    sums = np.concatenate([[0.0], np.cumsum(warmth)])
    day = np.arange(1, len(warmth) + 1)
    first = np.maximum(day - GROWTH, 0)
    past = (sums[day] - sums[first]) / (day - first)
    grams = level * chance * past
    grams[:FIRST_DAY] = 0.0
    return grams


def minutes_per_day(parameters) -> float:
    """A minute a bin, more where pupae are looked for, less where beetles move seldom."""
    looking = 1.0 if parameters["pupae.isolate"] else 0.0
    return parameters["rack.bins"] * (1.0 + looking) * 14 / parameters["rotation.interval_days"] / 2


def made_up(task: Task) -> TaskResult:
    """An outcome in the shape of ``PlanMeasuring.of_record``."""
    scenario, p = task.scenario, task.scenario.parameters
    days = scenario.days
    temperatures = scenario.climate.daily(days)
    grams = grams_per_day(p, temperatures, scenario.seed).round(4)
    bins = float(min(p["rack.bins"], STAY // p["rotation.interval_days"]))
    series = {
        "harvest_g": grams,
        "harvest_larvae": grams / 0.085,
        "bran_g": 3.0 * grams + 1.0,
        "moisture_g": np.full(days, p["moisture.growing_g_per_day"]),
        "minutes": np.full(days, minutes_per_day(p)),
        "bins": np.full(days, bins),
        "bins_most": np.full(days, bins),
        "breeders": np.full(days, float(scenario.breeders)),
        "temperature_c": temperatures,
    }
    weeks = {name: _by_week(name, values) for name, values in series.items()}
    months = _months(date.fromisoformat(task.measuring.start), days)
    every = p["rotation.interval_days"]
    fillings = [
        [day, day + 90, day + GROWTH, day + STAY if day + STAY <= days else None, 100.0]
        for day in range(0, days, every)
    ]
    outcome = {
        "died_out_day": None,
        "days": days,
        "weeks": weeks,
        "months": {name: np.bincount(months, series[name]).tolist() for name in WEEKLY_SUMS},
        "harvest": grams.tolist(),
        "first_pupa": 80,
        "first_own_beetle": 90,
        "first_harvest": FIRST_DAY + 1,
        "fillings": fillings,
    }
    return TaskResult(outcome, None, 0.1, 100.0)


def _by_week(name: str, values: np.ndarray) -> list[float]:
    starts = np.arange(0, len(values), 7)
    if name == "bins_most":
        return np.maximum.reduceat(values, starts).tolist()
    sums = np.add.reduceat(values, starts)
    counts = np.diff([*starts, len(values)])
    return (sums if name in WEEKLY_SUMS else sums / counts).tolist()


@cache
def _months(start: date, days: int) -> np.ndarray:
    dates = pd.date_range(start, periods=days)
    return (12 * (dates.year - start.year) + dates.month - start.month).to_numpy()
