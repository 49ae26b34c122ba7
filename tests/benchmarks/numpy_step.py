"""The day of every insect in plain numpy: the same step without a compiler.

Same order of a day, same keyed draws, same roundings as `population.kernels.step`, so that
the two give the same insects, events and masses. Each stage's insects are picked out of the
columns and their day is computed with whole-array operations; Philox4x32-10 runs over whole
arrays too. It is what a careful numpy user would write, and the benchmark's middle rung.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np

from colony_sim.biology.rates import NG_PER_G
from colony_sim.population import census
from colony_sim.population.draws import Block
from colony_sim.population.insects import Flag, Insects, Stage
from colony_sim.population.ledger import Event, Flow

from .numpy_limits import gain, morning, warm

_LOW = np.uint64(0xFFFFFFFF)
_SHIFT = np.uint64(32)
_WORDS = 2.0**32


def words(seed: int, block: int, ident: np.ndarray, when) -> list[np.ndarray]:
    """Four uint64 arrays that hold the 32-bit words of each individual (Salmon et al. 2011)."""
    c0, c1 = ident & _LOW, ident >> _SHIFT
    c2 = np.broadcast_to(np.asarray(when, np.uint64), ident.shape)
    c3 = np.full(ident.shape, block, np.uint64)
    k0, k1 = seed & 0xFFFFFFFF, seed >> 32
    for _ in range(10):
        p0, p1 = np.uint64(0xD2511F53) * c0, np.uint64(0xCD9E8D57) * c2
        c0, c1 = (p1 >> _SHIFT) ^ c1 ^ np.uint64(k0), p1 & _LOW
        c2, c3 = (p0 >> _SHIFT) ^ c3 ^ np.uint64(k1), p0 & _LOW
        k0, k1 = (k0 + 0x9E3779B9) & 0xFFFFFFFF, (k1 + 0xBB67AE85) & 0xFFFFFFFF
    return [c0, c1, c2, c3]


def _unit(word):
    return (word.astype(np.float64) + 0.5) / _WORDS


def _normals(a, b):
    radius, angle = np.sqrt(-2.0 * np.log(_unit(a))), 2.0 * math.pi * _unit(b)
    return radius * np.cos(angle), radius * np.sin(angle)


def _lognormal(z, cv):
    variance = math.log(1.0 + cv * cv)
    return np.exp(math.sqrt(variance) * z - 0.5 * variance)


def _tolerance(word):
    """Hazard, summed over time, that each withstands: exponential with mean 1."""
    return -np.log(_unit(word))


def step(c, room_c, seed, day, insects: Insects, substrate, table, events, flows) -> None:
    """Live one day; the arguments are those of `population.kernels.step`."""
    d = warm(c, room_c, substrate, table)
    today = morning(c, d, substrate, table)
    larvae = _plan(c, d, insects, today, table)
    _noon(c, d, substrate, table, today)
    books = SimpleNamespace(
        events=events,
        flows=flows,
        eaten=np.zeros(table.shape[0], np.int64),
        grown=np.zeros(table.shape[0], np.int64),
    )
    laid = _adults(c, d, seed, day, insects, substrate, today, books)
    pupae, eggs = insects.rows(Stage.PUPA), insects.rows(Stage.EGG)
    _pupae(c, d, seed, insects, pupae, today, books)
    _larvae(c, d, seed, day, insects, larvae, substrate, today, books)
    _eggs(c, d, seed, insects, eggs, today, books)
    _evening(c, table, substrate, books)
    insects.renew()
    _lay(c, d, seed, insects, laid, today, books)


def _count(books, bins, event) -> None:
    books.events[:, event] += np.bincount(bins, minlength=books.events.shape[0])


def _sum(bins, values, slots) -> np.ndarray:
    """Whole-number sums per bin; float64 weights are exact below 2**53 ng (9 t)."""
    return np.bincount(bins, values, slots).astype(np.int64)


def _older(insects: Insects, rows) -> None:
    insects.age[rows] = np.minimum(insects.age[rows], 65534) + 1


def _plan(c, d, insects, today, table):
    """Rows of the larvae, what each would gain (float32, ng); bran asked for per bin."""
    rows = insects.rows(Stage.LARVA)
    bins = insects.bin[rows]
    mass = insects.mass[rows].astype(np.float32)
    top = np.float32(c.asymptote) * insects.size[rows]
    own = today.growth_share[bins] * insects.factor[rows]
    more = gain(c.law, insects.mass[rows], top, own)
    ask = (today.feed * more).astype(np.int64) + (today.keep[bins] * mass).astype(np.int64)
    today.ask = _sum(bins, ask, table.shape[0])
    today.ask += (c.adult_feed * table[:, census.ADULT_MASS]).astype(np.int64)
    return rows, more


def _noon(c, d, s, table, today) -> None:
    with np.errstate(divide="ignore", invalid="ignore"):
        food = np.where(today.ask > 0, np.minimum(1.0, s.bran / (c.bran_days * today.ask)), 1.0)
    food[-1] = 1.0
    s.food[:] = food
    s.feeding[:-1] *= food[:-1]
    rise = 1.0 + c.shortage_rise * (1.0 - food)
    thirsty = rise + c.thirst_rise * (1.0 - s.wetness)
    adults = table[:, census.ADULTS].astype(np.float64)
    grams = table[:, census.PREDATOR_MASS] / NG_PER_G
    kg = np.maximum((s.bran + s.frass) / (1000.0 * NG_PER_G), 0.01)
    hazards = np.stack(
        [
            thirsty * (c.adult_egg * adults / c.area_dm2),
            rise * (c.larva_egg * grams / kg),
            thirsty * (c.adult_pupa * adults / c.area_dm2),
            rise * (c.larva_pupa * grams / kg),
        ]
    )
    hazards[:, -1] = 0.0
    dry = c.laying_dry_share + (1.0 - c.laying_dry_share) * s.wetness
    density = np.exp(-c.density_slope * adults / c.area_dm2)
    today.laying = c.peak_eggs * d.laying * dry * density * food
    if c.needs_male:
        today.laying[table[:, census.MALES] == 0] = 0.0
    today.laying[-1] = 0.0
    today.food, today.hazards, today.pace = food, hazards, today.clock * food
    today.hunger = c.starvation_hazard * (1.0 - food) + d.larva_thermal


def _adults(c, d, seed, day, insects, s, today, books):
    rows = insects.rows(Stage.ADULT)
    _older(insects, rows)
    w = words(seed, Block.ADULT_FATE, insects.ident[rows], day)
    bins = insects.bin[rows]
    insects.progress[rows] += d.ageing.astype(np.float32)[bins]
    old = insects.progress[rows] >= insects.factor[rows]
    hazard = (c.adult_hazard + d.adult_thermal).astype(np.float32)[bins]
    gone = old | (insects.tolerance[rows] < hazard)
    insects.tolerance[rows[~gone]] -= hazard[~gone]
    _count(books, bins[old], Event.ADULT_DIED_AGE)
    _count(books, bins[gone & ~old], Event.ADULT_DIED_BACKGROUND)
    s.dead_adults += np.bincount(bins[gone], minlength=s.dead_adults.size)
    _die(insects, rows[gone], books)
    rows, bins, u = rows[~gone], bins[~gone], _unit(w[0][~gone])
    meal = (c.adult_feed * insects.mass[rows] * today.food[bins]).astype(np.int64)
    meal[bins == s.food.size - 1] = 0
    books.eaten += _sum(bins, meal, books.eaten.size)
    teneral = insects.size[rows] < 1
    insects.size[rows[teneral]] += d.teneral.astype(np.float32)[bins[teneral]]
    fertile = (insects.flags[rows] & (Flag.FEMALE | Flag.INJURED)) == Flag.FEMALE
    lays = ~teneral & fertile & (today.laying[bins] > 0)
    rows, bins, u = rows[lays], bins[lays], u[lays]
    age = (insects.progress[rows].astype(np.float64) * c.temper.life_scale).astype(np.int64)
    age = np.minimum(age, c.age_profile.size - 1)
    number = _poisson(u, today.laying[bins] * c.age_profile[age])
    return rows, np.minimum(number, 65535 - insects.tally[rows].astype(np.int64))


def _poisson(u, mean):
    """Poisson counts by inversion, all at once, until the last has stopped."""
    term = np.exp(-mean)
    total, count = term.copy(), np.zeros(u.size, np.int64)
    going = u > total
    while going.any():
        count[going] += 1
        term[going] *= mean[going] / count[going]
        total[going] += term[going]
        going &= (term >= 1e-300) & (u > total) & (count < 1000)
    return count


def _die(insects, rows, books) -> None:
    insects.stage[rows] = Stage.DEAD
    books.flows[Flow.DEAD_MASS] += insects.mass[rows].sum(dtype=np.int64)


def _completion(insects, rows, rate):
    """Pace, progress before, and the time of the day at which the stage is completed."""
    pace = rate * insects.factor[rows].astype(np.float64)
    before = insects.progress[rows].astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        done = np.where(pace > 0, (1.0 - before) / pace, 9.0)
    return pace, before, done


def _pupae(c, d, seed, insects, rows, today, books) -> None:
    _older(insects, rows)
    bins = insects.bin[rows]
    pace, before, done = _completion(insects, rows, d.pupa[bins])
    background = c.pupa_hazard + d.pupa_thermal[bins]
    until = np.minimum(done, 1.0)
    by_adults, by_larvae = today.hazards[2][bins], today.hazards[3][bins]
    fate = np.zeros(rows.size, np.int64)
    now = np.zeros(rows.size)
    open_ = np.arange(rows.size)
    while open_.size:
        own, adults = background[open_], by_adults[open_]
        hazard = own + adults + by_larvae[open_]
        stands = insects.tolerance[rows[open_]].astype(np.float64)
        meets = hazard * (until[open_] - now[open_])
        falls = stands < meets
        insects.tolerance[rows[open_[~falls]]] = (stands - meets)[~falls]
        open_, own, adults, hazard, stands = (
            x[falls] for x in (open_, own, adults, hazard, stands)
        )
        ident, hurt = insects.ident[rows[open_]], insects.has(rows[open_], Flag.INJURED)
        w = words(seed, Block.PUPA_FATE, ident, hurt.astype(np.uint64))
        u = _unit(w[1]) * hazard
        attacked = u >= own
        spared = attacked & ~hurt & (_unit(w[2]) < c.injured_share)
        fate[open_] = np.where(spared, 0, np.where(~attacked, 1, np.where(u < own + adults, 2, 3)))
        open_, ident = open_[spared], ident[spared]
        now[open_] += (stands / hazard)[spared]
        insects.set(rows[open_], Flag.INJURED)
        insects.tolerance[rows[open_]] = _tolerance(words(seed, Block.PUPA_FATE, ident, 0)[0])
    for number, event in enumerate(
        (Event.PUPA_DIED, Event.PUPA_EATEN_ADULTS, Event.PUPA_EATEN_LARVAE), 1
    ):
        _count(books, bins[fate == number], event)
    _die(insects, rows[fate > 0], books)
    stays = (fate == 0) & (done > 1.0)
    insects.progress[rows[stays]] = (before + pace)[stays]
    emerges = (fate == 0) & ~stays
    rows, rest = rows[emerges], 1.0 - done[emerges]
    injured, bins = (insects.flags[rows] & Flag.INJURED) != 0, bins[emerges]
    _count(books, bins[injured], Event.PUPA_INJURED)
    _count(books, bins[~injured], Event.ADULT_EMERGED)
    _turn(insects, rows, Stage.ADULT, c.adult_mass_share, Flow.EMERGENCE_LOSS, books)
    insects.tally[rows] = 0
    w = words(seed, Block.EMERGED, insects.ident[rows], 0)
    u, insects.tolerance[rows] = _unit(w[0]), _tolerance(w[1])
    insects.factor[rows] = (-np.log(u)) ** (1.0 / c.life_shape)
    insects.progress[rows] = rest * d.ageing[bins]
    insects.size[rows] = rest * d.teneral[bins]


def _turn(insects, rows, stage, share, flow, books) -> None:
    """Into the next stage, with a share of the mass."""
    new = (insects.mass[rows] * share).astype(np.uint32)
    books.flows[flow] += (insects.mass[rows] - new).sum(dtype=np.int64)
    insects.mass[rows], insects.stage[rows], insects.age[rows] = new, stage, 0


def _larvae(c, d, seed, day, insects, larvae, s, today, books) -> None:
    rows, gain = larvae
    bins, mass = insects.bin[rows], insects.mass[rows]
    own = np.where(mass < c.young_mass, c.young_hazard, c.larva_hazard)
    insects.tolerance[rows] -= (own + today.hunger[bins]).astype(np.float32)
    dies = insects.tolerance[rows] < 0
    _count(books, bins[dies], Event.LARVA_DIED)
    _die(insects, rows[dies], books)
    rows, bins, mass, gain = (x[~dies] for x in (rows, bins, mass, gain))
    _older(insects, rows)
    gain = gain.astype(np.uint32)
    bran = (today.feed * gain.astype(np.float32)).astype(np.int64)
    bran += (today.keep[bins] * mass.astype(np.float32)).astype(np.int64)
    gain = (gain * today.food[bins]).astype(np.uint32)
    books.eaten += _sum(bins, (bran * today.food[bins]).astype(np.int64), books.eaten.size)
    grown = _sum(bins, gain, books.grown.size)
    books.grown += grown
    books.flows[Flow.GAIN] += grown.sum()
    mass = mass + gain
    insects.mass[rows] = mass
    _molt(c, insects, rows, bins, mass, s, books)
    pace = today.pace[bins].astype(np.float32) * insects.factor[rows]
    before = insects.progress[rows]
    now = before + pace
    insects.progress[rows] = now
    ripe = (now >= 1) & (mass >= c.critical_mass)
    ripe[ripe] = (
        words(seed, Block.LARVA_FATE, insects.ident[rows[ripe]], day)[0] < today.ripe_at[bins[ripe]]
    )
    rows, before, now, pace = rows[ripe], before[ripe], now[ripe], pace[ripe].astype(np.float64)
    over = (now - np.float32(1)).astype(np.float64)
    rest = np.divide(over, pace, out=np.zeros(rows.size), where=before < 1)
    bins = bins[ripe]
    _count(books, bins, Event.PUPA_FORMED)
    _turn(insects, rows, Stage.PUPA, c.pupa_mass_share, Flow.PUPATION_LOSS, books)
    w = words(seed, Block.PUPATED, insects.ident[rows], 0)
    insects.tolerance[rows] = _tolerance(w[2])
    factor = (1.0 / _lognormal(_normals(*w[:2])[0], c.pupa_cv)).astype(np.float32)
    insects.factor[rows] = factor
    insects.progress[rows] = (rest * d.pupa[bins]).astype(np.float32) * factor


def _molt(c, insects, rows, bins, mass, s, books) -> None:
    instar = insects.tally[rows].astype(np.int64)
    new = np.maximum(instar, 1 + np.searchsorted(c.molt_mass, mass, side="right"))
    shed = new - instar
    molts = shed > 0
    rows, bins, mass, shed = rows[molts], bins[molts], mass[molts], shed[molts]
    insects.tally[rows] = new[molts]
    skin = shed * (c.exuvia_share * mass).astype(np.int64)
    s.skins += _sum(bins, shed, s.skins.size)
    s.visible_skins += _sum(bins, shed * (mass >= c.visible_mass), s.skins.size)
    s.skin_mass += _sum(bins, skin, s.skins.size)
    books.flows[Flow.SKIN_MASS] += skin.sum()


def _egg_hazards(d, today, bins, age, hidden):
    """Hazards of eggs from themselves, adults and larvae; and their sum in single precision."""
    own = d.egg_own[bins, np.minimum(age, d.egg_own.shape[1] - 1)]
    by_adults = np.where(hidden, 0.0, today.hazards[0][bins])
    by_larvae = today.hazards[1][bins]
    return (own, by_adults, by_larvae), (own + by_larvae + by_adults).astype(np.float32)


def _egg_fate(seed, ident, hazards):
    """Number of the cause of each death, in proportion to the hazards."""
    own, by_adults, by_larvae = hazards
    u = _unit(words(seed, Block.EGG_FATE, ident, 0)[1]) * (own + by_adults + by_larvae)
    return np.where(u < own, 1, np.where(u < own + by_adults, 2, 3))


def _lose_eggs(books, bins, fate) -> None:
    for number, event in enumerate(
        (Event.EGG_UNHATCHED, Event.EGG_EATEN_ADULTS, Event.EGG_EATEN_LARVAE), 1
    ):
        _count(books, bins[fate == number], event)


def _eggs(c, d, seed, insects, rows, today, books) -> None:
    _older(insects, rows)
    bins = insects.bin[rows]
    pace = d.egg.astype(np.float32)[bins] * insects.factor[rows]
    before = insects.progress[rows]
    ready = before + pace >= 1
    with np.errstate(divide="ignore", invalid="ignore"):
        done = (1.0 - before.astype(np.float64)) / pace.astype(np.float64)
    done = np.where(ready, np.clip(done, 0.0, 1.0), 9.0)
    hidden = (insects.flags[rows] & Flag.OUT_OF_REACH) != 0
    hazards, total = _egg_hazards(d, today, bins, insects.age[rows], hidden)
    stands = insects.tolerance[rows]
    with np.errstate(divide="ignore", invalid="ignore"):
        falls = (stands < total) & (stands.astype(np.float64) / total < done)
    fate = np.where(falls, _egg_fate(seed, insects.ident[rows], hazards), 0)
    viable = (insects.flags[rows] & Flag.VIABLE) != 0
    ends = (fate == 0) & ready
    fate[ends & ~viable] = 1
    hatches = ends & viable
    _lose_eggs(books, bins, fate)
    _die(insects, rows[fate > 0], books)
    stays = (fate == 0) & ~hatches
    insects.progress[rows[stays]] = (before + pace)[stays]
    insects.tolerance[rows[stays]] = (stands - total)[stays]
    rows, bins, rest = rows[hatches], bins[hatches], 1.0 - done[hatches]
    _count(books, bins, Event.EGG_HATCHED)
    books.flows[Flow.HATCHING_LOSS] += (
        insects.mass[rows].astype(np.int64) - c.hatchling_mass
    ).sum()
    insects.stage[rows], insects.age[rows], insects.tally[rows] = Stage.LARVA, 0, 1
    insects.mass[rows] = c.hatchling_mass
    w = words(seed, Block.HATCHED, insects.ident[rows], 0)
    insects.tolerance[rows] = _tolerance(w[2])
    one, other = _normals(*w[:2])
    factor = (1.0 / _lognormal(one, c.larva_cv)).astype(np.float32)
    insects.factor[rows] = factor
    insects.size[rows] = np.minimum(c.size_most, _lognormal(other, c.size_cv))
    insects.progress[rows] = (rest * today.pace[bins]).astype(np.float32) * factor


def _evening(c, table, s, books) -> None:
    eaten, grown = books.eaten[:-1], books.grown[:-1]
    s.bran[:-1] -= eaten
    made = (c.frass_share * eaten).astype(np.int64)
    s.frass[:-1] += made
    need = c.water_need * (table[:-1, census.LARVA_MASS] + table[:-1, census.ADULT_MASS])
    wanted = (need + c.water_share_of_gain * grown).astype(np.int64)
    drunk = np.minimum(s.moisture[:-1], wanted)
    s.moisture[:-1] -= drunk
    dried = (c.evaporation_share * s.moisture[:-1]).astype(np.int64)
    s.moisture[:-1] -= dried
    for flow, amount in (
        (Flow.BRAN_EATEN, eaten),
        (Flow.FRASS_MADE, made),
        (Flow.WATER_DRUNK, drunk),
        (Flow.WATER_EVAPORATED, dried),
    ):
        books.flows[flow] += amount.sum()


def _lay(c, d, seed, insects, laid, today, books) -> None:
    mothers, number = laid
    total = int(number.sum())
    if not total:
        return
    first = insects.tally[mothers].astype(np.int64)
    insects.tally[mothers] += number.astype(np.uint16)
    of = np.repeat(mothers, number)
    ordinal = np.arange(total) - np.repeat(np.cumsum(number) - number, number)
    ordinal += np.repeat(first, number)
    bins = insects.bin[of]
    a, b, _, _ = words(seed, Block.LINEAGE, insects.ident[of], ordinal)
    child = (a << _SHIFT) | b
    _count(books, bins, Event.EGG_LAID)
    books.flows[Flow.EGG_MASS] += c.egg_mass * total
    w = words(seed, Block.EGG_FATE, child, 0)
    rest, hidden = _unit(w[2]), _unit(w[3]) < today.hidden[bins]
    hazards, total = _egg_hazards(d, today, bins, np.zeros(total, np.int64), hidden)
    left = _tolerance(w[0]) - rest * total.astype(np.float64)
    fate = np.where(left < 0, _egg_fate(seed, child, hazards), 0)
    _lose_eggs(books, bins, fate)
    books.flows[Flow.DEAD_MASS] += c.egg_mass * int(np.count_nonzero(fate))
    child, bins, rest, hidden, left = (x[fate == 0] for x in (child, bins, rest, hidden, left))
    w = words(seed, Block.LAID, child, 0)
    flags = np.where(_unit(w[0]) < c.female_share, Flag.FEMALE, 0)
    flags |= np.where(_unit(w[1]) < d.viability[bins], Flag.VIABLE, 0)
    flags |= np.where(hidden, Flag.OUT_OF_REACH, 0)
    pace = (1.0 / _lognormal(_normals(w[2], w[3])[0], c.egg_cv)).astype(np.float32)
    insects.append(
        child.size,
        ident=child,
        mass=c.egg_mass,
        progress=(rest * d.egg[bins]).astype(np.float32) * pace,
        factor=pace,
        tolerance=left,
        bin=bins,
        stage=Stage.EGG,
        flags=flags,
    )
