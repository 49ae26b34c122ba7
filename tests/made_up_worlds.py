"""A made-up profile of three values."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.parameters import catalogue
from colony_sim.experiment.worlds import Worlds

EGG, LAID, LIFE = "predation.adult_egg", "fecundity.peak_eggs_per_day", "adult.life_mean_days"
KEYS = (EGG, LAID, LIFE)


def made_up(draws: int = 40, name: str = "shed", keys=KEYS) -> Worlds:
    """Invented worlds: log-normal around the defaults."""
    rng = np.random.default_rng(5)
    middle = np.log([catalogue()[key].value for key in keys])
    table = np.exp(rng.normal(middle, 0.25, size=(draws, len(keys))))
    facts = {"log": 'a "log".csv', "days": 400, "fitted": True, "dates": ["2031-01-01", "é\n"]}
    return Worlds(name, keys, table, facts)


PROFILE = made_up()
