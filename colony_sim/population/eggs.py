"""The day of the eggs: eaten, killed, hatched; and the laying of new ones."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import duration_factor
from colony_sim.population.books import EGG, NEVER, VIABILITY
from colony_sim.population.chunks import CHUNK, all_words, has, pick
from colony_sim.population.draws import Block, identity, normals, tolerance, unit, words
from colony_sim.population.insects import (
    IS_DEAD,
    IS_EGG,
    IS_FEMALE,
    IS_LARVA,
    IS_OUT_OF_REACH,
    IS_VIABLE,
)
from colony_sim.population.ledger import Event, Flow
from colony_sim.population.runs import end_of_run

_ONE = np.float32(1.0)
_FATE = int(Block.EGG_FATE)
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
def live_eggs(c, seed, cols, today, books):
    """One day of every egg."""
    stage = cols.stage
    turn = np.empty(CHUNK, np.bool_)
    rows = np.empty(CHUNK + 1, np.uint32)
    ident = np.empty(CHUNK, np.uint64)
    rest = np.empty(CHUNK, np.float64)
    w0 = np.empty(CHUNK, np.uint32)
    w1 = np.empty(CHUNK, np.uint32)
    w2 = np.empty(CHUNK, np.uint32)
    w3 = np.empty(CHUNK, np.uint32)
    stop = 0
    while stop < stage.size:
        start = stop
        stop, b = end_of_run(stage, cols.bin, start, min(start + CHUNK, stage.size))
        kind = stage[start:stop]
        if not has(kind, IS_EGG):
            continue
        pace = np.float32(today.rates[b, EGG])
        _live(
            kind,
            cols.flags[start:stop],
            cols.tolerance[start:stop],
            cols.progress[start:stop],
            cols.age[start:stop],
            cols.factor[start:stop],
            today.egg_hazard[b],
            pace,
            turn,
        )
        hatching = 0
        for r in range(pick(turn, True, 0, kind.size, rows)):
            i = np.uint64(start) + np.uint64(rows[r])
            done = _completion(cols.progress[i], pace * cols.factor[i])
            below = np.int64((cols.flags[i] & IS_OUT_OF_REACH) != 0)
            days = min(np.int64(cols.age[i]), today.egg_hazard.shape[2] - 1)
            hazard = today.egg_hazard[b, below, days]
            if cols.tolerance[i] < hazard and np.float64(cols.tolerance[i]) / hazard < done:
                _, cause, _, _ = words(seed, _FATE, cols.ident[i], 0)
                _lose(today, books, b, below, days, cause, np.int64(cols.mass[i]))
                stage[i] = IS_DEAD
            elif (cols.flags[i] & IS_VIABLE) == 0:
                books.events[b, _UNHATCHED] += 1
                books.flows[_DEAD] += np.int64(cols.mass[i])
                stage[i] = IS_DEAD
            else:
                rows[hatching] = i
                ident[hatching] = cols.ident[i]
                rest[hatching] = 1.0 - done
                hatching += 1
        all_words(seed, _HATCHED_WORDS, 0, ident, np.uint64(hatching), w0, w1, w2, w3)
        for k in range(hatching):
            _hatch(c, cols, today, books, rows[k], b, rest[k], w0[k], w1[k], w2[k])


@kernel(inline="always")
def _completion(before, pace):
    """Time of the day at which an egg is ready to hatch."""
    if before + pace < _ONE:
        return NEVER
    return min(max(0.0, (1.0 - np.float64(before)) / np.float64(pace)), 1.0)


@kernel()
def _live(stage, flags, tolerance, progress, age, factor, hazard, pace, turn):
    """A day of the eggs of a run; who dies or hatches stays as it was in the morning."""
    oldest = np.uint16(hazard.shape[1] - 1)
    for j in range(stage.size):
        egg = stage[j] == IS_EGG
        older = np.uint16(age[j] + np.uint16(age[j] < 65535))
        days = older if older < oldest else oldest
        h = hazard[np.uint8((flags[j] & IS_OUT_OF_REACH) != 0), days]
        now = progress[j] + pace * factor[j]
        falls = tolerance[j] < h
        turn[j] = egg & (falls | (now >= _ONE))
        stays = egg & ~falls & (now < _ONE)
        age[j] = older if egg else age[j]
        tolerance[j] = tolerance[j] - h if stays else tolerance[j]
        progress[j] = now if stays else progress[j]


@kernel()
def _hatch(c, cols, today, books, i, b, rest, w0, w1, w2):
    """Make the egg a larva; `rest` is what is left of the day, then words of its own."""
    books.events[b, _HATCHED] += 1
    books.flows[_HATCHING] += np.int64(cols.mass[i]) - c.hatchling_mass
    one, other = normals(w0, w1)
    pace = np.float32(1.0 / duration_factor(one, c.larva_cv))
    cols.stage[i] = IS_LARVA
    cols.age[i] = 0
    cols.tally[i] = 1
    cols.mass[i] = c.hatchling_mass
    cols.tolerance[i] = np.float32(tolerance(w2))
    cols.factor[i] = pace
    cols.size[i] = np.float32(min(c.size_most, duration_factor(other, c.size_cv)))
    cols.progress[i] = np.float32(rest * today.pace[b]) * pace


@kernel()
def lay_eggs(c, seed, start, laid, mothers, cols, today, books):
    """Lay the day's eggs, each at its own time of the day, into the rows from `start` on.

    `laid` holds the rows and numbers of the mothers. For what is left of the day an egg develops
    and is exposed; one that is lost at once takes no row. Returns the row after the last.
    """
    parent = np.empty(CHUNK, np.uint64)
    number = np.empty(CHUNK, np.uint32)
    place = np.empty(CHUNK, np.uint16)
    child = np.empty(CHUNK, np.uint64)
    below = np.empty(CHUNK, np.uint8)
    rest = np.empty(CHUNK, np.float64)
    left = np.empty(CHUNK, np.float64)
    w0 = np.empty(CHUNK, np.uint32)
    w1 = np.empty(CHUNK, np.uint32)
    w2 = np.empty(CHUNK, np.uint32)
    w3 = np.empty(CHUNK, np.uint32)
    row = start
    k = 0
    more = np.int64(0)
    while k < mothers:
        count = 0
        while k < mothers and count < CHUNK:
            i = laid[k, 0]
            while more < laid[k, 1] and count < CHUNK:
                parent[count] = cols.ident[i]
                number[count] = cols.tally[i]
                place[count] = cols.bin[i]
                cols.tally[i] += 1
                more += 1
                count += 1
            if more == laid[k, 1]:
                books.events[cols.bin[i], _LAID] += more
                books.flows[_EGG_MASS] += np.int64(c.egg_mass) * more
                more = 0
                k += 1
        many = np.uint64(count)
        identities(seed, parent, number, many, child)
        all_words(seed, _FATE, 0, child, many, w0, w1, w2, w3)
        kept = 0
        for j in range(count):
            b = np.uint64(place[j])
            time = unit(w2[j])
            deep = np.uint8(unit(w3[j]) < today.hidden[b])
            stands = tolerance(w0[j]) - time * today.egg_hazard[b, deep, 0]
            if stands < 0.0:
                _lose(today, books, b, np.int64(deep), 0, w1[j], np.int64(c.egg_mass))
                continue
            child[kept] = child[j]
            place[kept] = place[j]
            rest[kept] = time
            left[kept] = stands
            below[kept] = deep
            kept += 1
        all_words(seed, _LAID_WORDS, 0, child, np.uint64(kept), w0, w1, w2, w3)
        for j in range(kept):
            b = np.uint64(place[j])
            f = below[j] * np.uint8(IS_OUT_OF_REACH)
            if unit(w0[j]) < c.female_share:
                f |= np.uint8(IS_FEMALE)
            if unit(w1[j]) < today.rates[b, VIABILITY]:
                f |= np.uint8(IS_VIABLE)
            pace = np.float32(1.0 / duration_factor(normals(w2[j], w3[j])[0], c.egg_cv))
            cols.ident[row] = child[j]
            cols.mass[row] = c.egg_mass
            cols.progress[row] = np.float32(rest[j] * today.rates[b, EGG]) * pace
            cols.factor[row] = pace
            cols.size[row] = 0.0
            cols.tolerance[row] = np.float32(left[j])
            cols.age[row] = 0
            cols.tally[row] = 0
            cols.bin[row] = place[j]
            cols.stage[row] = IS_EGG
            cols.flags[row] = f
            row += 1
    return row


@kernel()
def identities(seed, mother, number, count, child):
    """Identities of many eggs; free of branches, so that it compiles to vectors."""
    for j in range(count):
        child[j] = identity(seed, mother[j], number[j])


@kernel()
def _lose(today, books, b, below, days, word, mass):
    """Book the loss of an egg; its cause is drawn in proportion to today's hazards."""
    own = today.egg_own[b, days]
    by_adults = 0.0 if below else today.hazards[b, 0]
    u = unit(word) * (own + by_adults + today.hazards[b, 1])
    books.flows[_DEAD] += mass
    if u < own:
        books.events[b, _UNHATCHED] += 1
    elif u < own + by_adults:
        books.events[b, _EATEN_ADULTS] += 1
    else:
        books.events[b, _EATEN_LARVAE] += 1
