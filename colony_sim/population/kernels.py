"""The day of every insect, as numba kernels over the columns of `Insects`.

A day runs in this order: limits per bin from the morning's census and stocks; growth that
each larva would make; shortage of bran and hazards per bin; the fate of each insect; stocks;
new eggs. Within a day competing events have exact latent times (exponential at the day's
hazard, completion of the stage at the day's rate), and the earliest counts.
"""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import duration_factor, weibull_life
from colony_sim.biology.growth import clock_limit, crowding_limit, food_limit, moisture_limit
from colony_sim.biology.predation import adult_hazard, larva_hazard, shortage_factor
from colony_sim.biology.rates import NG_PER_G, Constants, DayRates
from colony_sim.population import census
from colony_sim.population.draws import WORDS, identity, normal, poisson, unit, words
from colony_sim.population.insects import Insects
from colony_sim.population.ledger import Event, Flow
from colony_sim.population.substrate import Substrate

#: Columns of the table of hazards per bin (1/d).
_EGG_ADULT, _EGG_LARVA, _PUPA_ADULT, _PUPA_LARVA = range(4)
_ONE = np.float32(1.0)
_NEVER = 9.0

# Events and flows as plain numbers, which is what numba compiles.
_E_LAID = int(Event.EGG_LAID)
_E_HATCHED = int(Event.EGG_HATCHED)
_E_EATEN_ADULTS = int(Event.EGG_EATEN_ADULTS)
_E_EATEN_LARVAE = int(Event.EGG_EATEN_LARVAE)
_E_UNHATCHED = int(Event.EGG_UNHATCHED)
_L_DIED = int(Event.LARVA_DIED)
_P_FORMED = int(Event.PUPA_FORMED)
_P_EATEN_ADULTS = int(Event.PUPA_EATEN_ADULTS)
_P_EATEN_LARVAE = int(Event.PUPA_EATEN_LARVAE)
_P_DIED = int(Event.PUPA_DIED)
_P_INJURED = int(Event.PUPA_INJURED)
_A_EMERGED = int(Event.ADULT_EMERGED)
_A_AGE = int(Event.ADULT_DIED_AGE)
_A_BACKGROUND = int(Event.ADULT_DIED_BACKGROUND)
_F_EGGS = int(Flow.EGG_MASS)
_F_GAIN = int(Flow.GAIN)
_F_HATCHING = int(Flow.HATCHING_LOSS)
_F_PUPATION = int(Flow.PUPATION_LOSS)
_F_EMERGENCE = int(Flow.EMERGENCE_LOSS)
_F_DEAD = int(Flow.DEAD_MASS)
_F_BRAN = int(Flow.BRAN_EATEN)
_F_FRASS = int(Flow.FRASS_MADE)
_F_DRUNK = int(Flow.WATER_DRUNK)
_F_DRIED = int(Flow.WATER_EVAPORATED)
_F_SKIN = int(Flow.SKIN_MASS)


@kernel(inline="always")
def _threshold(hazard):
    """Words below this number mean that an event of this daily hazard happens today."""
    return np.uint64((1.0 - math.exp(-hazard)) * WORDS)


