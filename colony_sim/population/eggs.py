"""The day of the eggs: eaten, killed, hatched; and the laying of new ones."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import duration_factor
from colony_sim.population.books import (
    EGG,
    NEVER,
    NO_WORD,
    VIABILITY,
    first_death,
    grow_older,
)
from colony_sim.population.chunks import CHUNK, all_words, gather, pick
from colony_sim.population.draws import Block, identity, normal, unit, words
from colony_sim.population.ledger import Event, Flow

_FATE = int(Block.EGG_FATE)
_DEPTH = int(Block.DEPTH)
_LAID_WORDS = int(Block.LAID)
_HATCHED_WORDS = int(Block.HATCHED)
_LAID = int(Event.EGG_LAID)
_HATCHED = int(Event.EGG_HATCHED)
_EATEN_ADULTS = int(Event.EGG_EATEN_ADULTS)
_EATEN_LARVAE = int(Event.EGG_EATEN_LARVAE)
_UNHATCHED = int(Event.EGG_UNHATCHED)
_EGG_MASS = int(Flow.EGG_MASS)
_HATCHING = int(Flow.HATCHING_LOSS)
_DEAD = int(Flow.DEAD_MASS)


@kernel()
def live_eggs(c, seed, day, cols, today, books):
    """One day of every egg."""
    stage, bins, age, factor = cols.stage, cols.bin, cols.age, cols.factor
    progress, flags, egg_at = cols.progress, cols.flags, today.egg_at
    oldest = today.egg_own.shape[1] - 1
    rows = np.empty(CHUNK + 1, np.uint32)
    ident = np.empty(CHUNK, np.uint64)
    w0 = np.empty(CHUNK, np.uint32)
    w1 = np.empty(CHUNK, np.uint32)
    w2 = np.empty(CHUNK, np.uint32)
    w3 = np.empty(CHUNK, np.uint32)
    rest = np.empty(CHUNK, np.float64)
    for start in range(0, stage.size, CHUNK):
        count = pick(stage, 1, start, min(start + CHUNK, stage.size), rows)
        if count == 0:
            continue
        gather(cols.ident, rows, count, ident)
        all_words(seed, _FATE, day, ident, count, w0, w1, w2, w3)
        hatching = 0
        for j in range(count):
            i = np.uint64(rows[j])
            b = np.uint64(bins[i])
            grow_older(age, i)
            pace = today.rates[b, EGG] * np.float64(factor[i])
            before = np.float64(progress[i])
            days = min(np.int64(age[i]), oldest)
            own_at = today.egg_own_at[b, days]
            by_adults = np.uint64(w1[j]) if (flags[i] & 16) == 0 else NO_WORD
            attacked = (
                (np.uint64(w0[j]) < own_at)
                | (by_adults < egg_at[b, 0])
                | (np.uint64(w2[j]) < egg_at[b, 1])
            )
            if not attacked and 1.0 - before > pace:
                progress[i] = np.float32(before + pace)
                continue
            done = max(0.0, (1.0 - before) / pace) if pace > 0.0 else NEVER
            fate = 0
            if attacked:
                fate = first_death(
                    today.egg_own[b, days],
                    own_at,
                    today.hazards,
                    0,
                    egg_at,
                    0,
                    b,
                    w0[j],
                    by_adults,
                    w2[j],
                    min(done, 1.0),
                )
            if fate == 0 and done <= 1.0:
                fate = 4 if (flags[i] & 2) != 0 else 1
            if fate == 0:
                progress[i] = np.float32(before + pace)
            elif fate == 4:
                books.events[b, _HATCHED] += 1
                rows[hatching] = i
                rest[hatching] = 1.0 - done
                hatching += 1
            else:
                stage[i] = 0
                _lose(books.events, books.flows, b, fate, np.int64(cols.mass[i]))
        if hatching > 0:
            many = np.uint64(hatching)
            gather(cols.ident, rows, many, ident)
            all_words(seed, _HATCHED_WORDS, 0, ident, many, w0, w1, w2, w3)
            for j in range(hatching):
                i = rows[j]
                stage[i] = 2
                age[i] = 0
                cols.instar[i] = 1
                books.flows[_HATCHING] += np.int64(cols.mass[i]) - c.hatchling_mass
                cols.mass[i] = c.hatchling_mass
                f = np.float32(1.0 / duration_factor(normal(w0[j], w1[j]), c.larva_cv))
                factor[i] = f
                wide = duration_factor(normal(w2[j], w3[j]), c.size_cv)
                cols.size[i] = np.float32(min(c.size_most, wide))
                progress[i] = np.float32(rest[j] * today.pace[bins[i]]) * f


@kernel()
def lay_eggs(egg_mass, egg_cv, female_share, seed, day, start, laid, mothers, cols, today, books):
    """Lay the day's eggs, each at its own time of the day, into the rows from `start` on.

    Takes three of the constants and not the bundle, which costs more to pass from Python than
    the eggs of a small colony. `laid` holds the rows and numbers of the mothers. For what is
    left of the day an egg develops and is exposed; one that is lost at once takes no row.
    Returns the row after the last.
    """
    parent = np.empty(CHUNK, np.uint64)
    number = np.empty(CHUNK, np.uint32)
    place = np.empty(CHUNK, np.uint16)
    child = np.empty(CHUNK, np.uint64)
    hidden = np.empty(CHUNK, np.uint8)
    rest = np.empty(CHUNK, np.float64)
    w0 = np.empty(CHUNK, np.uint32)
    w1 = np.empty(CHUNK, np.uint32)
    w2 = np.empty(CHUNK, np.uint32)
    w3 = np.empty(CHUNK, np.uint32)
    egg_at = today.egg_at
    row = start
    k = 0
    more = np.int64(0)
    while k < mothers:
        count = 0
        while k < mothers and count < CHUNK:
            i = laid[k, 0]
            while more < laid[k, 1] and count < CHUNK:
                parent[count] = cols.ident[i]
                number[count] = cols.eggs[i]
                place[count] = cols.bin[i]
                cols.eggs[i] += 1
                more += 1
                count += 1
            if more == laid[k, 1]:
                books.events[cols.bin[i], _LAID] += more
                books.flows[_EGG_MASS] += np.int64(egg_mass) * more
                more = 0
                k += 1
        many = np.uint64(count)
        identities(seed, parent, number, many, child)
        all_words(seed, _FATE, day, child, many, w0, w1, w2, w3)
        kept = 0
        for j in range(count):
            b = np.uint64(place[j])
            left = unit(w3[j])
            by_adults = np.uint64(w1[j])
            below = np.uint8(0)
            if today.hidden[b] > 0.0:
                deep, _, _, _ = words(seed, _DEPTH, child[j], 0)
                if unit(deep) < today.hidden[b]:
                    below = np.uint8(16)
                    by_adults = NO_WORD
            fate = first_death(
                today.egg_own[b, 0],
                today.egg_own_at[b, 0],
                today.hazards,
                0,
                egg_at,
                0,
                b,
                w0[j],
                by_adults,
                w2[j],
                left,
            )
            if fate > 0:
                _lose(books.events, books.flows, b, fate, np.int64(egg_mass))
                continue
            child[kept] = child[j]
            place[kept] = place[j]
            rest[kept] = left
            hidden[kept] = below
            kept += 1
        all_words(seed, _LAID_WORDS, 0, child, np.uint64(kept), w0, w1, w2, w3)
        for j in range(kept):
            b = np.uint64(place[j])
            f = hidden[j]
            if unit(w0[j]) < female_share:
                f |= np.uint8(1)
            if unit(w1[j]) < today.rates[b, VIABILITY]:
                f |= np.uint8(2)
            pace = np.float32(1.0 / duration_factor(normal(w2[j], w3[j]), egg_cv))
            cols.ident[row] = child[j]
            cols.mass[row] = egg_mass
            cols.progress[row] = np.float32(rest[j] * today.rates[b, EGG]) * pace
            cols.factor[row] = pace
            cols.size[row] = 0.0
            cols.age[row] = 0
            cols.eggs[row] = 0
            cols.bin[row] = place[j]
            cols.stage[row] = 1
            cols.instar[row] = 0
            cols.flags[row] = f
            row += 1
    return row


@kernel()
def identities(seed, mother, number, count, child):
    """Identities of many eggs; free of branches, so that it compiles to vectors."""
    for j in range(count):
        child[j] = identity(seed, mother[j], number[j])


@kernel()
def _lose(events, flows, b, fate, mass):
    """Book the loss of an egg."""
    flows[_DEAD] += mass
    if fate == 1:
        events[b, _UNHATCHED] += 1
    elif fate == 2:
        events[b, _EATEN_ADULTS] += 1
    else:
        events[b, _EATEN_LARVAE] += 1
