"""Live a log again: the model's insects under the work that the keeper wrote down."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import cast

import numpy as np

from colony_sim.biology import growth
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import Scenario, live
from colony_sim.logs.log_keeper import SEEN_FROM_MG, LogKeeper
from colony_sim.logs.schedule import Schedule
from colony_sim.logs.words import Entry, LogAction

#: Colonies larger than this are given up; no log that counts by hand comes from one.
MOST_INSECTS = 2_000_000


def number_in(entry: Entry, parameters: Parameters) -> float:
    """How many insects a row brings in, as written; from their weight where they were weighed."""
    if entry.count is not None:
        return entry.count
    p = parameters
    if entry.action is LogAction.BEETLES_IN:
        each = p["larva.mature_mass_mg"] * p["pupa.mass_share"] * p["adult.mass_share"]
    else:
        clock = np.linspace(0.0, 1.0, 501)
        mass = np.asarray(growth.ideal_mass(p, clock))
        sieve = p["harvest.smallest_mg"]
        keep = {"small larvae": mass < sieve, "large larvae": mass >= sieve}.get(
            entry.stage, mass >= 0
        )
        each = float(mass[keep & (mass >= SEEN_FROM_MG)].mean())
    return 1000 * entry.given("grams") / each


def replay(
    schedule: Schedule,
    parameters: Parameters,
    temperatures: np.ndarray,
    seed: int,
    each_day: Callable[[int], object] | None = None,
) -> np.ndarray:
    """Live a log once; what its rows would have shown, without errors of counting.

    Parameters
    ----------
    schedule : Schedule
    parameters : Parameters
    temperatures : float64 array, shape (schedule.days or more,)
        Daily means (C), day 1 first.
    seed : int
        Run seed; also of the true numbers behind estimates of what came in.
    each_day : callable, optional
        Called with the number of each day after it is over.

    Returns
    -------
    float64 array, shape (observed,)
        In the units of `schedule.observed`.

    Raises
    ------
    RuntimeError
        A ledger does not close: a fault of the program.
    """
    chance = np.random.default_rng([seed, 1])
    numbers = {}
    for steps in schedule.steps.values():
        for step in steps:
            if step.what == "arrive":
                entry = step.entry
                error = entry.relative_error("count" if entry.count is not None else "grams")
                written = number_in(entry, parameters)
                numbers[entry.row] = max(1.0, written * np.exp(error * chance.standard_normal()))
    bins = max(len(schedule.bins), 2)
    scenario = Scenario(
        parameters.with_values({"rack.bins": bins}, where="log"),
        Climate("series", tuple(np.asarray(temperatures).tolist())),
        schedule.days,
        seed,
        breeders=0,
    )
    colony = live(
        scenario,
        partial(LogKeeper, schedule=schedule, numbers=numbers, chance=chance),
        [] if each_day is None else [lambda colony: each_day(colony.day)],
        over=lambda colony: colony.insects.n > MOST_INSECTS,
    )
    keeper = cast(LogKeeper, colony.keeper)
    if schedule.bran is not None:
        keeper.seen[schedule.bran] = keeper._bran_g
    return np.nan_to_num(keeper.seen, nan=0.0)
