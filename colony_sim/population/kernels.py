"""The day of every insect, as numba kernels over the columns of `Insects`.

A day runs in this order: limits per bin from the morning's census and stocks; growth that
each larva would make; shortage of bran and hazards per bin; the fate of each insect; stocks;
new eggs. For eggs and pupae, competing events of a day have exact latent times (exponential
at the day's hazard, completion of the stage at the day's rate), and the earliest counts; a
larva's background death and a beetle's age come first. Stages are taken from the last to the
first, so that nobody lives two stages' days in one.
"""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.growth import clock_limit, crowding_limit, food_limit, moisture_limit
from colony_sim.biology.predation import adult_hazard, larva_hazard, shortage_factor
from colony_sim.biology.rates import NG_PER_G, Constants, DayRates
from colony_sim.population import census
from colony_sim.population.adults import live_adults
from colony_sim.population.books import BinDay, Books, Columns, Stocks, chance
from colony_sim.population.eggs import lay_eggs, live_eggs
from colony_sim.population.insects import FIELDS, Insects
from colony_sim.population.larvae import live_larvae, plan_growth
from colony_sim.population.ledger import Flow
from colony_sim.population.pupae import live_pupae
from colony_sim.population.substrate import Substrate

_F_BRAN = int(Flow.BRAN_EATEN)
_F_FRASS = int(Flow.FRASS_MADE)
_F_DRUNK = int(Flow.WATER_DRUNK)
_F_DRIED = int(Flow.WATER_EVAPORATED)


@kernel()
def _limits(c, d, table, moisture, wetness, crowding, growth_share, clock_pace):
    """Moisture and crowding per bin, and what they leave of growth and clock."""
    for b in range(table.shape[0]):
        need = c.water_need * (table[b, census.LARVA_MASS] + table[b, census.ADULT_MASS])
        stock = np.float64(moisture[b])
        wet = moisture_limit(stock, need, c.growth_dry_share)
        wetness[b] = moisture_limit(stock, need, 0.0)
        crowding[b] = crowding_limit(
            table[b, census.LARVA_MASS] / NG_PER_G, c.area_dm2, c.crowding_slope
        )
        limit = wet * crowding[b]
        growth_share[b] = 1.0 - math.exp(-c.growth_exponent * d.larva * limit)
        clock_pace[b] = d.larva * clock_limit(limit, c.clock_sensitivity)


@kernel()
def _shortage(c, d, table, bran, frass, ask, food, hazards):
    """Share of full intake per bin, and predation hazards per bin."""
    tray = table.shape[0] - 1
    for b in range(table.shape[0]):
        if b == tray:
            # Nobody feeds and nobody is within reach on the tray.
            food[b] = 1.0
            hazards[b, :] = 0.0
            continue
        food[b] = food_limit(np.float64(bran[b]), np.float64(ask[b]), c.bran_days)
        rise = shortage_factor(c.shortage_rise, food[b])
        adults = np.float64(table[b, census.ADULTS])
        predators_g = table[b, census.PREDATOR_MASS] / NG_PER_G
        substrate_kg = (bran[b] + frass[b]) / (1000.0 * NG_PER_G)
        hazards[b, 0] = rise * adult_hazard(c.adult_egg, adults, c.area_dm2)
        hazards[b, 1] = rise * larva_hazard(c.larva_egg, predators_g, substrate_kg)
        hazards[b, 2] = rise * adult_hazard(c.adult_pupa, adults, c.area_dm2)
        hazards[b, 3] = rise * larva_hazard(c.larva_pupa, predators_g, substrate_kg)


@kernel()
def _stocks(c, table, bran, frass, moisture, eaten, grown, flows):
    """Take the day's feed and water from the bins and add the frass."""
    for b in range(table.shape[0] - 1):
        bran[b] -= eaten[b]
        made = np.int64(c.frass_share * eaten[b])
        frass[b] += made
        need = c.water_need * (table[b, census.LARVA_MASS] + table[b, census.ADULT_MASS])
        drunk = min(moisture[b], np.int64(need + c.water_share_of_gain * grown[b]))
        moisture[b] -= drunk
        dried = np.int64(c.evaporation_share * moisture[b])
        moisture[b] -= dried
        flows[_F_BRAN] += eaten[b]
        flows[_F_FRASS] += made
        flows[_F_DRUNK] += drunk
        flows[_F_DRIED] += dried


@kernel()
def _laying(c, d, table, wetness, food, laying):
    """Mean eggs of a female of best age per bin and day."""
    tray = table.shape[0] - 1
    for b in range(tray):
        dry = c.laying_dry_share + (1.0 - c.laying_dry_share) * wetness[b]
        density = math.exp(-c.density_slope * table[b, census.ADULTS] / c.area_dm2)
        laying[b] = c.peak_eggs * d.laying * dry * density * food[b]
    laying[tray] = 0.0


