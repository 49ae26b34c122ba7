"""The day of every insect, as numba kernels over the columns of `Insects`.

A day runs in this order: temperature of each bin; limits per bin from the morning's census and
stocks; growth that each larva would make; shortage of bran and hazards per bin; the fate of each
insect; stocks; new eggs. An insect enters a stage with a tolerance (see `draws.tolerance`), from
which each day takes its hazard; it falls at the time of the day when none is left, unless it
completes the stage before, and the cause is drawn in proportion to the day's hazards. A larva's
death and a beetle's age count for the whole day. Stages are taken from the last to the first, so
that nobody lives two stages' days in one.
"""

from __future__ import annotations

import math
from functools import reduce

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.growth import (
    Crowding,
    clock_limit,
    crowding_limit,
    day_share,
    food_limit,
    moisture_limit,
    pupation_chance,
)
from colony_sim.biology.heat import bin_temperature
from colony_sim.biology.predation import adult_hazard, larva_hazard, want_factor
from colony_sim.biology.rates import NG_PER_G, Constants, DayRates, rates_at
from colony_sim.biology.substrate import CM2_PER_DM2, Refuge, hidden_share, usable_volume, volume
from colony_sim.population import census
from colony_sim.population.adults import live_adults
from colony_sim.population.books import (
    LARVA,
    LARVA_RELATIVE,
    LARVA_THERMAL,
    LAYING,
    BinDay,
    Books,
    Columns,
    Stocks,
)
from colony_sim.population.draws import WORDS
from colony_sim.population.eggs import lay_eggs, live_eggs
from colony_sim.population.insects import FIELDS, Insects
from colony_sim.population.larvae import live_larvae, plan_growth
from colony_sim.population.ledger import Event, Flow
from colony_sim.population.packed import packed
from colony_sim.population.parts import in_parts
from colony_sim.population.pupae import live_pupae
from colony_sim.population.substrate import Substrate

_PER_VOLUME = int(Crowding.PER_VOLUME)
_DEPTH = int(Refuge.DEPTH)
#: Eggs of an adult on a good day, as a share of those of a female of best age.
_FEMALES_LAY = 0.6
_F_BRAN = int(Flow.BRAN_EATEN)
_F_FRASS = int(Flow.FRASS_MADE)
_F_DRUNK = int(Flow.WATER_DRUNK)
_F_DRIED = int(Flow.WATER_EVAPORATED)


@kernel()
def _warm(c, room_c, table, s, today):
    """Temperature of each bin and what it makes of the rates; feeding is yesterday's."""
    tray = table.shape[0] - 1
    rates, egg_own = today.rates, today.egg_own
    for b in range(table.shape[0]):
        grams = table[b, census.LARVA_MASS] / NG_PER_G
        adults = np.float64(table[b, census.ADULTS])
        t = room_c
        if b < tray:
            t = bin_temperature(c.heat, room_c, grams, adults, s.feeding[b])
        s.temperature[b] = t
        if b > 0 and t == s.temperature[b - 1]:
            # Bins without insects are all at room temperature.
            for k in range(rates.shape[1]):
                rates[b, k] = rates[b - 1, k]
            for k in range(egg_own.shape[1]):
                egg_own[b, k] = egg_own[b - 1, k]
            continue
        row = rates_at(c.temper, t)
        for k, rate in enumerate(row):
            rates[b, k] = rate
        for k in range(today.egg_wear.size):
            egg_own[b, k] = row.egg_thermal + today.egg_wear[k]