@kernel(inline="always")
def _latent(word, hazard):
    """Time within the day (0 to 1) of an event that happens today."""
    return -math.log1p(-unit(word)) / hazard


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
def _plan_growth(stage, bins, mass, factor, size, growth_share, asymptote, gain, feed, keep, ask):
    """Growth (ng) of each larva with bran in plenty, and the bran (ng) asked for per bin."""
    for i in range(stage.size):
        if stage[i] != 2:
            continue
        b = bins[i]
        m = np.float32(mass[i])
        root = np.sqrt(np.sqrt(m))
        top = asymptote * size[i]
        g = np.float32(0.0)
        if top > root:
            share = min(_ONE, growth_share[b] * factor[i])
            root += share * (top - root)
            root *= root
            g = max(np.float32(0.0), root * root - m)
        gain[i] = np.uint32(g)
        ask[b] += np.int64(feed * g) + np.int64(keep * m)


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
def _fates(
    c,
    d,
    seed,
    day,
    ident,
    mass,
    progress,
    factor,
    size,
    age,
    eggs,
    bins,
    stage,
    instar,
    flags,
    gain,
    clock_pace,
    food,
    hazards,
    laying,
    skins,
    visible_skins,
    skin_mass,
    dead_adults,
    events,
    flows,
    eaten,
    grown,
    laid,
):
    """One day of every insect; returns the number of mothers written to `laid`."""
    slots = food.size
    tray = slots - 1
    egg_at = np.empty((slots, 3), np.uint64)
    pupa_at = np.empty((slots, 3), np.uint64)
    young_at = np.empty(slots, np.uint64)
    larva_at = np.empty(slots, np.uint64)
    for b in range(slots):
        egg_at[b, 0] = _threshold(d.egg_thermal)
        egg_at[b, 1] = _threshold(hazards[b, 0])
        egg_at[b, 2] = _threshold(hazards[b, 1])
        pupa_at[b, 0] = _threshold(c.pupa_hazard + d.pupa_thermal)
        pupa_at[b, 1] = _threshold(hazards[b, 2])
        pupa_at[b, 2] = _threshold(hazards[b, 3])
        hunger = c.starvation_hazard * (1.0 - food[b]) + d.larva_thermal
        young_at[b] = _threshold(c.young_hazard + hunger)
        larva_at[b] = _threshold(c.larva_hazard + hunger)
    adult_at = _threshold(c.adult_hazard + d.adult_thermal)
    pupa_background = c.pupa_hazard + d.pupa_thermal
    oldest = c.age_profile.size - 1
    feed_per_gain = np.float32(c.per_gain)
    keep = np.float32(c.maintenance * d.larva_relative)
    mothers = 0
    for i in range(stage.size):
        s = stage[i]
        if s == 0:
            continue
        b = bins[i]
        if age[i] < 65535:
            age[i] += 1
        if s == 2:
            m = mass[i]
            w0, _, _, _ = words(seed, 2, ident[i], day)
            at = young_at[b] if m < c.young_mass else larva_at[b]
            if np.uint64(w0) < at:
                stage[i] = 0
                events[b, _L_DIED] += 1
                flows[_F_DEAD] += np.int64(m)
                continue
            g = gain[i]
            bran = np.int64(feed_per_gain * np.float32(g)) + np.int64(keep * np.float32(m))
            if food[b] < 1.0:
                g = np.uint32(g * food[b])
                bran = np.int64(bran * food[b])
            m = np.uint32(m + g)
            mass[i] = m
            eaten[b] += bran
            grown[b] += np.int64(g)
            flows[_F_GAIN] += np.int64(g)
            k = np.int64(instar[i])
            while k <= c.molt_mass.size and m >= c.molt_mass[k - 1]:
                k += 1
                skins[b] += 1
                if m >= c.visible_mass:
                    visible_skins[b] += 1
                skin = np.int64(c.exuvia_share * m)
                skin_mass[b] += skin
                flows[_F_SKIN] += skin
            instar[i] = np.uint8(k)
            before = progress[i]
            pace = np.float32(clock_pace[b] * food[b]) * factor[i]
            now = before + pace
            progress[i] = now
            if now >= _ONE and m >= c.critical_mass:
                # Pupated: what is left of the day after the clock ran out goes to the pupa.
                rest = 0.0
                if before < _ONE:
                    rest = np.float64(now - _ONE) / np.float64(pace)
                stage[i] = 3
                age[i] = 0
                new = np.uint32(m * c.pupa_mass_share)
                flows[_F_PUPATION] += np.int64(m - new)
                mass[i] = new
                events[b, _P_FORMED] += 1
                wa, wb, _, _ = words(seed, 7, ident[i], 0)
                f = np.float32(1.0 / duration_factor(normal(wa, wb), c.pupa_cv))
                factor[i] = f
                progress[i] = np.float32(rest * d.pupa) * f
        elif s == 1:
            pace_e = d.egg * np.float64(factor[i])
            before_e = np.float64(progress[i])
            done = (1.0 - before_e) / pace_e if pace_e > 0.0 else _NEVER
            fate = 0
            first = min(done, 1.0)
            if egg_at[b, 0] > 0 or egg_at[b, 1] > 0 or egg_at[b, 2] > 0:
                w0, w1, w2, _ = words(seed, 1, ident[i], day)
                if np.uint64(w0) < egg_at[b, 0]:
                    t = _latent(w0, d.egg_thermal)
                    if t < first:
                        first = t
                        fate = 1
                if np.uint64(w1) < egg_at[b, 1]:
                    t = _latent(w1, hazards[b, 0])
                    if t < first:
                        first = t
                        fate = 2
                if np.uint64(w2) < egg_at[b, 2]:
                    t = _latent(w2, hazards[b, 1])
                    if t < first:
                        first = t
                        fate = 3
            if fate == 0 and (age[i] - 1.0) + min(done, 1.0) >= c.egg_longest_days:
                fate = 1
            elif fate == 0 and done <= 1.0:
                fate = 4 if (flags[i] & 2) != 0 else 1
            if fate == 0:
                progress[i] = np.float32(before_e + pace_e)
            elif fate == 4:
                events[b, _E_HATCHED] += 1
                stage[i] = 2
                age[i] = 0
                instar[i] = 1
                flows[_F_HATCHING] += np.int64(mass[i]) - c.hatchling_mass
                mass[i] = c.hatchling_mass
                wa, wb, wc, wd = words(seed, 6, ident[i], 0)
                f = np.float32(1.0 / duration_factor(normal(wa, wb), c.larva_cv))
                factor[i] = f
                size[i] = np.float32(min(c.size_most, duration_factor(normal(wc, wd), c.size_cv)))
                progress[i] = np.float32((1.0 - done) * clock_pace[b] * food[b]) * f
            else:
                stage[i] = 0
                flows[_F_DEAD] += np.int64(mass[i])
                if fate == 1:
                    events[b, _E_UNHATCHED] += 1
                elif fate == 2:
                    events[b, _E_EATEN_ADULTS] += 1
                else:
                    events[b, _E_EATEN_LARVAE] += 1
        elif s == 3:
            pace_p = d.pupa * np.float64(factor[i])
            before_p = np.float64(progress[i])
            done = (1.0 - before_p) / pace_p if pace_p > 0.0 else _NEVER
            first = min(done, 1.0)
            fate = 0
            w0, w1, w2, w3 = words(seed, 3, ident[i], day)
            background = 0
            if np.uint64(w0) < pupa_at[b, 0]:
                t = _latent(w0, pupa_background)
                if t < first:
                    first = t
                    background = 1
            fate = background
            if np.uint64(w1) < pupa_at[b, 1]:
                t = _latent(w1, hazards[b, 2])
                if t < first:
                    first = t
                    fate = 2
            if np.uint64(w2) < pupa_at[b, 2]:
                t = _latent(w2, hazards[b, 3])
                if t < first:
                    first = t
                    fate = 3
            if fate >= 2 and (flags[i] & 4) == 0 and unit(w3) < c.injured_share:
                flags[i] |= np.uint8(4)
                fate = background
            if fate == 0:
                if done > 1.0:
                    progress[i] = np.float32(before_p + pace_p)
                    continue
                rest = 1.0 - done
                stage[i] = 4
                age[i] = 0
                eggs[i] = 0
                new = np.uint32(mass[i] * c.adult_mass_share)
                flows[_F_EMERGENCE] += np.int64(mass[i] - new)
                mass[i] = new
                events[b, _A_EMERGED if (flags[i] & 4) == 0 else _P_INJURED] += 1
                wa, _, _, _ = words(seed, 8, ident[i], 0)
                factor[i] = np.float32(weibull_life(unit(wa), c.life_shape))
                progress[i] = np.float32(rest * d.ageing)
                size[i] = np.float32(rest * d.teneral)
            else:
                stage[i] = 0
                flows[_F_DEAD] += np.int64(mass[i])
                if fate == 1:
                    events[b, _P_DIED] += 1
                elif fate == 2:
                    events[b, _P_EATEN_ADULTS] += 1
                else:
                    events[b, _P_EATEN_LARVAE] += 1
        else:
            w0, w1, _, _ = words(seed, 4, ident[i], day)
            progress[i] += np.float32(d.ageing)
            old = progress[i] >= factor[i]
            if old or np.uint64(w0) < adult_at:
                stage[i] = 0
                events[b, _A_AGE if old else _A_BACKGROUND] += 1
                flows[_F_DEAD] += np.int64(mass[i])
                dead_adults[b] += 1
                continue
            if b != tray:
                eaten[b] += np.int64(c.adult_feed * mass[i] * food[b])
            if size[i] < _ONE:
                size[i] += np.float32(d.teneral)
            elif (flags[i] & 5) == 1 and laying[b] > 0.0:
                mean = laying[b] * c.age_profile[min(np.int64(age[i]), oldest)]
                # An egg's number is part of its identity and must fit its column.
                n = min(poisson(unit(w1), mean), 65535 - np.int64(eggs[i]))
                if n > 0:
                    laid[mothers, 0] = i
                    laid[mothers, 1] = n
                    mothers += 1
    return mothers


