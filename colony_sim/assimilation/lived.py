"""One possible colony: it lives the log to today, then goes on by the rules.

What is seen of it today are the contents of every bin; what is seen of the weeks to come are
harvests, stocks and the days on which something first happens.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from colony_sim.assimilation.onward import Course, take_over
from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_G, NG_PER_MG
from colony_sim.colony.binlog import Action
from colony_sim.colony.bins import Phase
from colony_sim.colony.framework import mesa
from colony_sim.colony.model import Colony
from colony_sim.logs.log_keeper import LogKeeper
from colony_sim.logs.replay import MOST_INSECTS, number_in
from colony_sim.logs.schedule import Schedule
from colony_sim.population import census
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONTENTS = (
    "eggs", "small_larvae", "medium_larvae", "large_larvae", "pupae", "beetles", "large_g",
    "larvae_g", "bran_g", "frass_g", "skins",
)  # fmt: skip
"""What is in a bin: counts, and grams. Small larvae fall through the sieve (`rack.small_mg`), large
ones are of harvest size (`harvest.smallest_mg`); skins are those that can be seen."""
FIRSTS = ("skins", "moisture", "harvest", "pupae", "free")
"""What first happens to a bin: skins to be seen enough of, moisture, a harvest, a pupa, free."""
WEEKS = 12
DAYS = 7 * WEEKS
BY_THE_RULES = Course()
NEVER = DAYS + 1
"""Stands for a day after the last week."""


def found(
    schedule: Schedule,
    parameters: Parameters,
    temperatures: np.ndarray,
    seed: int,
    keeper: type[LogKeeper] = LogKeeper,
) -> Colony:
    """A colony on day 0 of a log, which its keeper will follow.

    Parameters
    ----------
    schedule : Schedule
    parameters : Parameters
        As lived (`simulate.as_lived`).
    temperatures : float64 array
        Daily means (C), day 1 first, as far as the colony is to live.
    seed : int
        Run seed; also of the true numbers behind estimates of what came in.
    keeper : type of LogKeeper
        Who follows it.
    """
    bins = max(len(schedule.bins), parameters["rack.bins"], 2)
    parameters = parameters.with_values({"rack.bins": bins}, where="log")
    numbers = true_numbers(schedule, parameters, seed)
    chance = np.random.default_rng([seed, 2])
    make = partial(keeper, schedule=schedule, numbers=numbers, chance=chance)
    return Colony(parameters, temperatures, seed, 0, keeper=make)


def true_numbers(schedule: Schedule, parameters: Parameters, seed: int) -> dict[int, float]:
    """How many insects came in with each row, drawn about what is written.

    The draw of a row depends on its place among the rows that bring insects in, so that rows
    added later change nothing.
    """
    entries = [
        step.entry
        for day in sorted(schedule.steps)
        for step in schedule.steps[day]
        if step.what == "arrive"
    ]
    numbers = {}
    for place, entry in enumerate(entries):
        error = entry.relative_error("count" if entry.count is not None else "grams")
        factor = np.exp(error * np.random.default_rng([seed, 1, place]).standard_normal())
        numbers[entry.row] = max(1.0, number_in(entry, parameters) * factor)
    return numbers


def live_until(
    colony: Colony, day: int, each_day: Callable[[Colony], object] = lambda colony: None
) -> None:
    """Live until the evening of a day, or until there are more insects than any log comes from."""
    while colony.day < day and colony.insects.n <= MOST_INSECTS:
        colony.step()
        each_day(colony)


def end(colony: Colony) -> None:
    """Check the ledgers of a colony that is not needed any more.

    Raises
    ------
    RuntimeError
        A ledger does not close: a fault of the program.
    """
    # Mesa before 3.5 keeps every model it counted agents for.
    getattr(mesa.Agent, "_ids", {}).pop(colony, None)
    gaps = {name: gap for name, gap in colony.balance_errors().items() if gap}
    if gaps:
        raise RuntimeError(f"ledger does not close: {gaps}")


def shown(colony: Colony) -> np.ndarray:
    """What the rows of the log have shown (float64, shape (observed,)), without errors."""
    keeper = colony.keeper
    assert isinstance(keeper, LogKeeper)
    seen = keeper.seen.copy()
    if keeper.schedule.bran is not None:
        seen[keeper.schedule.bran] = keeper._bran_g
    return np.nan_to_num(seen, nan=0.0)


def contents(colony: Colony) -> np.ndarray:
    """What is in each bin, and on the tray in the last row (float64, slots x `CONTENTS`)."""
    insects, p = colony.insects, colony.parameters
    slots = colony.tray + 1
    stage, mass = insects.view("stage"), insects.view("mass")
    place = insects.view("bin")
    larva = stage == Stage.LARVA
    small = mass < round(p["rack.small_mg"] * NG_PER_MG)
    large = larva & (mass >= round(p["harvest.smallest_mg"] * NG_PER_MG))

    def count(which: np.ndarray) -> np.ndarray:
        return np.bincount(place[which], minlength=slots).astype(float)

    def grams(which: np.ndarray) -> np.ndarray:
        return np.bincount(place[which], mass[which], slots) / NG_PER_G

    stocks = colony.substrate
    return np.column_stack([
        count(stage == Stage.EGG), count(larva & small & ~large), count(larva & ~small & ~large),
        count(large), count(stage == Stage.PUPA), count(stage == Stage.ADULT), grams(large),
        grams(larva), *(
            stock / unit
            for stock, unit in (
                (stocks.bran, NG_PER_G), (stocks.frass, NG_PER_G), (stocks.visible_skins, 1.0),
            )
        ),
    ])  # fmt: skip


def uses(colony: Colony) -> np.ndarray:
    """What each bin is used for (float64, bins x 4): place among `Phase`, dates in and out, moist.

    Dates are days of the log, NaN where there is none.
    """
    phases = list(Phase)

    def day(date: int | None) -> float:
        return np.nan if date is None else float(date)

    return np.array([
        [phases.index(b.phase), day(b.date_in), day(b.date_out), float(b.moist)]
        for b in colony.bins
    ])  # fmt: skip


def large_g(colony: Colony) -> np.ndarray:
    """Grams of harvest size in each bin (float64, shape (bins,))."""
    insects = colony.insects
    least = round(colony.parameters["harvest.smallest_mg"] * NG_PER_MG)
    mass = insects.view("mass")
    which = (insects.view("stage") == Stage.LARVA) & (mass >= least)
    return np.bincount(insects.view("bin")[which], mass[which], colony.tray + 1)[:-1] / NG_PER_G


Ahead = Mapping[str, np.ndarray]
"""By name: `harvest_g` and `large_g` (weeks x bins): harvested in the week, standing at its end;
`firsts` (bins x `FIRSTS`): day from today, `NEVER` if none; `beetles` and `hatched` (weeks,):
breeders and beetles on the tray at the end of the week, eggs hatched in it; `move` (1,): day of the
first move."""


def live_on(
    colony: Colony,
    course: Course = BY_THE_RULES,
    each_day: Callable[[Colony], object] = lambda colony: None,
) -> Ahead:
    """Live the weeks to come by the rules.

    Parameters
    ----------
    colony : Colony
        On the evening of today.
    course : Course, optional
    each_day : callable, optional
    """
    today, bins, p = colony.day, len(colony.bins), colony.parameters
    take_over(colony, course)
    enough = max(1.0, p["moisture.visible_skins_per_dm2"] * p["rack.bin_area_dm2"])
    standing, beetles = np.zeros((WEEKS, bins)), np.zeros(WEEKS)
    hatched, harvest = np.zeros(WEEKS), np.zeros((WEEKS, bins))
    firsts = np.full((bins, len(FIRSTS)), float(NEVER))

    def look(colony: Colony) -> None:
        each_day(colony)
        day = colony.day - today
        week = (day - 1) // 7
        hatched[week] += colony.event_totals[Event.EGG_HATCHED]
        pupae = colony.table[:-1, census.PUPAE]
        for bin_ in colony.bins:
            seen = firsts[bin_.index]
            if bin_.phase is Phase.FREE:
                seen[4] = min(seen[4], day)
                continue
            if bin_.visible_skins >= enough:
                seen[0] = min(seen[0], day)
            if pupae[bin_.index] > 0:
                seen[3] = min(seen[3], day)
        if day % 7 == 0:
            standing[week] = large_g(colony)
            beetles[week] = colony.table[:, census.ADULTS].sum()

    live_until(colony, today + DAYS, look)
    moves = [NEVER]
    for day, label, action, *rest in colony.binlog.rows:
        after = day - today
        if action == Action.HARVEST:
            harvest[(after - 1) // 7, label - 1] += rest[6]
            firsts[label - 1, 2] = min(firsts[label - 1, 2], after)
        elif action == Action.MOISTURE_STARTED:
            firsts[label - 1, 1] = min(firsts[label - 1, 1], after)
        elif action == Action.BEETLES_IN:
            moves.append(after)
    return {
        "harvest_g": harvest, "large_g": standing, "firsts": firsts, "beetles": beetles,
        "hatched": hatched, "move": np.array([float(min(moves))]),
    }  # fmt: skip