@kernel()
def _limits(c, table, s, today):
    """Moisture and crowding per bin, and what they leave of growth and clock."""
    for b in range(table.shape[0]):
        grams = table[b, census.LARVA_MASS] / NG_PER_G
        need = c.water_need * (table[b, census.LARVA_MASS] + table[b, census.ADULT_MASS])
        stock = np.float64(s.moisture[b])
        wet = moisture_limit(stock, need, c.growth_dry_share)
        s.wetness[b] = moisture_limit(stock, need, 0.0)
        cm3 = volume(s.bran[b] / NG_PER_G, s.frass[b] / NG_PER_G, c.bran_cm3, c.frass_cm3)
        room = usable_volume(cm3, c.area_dm2, c.usable_depth_cm)
        density = grams * 1000.0 / room if c.crowding == _PER_VOLUME else grams / c.area_dm2
        s.crowding[b] = crowding_limit(density, c.crowding_slope)
        limit = wet * s.crowding[b]
        s.feeding[b] = limit
        larva = today.rates[b, LARVA]
        today.growth_share[b] = day_share(c.law, c.growth_exponent, larva * limit)
        today.pace[b] = larva * clock_limit(limit, c.clock_sensitivity)
        ripe = pupation_chance(np.float64(table[b, census.LARVAE]), room, c.contact_slope)
        today.ripe_at[b] = np.uint64(ripe * WORDS)
        today.hidden[b] = 0.0
        if c.refuge == _DEPTH:
            today.hidden[b] = hidden_share(
                table[b, census.ADULTS] / c.area_dm2,
                cm3 / (CM2_PER_DM2 * c.area_dm2),
                c.reach_cm,
                c.laying_depth_cm,
                c.depth_rise,
            )


@kernel()
def _shortage(c, table, s, ask, food, hazards):
    """Share of full intake per bin, and predation hazards per bin."""
    tray = table.shape[0] - 1
    for b in range(table.shape[0]):
        if b == tray:
            # Nobody feeds and nobody is within reach on the tray.
            food[b] = 1.0
            for k in range(hazards.shape[1]):
                hazards[b, k] = 0.0
            continue
        food[b] = food_limit(np.float64(s.bran[b]), np.float64(ask[b]), c.bran_days)
        s.feeding[b] *= food[b]
        hungry = want_factor(c.shortage_rise, food[b], 0.0, 1.0)
        thirsty = want_factor(c.shortage_rise, food[b], c.thirst_rise, s.wetness[b])
        adults = np.float64(table[b, census.ADULTS])
        predators_g = table[b, census.PREDATOR_MASS] / NG_PER_G
        substrate_kg = (s.bran[b] + s.frass[b]) / (1000.0 * NG_PER_G)
        hazards[b, 0] = thirsty * adult_hazard(c.adult_egg, adults, c.area_dm2)
        hazards[b, 1] = hungry * larva_hazard(c.larva_egg, predators_g, substrate_kg)
        hazards[b, 2] = thirsty * adult_hazard(c.adult_pupa, adults, c.area_dm2)
        hazards[b, 3] = hungry * larva_hazard(c.larva_pupa, predators_g, substrate_kg)


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
def _laying(c, table, wetness, today):
    """Mean eggs of a female of best age per bin and day."""
    tray = table.shape[0] - 1
    for b in range(tray):
        dry = c.laying_dry_share + (1.0 - c.laying_dry_share) * wetness[b]
        density = math.exp(-c.density_slope * table[b, census.ADULTS] / c.area_dm2)
        today.laying[b] = c.peak_eggs * today.rates[b, LAYING] * dry * density * today.food[b]
        if c.needs_male and table[b, census.MALES] == 0:
            today.laying[b] = 0.0
    today.laying[tray] = 0.0


@kernel()
def _hazards(c, table, today):
    """Hazards of eggs and larvae today, per bin, and the pace of the larval clock."""
    for b in range(today.food.size):
        today.pace[b] *= today.food[b]
        today.hunger[b] = (
            c.starvation_hazard * (1.0 - today.food[b]) + today.rates[b, LARVA_THERMAL]
        )
        if table[b, census.EGGS] + table[b, census.ADULTS] > 0:
            for k in range(today.egg_wear.size):
                deep = today.egg_own[b, k] + today.hazards[b, 1]
                today.egg_hazard[b, 0, k] = deep + today.hazards[b, 0]
                today.egg_hazard[b, 1, k] = deep


@kernel(inline="always")
def _morning(c, room_c, table, s, today):
    """What holds in each bin before anyone grows."""
    _warm(c, room_c, table, s, today)
    _limits(c, table, s, today)
    for b in range(table.shape[0]):
        today.keeps[b] = np.float32(c.maintenance * today.rates[b, LARVA_RELATIVE])