@kernel()
def _chances(c, d, today, clock_pace):
    """Words below which today's deaths happen, per bin, and the pace of the larval clock."""
    for b in range(today.food.size):
        today.pace[b] = clock_pace[b] * today.food[b]
        today.egg_at[b, 0] = chance(d.egg_thermal)
        today.egg_at[b, 1] = chance(today.hazards[b, 0])
        today.egg_at[b, 2] = chance(today.hazards[b, 1])
        today.pupa_at[b, 0] = chance(c.pupa_hazard + d.pupa_thermal)
        today.pupa_at[b, 1] = chance(today.hazards[b, 2])
        today.pupa_at[b, 2] = chance(today.hazards[b, 3])
        hunger = c.starvation_hazard * (1.0 - today.food[b]) + d.larva_thermal
        today.young_at[b] = chance(c.young_hazard + hunger)
        today.larva_at[b] = chance(c.larva_hazard + hunger)


@kernel()
def _day(c, d, seed, day, cols, today, books, table, s, gain, laid):
    """All of a day but the new eggs, in one call; returns the number of mothers."""
    slots = table.shape[0]
    growth_share = np.zeros(slots, np.float32)
    clock_pace = np.zeros(slots, np.float64)
    ask = np.zeros(slots, np.int64)
    _limits(c, d, table, s.moisture, s.wetness, s.crowding, growth_share, clock_pace)
    plan_growth(
        cols.stage,
        cols.bin,
        cols.mass,
        cols.factor,
        cols.size,
        growth_share,
        np.float32(c.asymptote_root),
        gain,
        np.float32(c.per_gain),
        np.float32(c.maintenance * d.larva_relative),
        ask,
    )
    for b in range(slots):
        ask[b] += np.int64(c.adult_feed * table[b, census.ADULT_MASS])
    _shortage(c, d, table, s.bran, s.frass, ask, today.food, today.hazards)
    _laying(c, d, table, s.wetness, today.food, today.laying)
    _chances(c, d, today, clock_pace)
    mothers = live_adults(c, d, seed, day, cols, today, books, laid)
    live_pupae(c, d, seed, day, cols, today, books)
    live_larvae(c, d, seed, day, cols, today, books, gain)
    live_eggs(c, d, seed, day, cols, today, books)
    _stocks(c, table, s.bran, s.frass, s.moisture, books.eaten, books.grown, books.flows)
    return mothers


def step(
    c: Constants,
    d: DayRates,
    seed: int,
    day: int,
    insects: Insects,
    substrate: Substrate,
    table: np.ndarray,
    events: np.ndarray,
    flows: np.ndarray,
) -> None:
    """Live one day.

    Parameters
    ----------
    c, d : Constants, DayRates
    seed, day : int
        Keys of the day's draws.
    insects, substrate : Insects, Substrate
        Changed in place.
    table : int64 array, shape (bins + 1, census.COLUMNS)
        Census of the morning.
    events : int64 array, shape (bins + 1, len(Event))
    flows : int64 array, shape (len(Flow),), ng
        The day's counts and masses are added.
    """
    slots = table.shape[0]
    seed = np.uint64(seed)
    s = substrate
    today = BinDay(
        food=s.food,
        pace=np.empty(slots, np.float64),
        hazards=np.zeros((slots, 4), np.float64),
        egg_at=np.empty((slots, 3), np.uint64),
        pupa_at=np.empty((slots, 3), np.uint64),
        young_at=np.empty(slots, np.uint64),
        larva_at=np.empty(slots, np.uint64),
        laying=np.zeros(slots, np.float64),
    )
    books = Books(
        events=events,
        flows=flows,
        eaten=np.zeros(slots, np.int64),
        grown=np.zeros(slots, np.int64),
        skins=s.skins,
        visible_skins=s.visible_skins,
        skin_mass=s.skin_mass,
        dead_adults=s.dead_adults,
    )
    cols = Columns(*(insects.view(name) for name in FIELDS))
    gain = np.empty(insects.n, np.float32)
    laid = np.empty((int(table[:, census.ADULTS].sum()), 2), np.int64)
    mothers = _day(
        c,
        d,
        seed,
        day,
        cols,
        today,
        books,
        table,
        Stocks(s.bran, s.frass, s.moisture, s.wetness, s.crowding),
        gain,
        laid,
    )
    count = int(laid[:mothers, 1].sum())
    if count:
        insects.reserve(count)
        whole = Columns(*(getattr(insects, name) for name in FIELDS))
        insects.n = lay_eggs(c, d, seed, day, insects.n, laid, mothers, whole, today, books)
