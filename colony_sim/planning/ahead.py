"""How many runs a plan takes in all, by what is known so far: for the time that is left."""

from __future__ import annotations

import math

from colony_sim.biology.climate import Climate
from colony_sim.planning import room
from colony_sim.planning.choose import Effort
from colony_sim.planning.cold import WARM_C
from colony_sim.planning.shortfall import HANDLINGS

PAIRED = 20
"""Fresh seeds at most that remedies and loosened limits are run on."""
FREE = 6
"""Of these, as many as the time of growth is taken from, in a rack that is never full."""
FEW = 5
"""Of these, at most as many as a limit is searched with."""
_REMEDIES, _LIMITS, _HALVINGS, _CHECKS = 7, 3, 5, 1.5
"""About as many are tried; of a limit, as many amounts on few seeds and on all."""


def is_cold(climate: Climate) -> bool:
    """Whether the same room kept warm is run as well; one that is always the same has no season."""
    coldest, warmest = room.extremes(climate)
    return coldest < WARM_C and warmest - coldest >= 1.0


def expected_runs(effort: Effort, climate: Climate, short: bool | None) -> int:
    """Runs of a whole plan; `short`: whether the want is not met, None while nobody knows."""
    search = effort.most_runs - effort.again
    met = search + runs_after(effort, climate, False)
    if short is not None:
        return search + runs_after(effort, climate, short)
    # Wrong by the same factor either way.
    return round(math.sqrt(met * (search + runs_after(effort, climate, True))))


def runs_after(effort: Effort, climate: Climate, short: bool) -> int:
    """Runs that follow the search."""
    paired = min(PAIRED, effort.fresh)
    sure = effort.again + min(FREE, paired) + paired * is_cold(climate)
    few = max(2, min(effort.seeds, FEW))
    loosened = _LIMITS * ((HANDLINGS + _HALVINGS) * few + _CHECKS * paired)
    return sure + short * round(_REMEDIES * paired + loosened)