@kernel(inline="always", nogil=True)
def _plan(c, cols, today, gain, ask):
    """Growth with bran in plenty, and the bran that larvae ask for."""
    plan_growth(
        c.law,
        cols.stage,
        cols.bin,
        cols.mass,
        cols.factor,
        cols.size,
        today.growth_share,
        np.float32(c.asymptote),
        gain,
        np.float32(c.per_gain),
        today.keeps,
        ask,
    )


@kernel(inline="always")
def _noon(c, table, s, today, ask):
    """Shortage of bran and what follows from it."""
    for b in range(table.shape[0]):
        ask[b] += np.int64(c.adult_feed * table[b, census.ADULT_MASS])
    _shortage(c, table, s, ask, today.food, today.hazards)
    _laying(c, table, s.wetness, today)
    _hazards(c, table, today)


@kernel(inline="always", nogil=True)
def _live(c, seed, day, cols, today, books, gain, laid):
    """The day of each insect; returns the number of mothers."""
    mothers = live_adults(c, seed, day, cols, today, books, laid)
    live_pupae(c, seed, cols, today, books)
    live_larvae(c, seed, day, cols, today, books, gain)
    live_eggs(c, seed, cols, today, books)
    return mothers


@kernel(inline="always")
def _evening(c, table, s, books):
    _stocks(c, table, s.bran, s.frass, s.moisture, books.eaten, books.grown, books.flows)


@kernel()
def _day(c, room_c, seed, day, whole, n, today, books, table, s, gain, laid):
    """All of a day, in one call; returns the number of mothers and the rows in use.

    Their eggs are laid if there is room in `whole`, the columns in full; else the rows are those
    of before, and `lay_eggs` is called once there is.
    """
    cols = Columns(
        whole.ident[:n],
        whole.mass[:n],
        whole.progress[:n],
        whole.factor[:n],
        whole.size[:n],
        whole.tolerance[:n],
        whole.age[:n],
        whole.tally[:n],
        whole.bin[:n],
        whole.stage[:n],
        whole.flags[:n],
    )
    ask = np.zeros(table.shape[0], np.int64)
    _morning(c, room_c, table, s, today)
    _plan(c, cols, today, gain, ask)
    _noon(c, table, s, today, ask)
    mothers = _live(c, seed, day, cols, today, books, gain, laid)
    _evening(c, table, s, books)
    eggs = n
    for k in range(mothers):
        eggs += laid[k, 1]
    if eggs <= whole.stage.size:
        n = lay_eggs(c, seed, n, laid, mothers, whole, today, books)
        mothers = 0
    return mothers, n


def _on_threads(c, room_c, seed, day, insects, today, books, table, s, threads) -> np.ndarray:
    """As `_day` but for the laying, the rows in parts on threads; rows and eggs of the mothers.

    Counts and masses are whole numbers, so that the sums of the parts are those of the whole.
    """
    gain = insects.gain
    adults = int(table[:, census.ADULTS].sum())

    def columns(rows: slice) -> Columns:
        return Columns(*(getattr(insects, name)[rows] for name in FIELDS))

    def plan(rows: slice) -> np.ndarray:
        ask = np.zeros(table.shape[0], np.int64)
        _plan(c, columns(rows), today, gain[rows], ask)
        return ask

    def live(rows: slice) -> tuple[Books, np.ndarray]:
        own = Books(*(np.zeros_like(total) for total in books))
        laid = np.empty((adults, 2), np.int64)
        mothers = _live(c, seed, day, columns(rows), today, own, gain[rows], laid)
        return own, laid[:mothers] + [rows.start, 0]

    _morning(c, room_c, table, s, today)
    _noon(c, table, s, today, reduce(np.add, in_parts(insects.n, threads, plan)))
    lived = in_parts(insects.n, threads, live)
    for own, _ in lived:
        for total, more in zip(books, own, strict=True):
            total += more
    _evening(c, table, s, books)
    return np.concatenate([laid for _, laid in lived])


