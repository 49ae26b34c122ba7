"""What the kernels of a day read and write, in named bundles of arrays."""

from __future__ import annotations

from collections import namedtuple
from typing import NamedTuple

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.rates import DayRates
from colony_sim.population.insects import FIELDS

#: A time after the end of the day.
NEVER = 9.0
#: Columns of `BinDay.rates`.
(
    EGG,
    LARVA,
    LARVA_RELATIVE,
    PUPA,
    TENERAL,
    AGEING,
    EGG_THERMAL,
    LARVA_THERMAL,
    PUPA_THERMAL,
    ADULT_THERMAL,
    LAYING,
    VIABILITY,
) = range(len(DayRates._fields))


#: Columns of `Insects`, rows in use or full.
Columns = namedtuple("Columns", FIELDS)


class BinDay(NamedTuple):
    """What holds in each bin today; first axis bins, the tray last."""

    rates: np.ndarray  # columns: fields of rates.DayRates
    food: np.ndarray  # share of full intake
    growth_share: np.ndarray  # of the way to the asymptote, for a larva of average pace
    keeps: np.ndarray  # bran for upkeep per mass of larva
    pace: np.ndarray  # larval clock per day, before noon with bran in plenty
    hazards: np.ndarray  # columns: eggs by adults, by larvae, pupae by adults, by larvae (1/d)
    egg_own: np.ndarray  # hazard of an egg from cold, heat and age, columns days of age (1/d)
    egg_hazard: np.ndarray  # all hazards of an egg (1/d); within reach or not, by days of age
    hunger: np.ndarray  # hazard of a larva from hunger, cold and heat (1/d)
    ripe_at: np.ndarray  # a ripe larva pupates if its word is smaller than this
    laying: np.ndarray  # mean eggs of a female of best age
    hidden: np.ndarray  # share of the eggs laid out of the beetles' reach
    egg_wear: np.ndarray  # tables that hold for the whole run, as in rates.Constants
    molt_mass: np.ndarray
    age_profile: np.ndarray


class Stocks(NamedTuple):
    """Stocks (ng) and limits of the bins, as in `Substrate`; the tray last."""

    bran: np.ndarray
    frass: np.ndarray
    moisture: np.ndarray
    wetness: np.ndarray
    crowding: np.ndarray
    feeding: np.ndarray
    temperature: np.ndarray


class Books(NamedTuple):
    """What the day adds to; first axis bins where there is one."""

    events: np.ndarray
    flows: np.ndarray
    eaten: np.ndarray  # bran, ng
    grown: np.ndarray  # larval gain, ng
    skins: np.ndarray
    visible_skins: np.ndarray
    skin_mass: np.ndarray
    dead_adults: np.ndarray


@kernel(inline="always")
def grow_older(age, i):
    """One more day in the stage; stops at the end of the column."""
    if age[i] < 65535:
        age[i] += 1
