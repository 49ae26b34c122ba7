"""What the kernels of a day read and write, in named bundles of arrays."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.rates import DayRates
from colony_sim.population.draws import WORDS, unit

#: A time after the end of the day.
NEVER = 9.0
#: Beyond every 32-bit word, so that no chance reaches it: the event does not happen.
NO_WORD = np.uint64(4294967296)
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


class Columns(NamedTuple):
    """Columns of `Insects`, rows in use or full."""

    ident: np.ndarray
    mass: np.ndarray
    progress: np.ndarray
    factor: np.ndarray
    size: np.ndarray
    age: np.ndarray
    eggs: np.ndarray
    bin: np.ndarray
    stage: np.ndarray
    instar: np.ndarray
    flags: np.ndarray


class BinDay(NamedTuple):
    """What holds in each bin today; first axis bins, the tray last.

    Chances are numbers of 32-bit words: an event happens if its word is smaller.
    """

    rates: np.ndarray  # columns: fields of rates.DayRates
    food: np.ndarray  # share of full intake
    pace: np.ndarray  # larval clock per day
    hazards: np.ndarray  # columns: eggs by adults, by larvae, pupae by adults, by larvae (1/d)
    egg_own: np.ndarray  # hazard of an egg from cold, heat and age, columns days of age (1/d)
    egg_own_at: np.ndarray  # chances of it
    egg_at: np.ndarray  # chances of being eaten by adults, by larvae
    pupa_at: np.ndarray  # chances of the pupa's three deaths
    young_at: np.ndarray  # chance of death of a young larva
    larva_at: np.ndarray  # chance of death of an older larva
    ripe_at: np.ndarray  # chance that a ripe larva pupates
    adult_at: np.ndarray  # chance of an adult's death from other than age
    laying: np.ndarray  # mean eggs of a female of best age
    hidden: np.ndarray  # share of the eggs laid out of the beetles' reach


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
def chance(hazard):
    """Words below this number mean that an event of this daily hazard happens today."""
    return np.uint64((1.0 - math.exp(-hazard)) * WORDS)


@kernel(inline="always")
def latent(word, hazard):
    """Time within the day (0 to 1) of an event that happens today."""
    return -math.log1p(-unit(word)) / hazard


@kernel()
def first_death(own, own_at, hazards, column, at, first, b, w0, w1, w2, until):
    """First death of an egg or pupa before a time of the day.

    `own` is the hazard of word 0 and `own_at` its chance; `hazards[b, column]` and the next are
    those of adults and larvae, `at[b, first]` and the next their chances. Returns 0 for none, 1
    for the own hazard, 2 and 3 for the eaters.
    """
    fate = 0
    soonest = until
    if np.uint64(w0) < own_at:
        t = latent(w0, own)
        if t < soonest:
            soonest = t
            fate = 1
    if np.uint64(w1) < at[b, first]:
        t = latent(w1, hazards[b, column])
        if t < soonest:
            soonest = t
            fate = 2
    if np.uint64(w2) < at[b, first + 1]:
        t = latent(w2, hazards[b, column + 1])
        if t < soonest:
            soonest = t
            fate = 3
    return fate


@kernel(inline="always")
def grow_older(age, i):
    """One more day in the stage; stops at the end of the column."""
    if age[i] < 65535:
        age[i] += 1