def _bundles(
    c: Constants, s: Substrate, events: np.ndarray, flows: np.ndarray
) -> tuple[BinDay, Books]:
    """What a day reads and adds to."""
    slots = len(events)
    today = BinDay(
        rates=np.empty((slots, len(DayRates._fields)), np.float64),
        food=s.food,
        growth_share=np.empty(slots, np.float32),
        keeps=np.empty(slots, np.float32),
        pace=np.empty(slots, np.float64),
        hazards=np.zeros((slots, 4), np.float64),
        egg_own=np.empty((slots, c.egg_wear.size), np.float64),
        egg_hazard=np.empty((slots, 2, c.egg_wear.size), np.float32),
        hunger=np.empty(slots, np.float64),
        ripe_at=np.empty(slots, np.uint64),
        laying=np.zeros(slots, np.float64),
        hidden=np.zeros(slots, np.float64),
        egg_wear=c.egg_wear,
        molt_mass=c.molt_mass,
        age_profile=c.age_profile,
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
    return today, books


def step(
    c: Constants,
    room_c: float,
    seed: int,
    day: int,
    insects: Insects,
    substrate: Substrate,
    table: np.ndarray,
    events: np.ndarray,
    flows: np.ndarray,
    threads: int = 1,
) -> None:
    """Live one day.

    Parameters
    ----------
    c : Constants
    room_c : float
        Mean temperature of the room (C).
    seed, day : int
        Keys of the day's draws.
    insects, substrate : Insects, Substrate
        Changed in place.
    table : int64 array, shape (bins + 1, census.COLUMNS)
        Census of the morning.
    events : int64 array, shape (bins + 1, len(Event))
    flows : int64 array, shape (len(Flow),), ng
        The day's counts and masses are added.
    threads : int
        Threads that share the insects; the results do not depend on it.
    """
    seed = np.uint64(seed)
    today, books = _bundles(c, substrate, events, flows)
    numbers = packed(c)
    stocks = Stocks(*(getattr(substrate, name) for name in Stocks._fields))
    adults = int(table[:, census.ADULTS].sum())
    # Rows for the eggs of a good day, so that they are seldom laid in a call of their own.
    insects.reserve(round(_FEMALES_LAY * adults * c.peak_eggs) + 64)
    if threads > 1 and insects.n >= threads:
        laid = _on_threads(
            numbers, float(room_c), seed, day, insects, today, books, table, stocks, threads
        )
        mothers = len(laid)
    else:
        laid = np.empty((adults, 2), np.int64)
        mothers, insects.n = _day(
            numbers, float(room_c), seed, day, _columns(insects), insects.n, today, books, table,
            stocks, insects.gain, laid,
        )  # fmt: skip
    if mothers:
        insects.reserve(int(laid[:mothers, 1].sum()))
        insects.n = lay_eggs(
            numbers, seed, insects.n, laid, mothers, _columns(insects), today, books
        )
    insects.renew()


def _columns(insects: Insects) -> Columns:
    return Columns(*(getattr(insects, name) for name in FIELDS))


def compile_from_the_end(c: Constants) -> None:
    """Compile the kernels that `_day` comes to last, in a process beside the one it compiles in.

    Each finds in the cache what the other has done, so that they meet halfway.
    """
    insects, flows = Insects(), np.zeros(len(Flow), np.int64)
    events = np.zeros((2, len(Event)), np.int64)
    today, books = _bundles(c, Substrate(1), events, flows)
    numbers, seed, cols = packed(c), np.uint64(0), _columns(insects)
    lay_eggs(numbers, seed, 0, np.empty((0, 2), np.int64), 0, cols, today, books)
    cols = Columns(*(column[:0] for column in cols))
    live_eggs(numbers, seed, cols, today, books)
    live_larvae(numbers, seed, 0, cols, today, books, insects.gain[:0])
    live_pupae(numbers, seed, cols, today, books)
    live_adults(numbers, seed, 0, cols, today, books, np.empty((0, 2), np.int64))
