"""How many runs a plan takes in all, by what is known so far: for the time that is left."""

from __future__ import annotations

import math
from typing import NamedTuple

from colony_sim.biology.climate import Climate
from colony_sim.planning import room
from colony_sim.planning.choose import Effort
from colony_sim.planning.cold import WARM_C
from colony_sim.planning.forecast import cost_of
from colony_sim.planning.log_members import PER_KEPT
from colony_sim.planning.request import Request
from colony_sim.planning.shortfall import HANDLINGS
from colony_sim.running import pace
from colony_sim.running.runner import seconds_to_prepare

YEAR_SECONDS, BINS = 0.4, 14
"""What a year of one colony in so many bins took on a core (s), on the machine of `pace`."""
END_SECONDS = 10.0
"""What starting and, in the end, tables and pictures took (s), on the same machine."""
PAIRED = 8
"""Fresh seeds at most that remedies and loosened limits are run on."""
FREE = 4
"""Of these, as many as the time of growth is taken from, in a rack that is never full."""
FEW = 3
"""Of these, at most as many as a limit is searched with."""
_REMEDIES, _HALVINGS, _TRIALS = 3, 3, 4
"""Remedies that are run on all; amounts of a limit, and of temperatures and beetles to buy
together, that are run on few."""


def is_cold(climate: Climate) -> bool:
    """Whether the same room kept warm is run as well; one that is always the same has no season."""
    coldest, warmest = room.extremes(climate)
    return coldest < WARM_C and warmest - coldest >= 1.0


class Ahead(NamedTuple):
    """Runs that are to come, and what they cost where one of all years costs 1."""

    runs: int
    cost: float


def expected(effort: Effort, request: Request, short: bool | None) -> Ahead:
    """All of a plan; `short`: whether the want is not met, None while nobody knows."""
    quick = effort.quick_runs
    whole = effort.most_runs - effort.again - quick
    after = [runs_after(effort, request, either) for either in (False, True)]
    # Wrong by the same factor either way.
    coming = round(math.sqrt(after[0] * after[1])) if short is None else after[short]
    each = cost_of(min(effort.years * 365, request.days), request.days)
    return Ahead(quick + whole + coming, each * quick + whole + coming)


def seconds(ahead: Ahead, effort: Effort, request: Request, workers: int) -> tuple[float, float]:
    """About how long the first answer and the whole plan take on cores that are free (s).

    A log is lived by members, of which some are kept, and again before each run.
    """
    before = 0 if request.rack is None else request.rack.today
    rack = request.days + before
    members = PER_KEPT * (effort.all_seeds + effort.check) * before if request.from_log else 0
    each = cost_of(min(effort.years * 365, request.days), request.days) * rack
    first = members + math.ceil(effort.first_seeds / workers) * workers * each
    a_day = YEAR_SECONDS * (1 + 4 * request.have.bins / BINS) / 5 / 365 / workers
    start = seconds_to_prepare()
    return (
        start + pace.here(END_SECONDS / 3 + a_day * first),
        start + pace.here(END_SECONDS + a_day * (members + ahead.cost * rack)),
    )


def runs_after(effort: Effort, request: Request, short: bool) -> int:
    """Runs that follow the search."""
    paired = min(PAIRED, effort.fresh)
    few = max(2, min(effort.seeds, FEW))
    sure = effort.again + effort.check + min(FREE, paired)
    sure += is_cold(request.climate) * (paired + _TRIALS // 2 * few)
    limits = 1 + (request.have.breeders is not None)
    loosened = limits * ((HANDLINGS + _HALVINGS) * few + paired)
    loosened += paired * (request.have.minutes_per_week is not None)
    return sure + short * (_REMEDIES * paired + loosened + _TRIALS // 2 * few)