@kernel()
def _lay(
    c,
    d,
    seed,
    start,
    laid,
    mothers,
    ident,
    mass,
    progress,
    factor,
    size,
    age,
    eggs,
    bins,
    stage,
    instar,
    flags,
    events,
    flows,
):
    """Write the day's eggs into the rows from `start` on."""
    row = start
    for k in range(mothers):
        i = laid[k, 0]
        b = bins[i]
        for _ in range(laid[k, 1]):
            child = identity(seed, ident[i], np.int64(eggs[i]))
            eggs[i] += 1
            w0, w1, w2, w3 = words(seed, 5, child, 0)
            f = np.uint8(0)
            if unit(w0) < c.female_share:
                f |= np.uint8(1)
            if unit(w1) < d.viability:
                f |= np.uint8(2)
            ident[row] = child
            mass[row] = c.egg_mass
            progress[row] = 0.0
            factor[row] = np.float32(1.0 / duration_factor(normal(w2, w3), c.egg_cv))
            size[row] = 0.0
            age[row] = 0
            eggs[row] = 0
            bins[row] = b
            stage[row] = 1
            instar[row] = 0
            flags[row] = f
            row += 1
        events[b, _E_LAID] += laid[k, 1]
        flows[_F_EGGS] += np.int64(c.egg_mass) * laid[k, 1]


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
    growth_share = np.zeros(slots, np.float32)
    clock_pace = np.zeros(slots, np.float64)
    ask = np.zeros(slots, np.int64)
    hazards = np.zeros((slots, 4), np.float64)
    laying = np.zeros(slots, np.float64)
    eaten = np.zeros(slots, np.int64)
    grown = np.zeros(slots, np.int64)
    s = substrate
    _limits(c, d, table, s.moisture, s.wetness, s.crowding, growth_share, clock_pace)
    v = {name: insects.view(name) for name in ("stage", "bin", "mass", "factor", "size")}
    gain = np.zeros(insects.n, np.uint32)
    _plan_growth(
        v["stage"],
        v["bin"],
        v["mass"],
        v["factor"],
        v["size"],
        growth_share,
        np.float32(c.asymptote_root),
        gain,
        np.float32(c.per_gain),
        np.float32(c.maintenance * d.larva_relative),
        ask,
    )
    ask += (c.adult_feed * table[:, census.ADULT_MASS]).astype(np.int64)
    _shortage(c, d, table, s.bran, s.frass, ask, s.food, hazards)
    _laying(c, d, table, s.wetness, s.food, laying)
    laid = np.empty((int(table[:, census.ADULTS].sum()), 2), np.int64)
    mothers = _fates(
        c,
        d,
        np.uint64(seed),
        day,
        insects.view("ident"),
        v["mass"],
        insects.view("progress"),
        v["factor"],
        v["size"],
        insects.view("age"),
        insects.view("eggs"),
        v["bin"],
        v["stage"],
        insects.view("instar"),
        insects.view("flags"),
        gain,
        clock_pace,
        s.food,
        hazards,
        laying,
        s.skins,
        s.visible_skins,
        s.skin_mass,
        s.dead_adults,
        events,
        flows,
        eaten,
        grown,
        laid,
    )
    _stocks(c, table, s.bran, s.frass, s.moisture, eaten, grown, flows)
    count = int(laid[:mothers, 1].sum())
    if count:
        insects.reserve(count)
        _lay(
            c,
            d,
            np.uint64(seed),
            insects.n,
            laid,
            mothers,
            insects.ident,
            insects.mass,
            insects.progress,
            insects.factor,
            insects.size,
            insects.age,
            insects.eggs,
            insects.bin,
            insects.stage,
            insects.instar,
            insects.flags,
            events,
            flows,
        )
        insects.n += count
