"""The day of the eggs: eaten, killed, hatched; and the laying of new ones."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import duration_factor
from colony_sim.population.books import NEVER, grow_older, latent
from colony_sim.population.draws import identity, normal, unit, words
from colony_sim.population.ledger import Event, Flow

_LAID = int(Event.EGG_LAID)
_HATCHED = int(Event.EGG_HATCHED)
_EATEN_ADULTS = int(Event.EGG_EATEN_ADULTS)
_EATEN_LARVAE = int(Event.EGG_EATEN_LARVAE)
_UNHATCHED = int(Event.EGG_UNHATCHED)
_EGG_MASS = int(Flow.EGG_MASS)
_HATCHING = int(Flow.HATCHING_LOSS)
_DEAD = int(Flow.DEAD_MASS)


@kernel()
def live_eggs(c, d, seed, day, cols, today, books):
    """One day of every egg."""
    stage, bins, age, factor = cols.stage, cols.bin, cols.age, cols.factor
    progress, egg_at = cols.progress, today.egg_at
    for i in range(stage.size):
        if stage[i] != 1:
            continue
        b = np.uint64(bins[i])
        grow_older(age, i)
        pace = d.egg * np.float64(factor[i])
        before = np.float64(progress[i])
        done = max(0.0, (1.0 - before) / pace) if pace > 0.0 else NEVER
        fate = 0
        if egg_at[b, 0] > 0 or egg_at[b, 1] > 0 or egg_at[b, 2] > 0:
            w0, w1, w2, _ = words(seed, 1, cols.ident[i], day)
            fate = _fate(d, today, b, w0, w1, w2, min(done, 1.0))
        if fate == 0 and (age[i] - 1.0) + min(done, 1.0) >= c.egg_longest_days:
            fate = 1
        elif fate == 0 and done <= 1.0:
            fate = 4 if (cols.flags[i] & 2) != 0 else 1
        if fate == 0:
            progress[i] = np.float32(before + pace)
        elif fate == 4:
            books.events[b, _HATCHED] += 1
            _hatch(c, seed, cols, today, books, i, b, 1.0 - done)
        else:
            stage[i] = 0
            _lose(books, b, fate, np.int64(cols.mass[i]))


@kernel()
def _hatch(c, seed, cols, today, books, i, b, rest):
    """Make the egg a larva; `rest` is what is left of the day."""
    cols.stage[i] = 2
    cols.age[i] = 0
    cols.instar[i] = 1
    books.flows[_HATCHING] += np.int64(cols.mass[i]) - c.hatchling_mass
    cols.mass[i] = c.hatchling_mass
    wa, wb, wc, wd = words(seed, 6, cols.ident[i], 0)
    f = np.float32(1.0 / duration_factor(normal(wa, wb), c.larva_cv))
    cols.factor[i] = f
    cols.size[i] = np.float32(min(c.size_most, duration_factor(normal(wc, wd), c.size_cv)))
    cols.progress[i] = np.float32(rest * today.pace[b]) * f


@kernel()
def lay_eggs(c, d, seed, day, start, laid, mothers, cols, today, books):
    """Lay the day's eggs, each at its own time of the day, into the rows from `start` on.

    `laid` holds the rows and numbers of the mothers. For what is left of the day an egg
    develops and is exposed; one that is lost at once takes no row. Returns the row after the
    last.
    """
    row = start
    for k in range(mothers):
        i = laid[k, 0]
        b = np.uint64(cols.bin[i])
        for _ in range(laid[k, 1]):
            child = identity(seed, cols.ident[i], np.int64(cols.eggs[i]))
            cols.eggs[i] += 1
            e0, e1, e2, e3 = words(seed, 1, child, day)
            rest = unit(e3)
            fate = _fate(d, today, b, e0, e1, e2, rest)
            if fate > 0:
                _lose(books, b, fate, np.int64(c.egg_mass))
                continue
            w0, w1, w2, w3 = words(seed, 5, child, 0)
            f = np.uint8(0)
            if unit(w0) < c.female_share:
                f |= np.uint8(1)
            if unit(w1) < d.viability:
                f |= np.uint8(2)
            pace = np.float32(1.0 / duration_factor(normal(w2, w3), c.egg_cv))
            cols.ident[row] = child
            cols.mass[row] = c.egg_mass
            cols.progress[row] = np.float32(rest * d.egg) * pace
            cols.factor[row] = pace
            cols.size[row] = 0.0
            cols.age[row] = 0
            cols.eggs[row] = 0
            cols.bin[row] = b
            cols.stage[row] = 1
            cols.instar[row] = 0
            cols.flags[row] = f
            row += 1
        books.events[b, _LAID] += laid[k, 1]
        books.flows[_EGG_MASS] += np.int64(c.egg_mass) * laid[k, 1]
    return row


@kernel()
def _fate(d, today, b, w0, w1, w2, until):
    """First death of an egg before a time of the day: 0 none, 1 heat or cold, 2, 3 eaten."""
    fate = 0
    first = until
    if np.uint64(w0) < today.egg_at[b, 0]:
        t = latent(w0, d.egg_thermal)
        if t < first:
            first = t
            fate = 1
    if np.uint64(w1) < today.egg_at[b, 1]:
        t = latent(w1, today.hazards[b, 0])
        if t < first:
            first = t
            fate = 2
    if np.uint64(w2) < today.egg_at[b, 2]:
        t = latent(w2, today.hazards[b, 1])
        if t < first:
            first = t
            fate = 3
    return fate


@kernel()
def _lose(books, b, fate, mass):
    """Book the loss of an egg."""
    books.flows[_DEAD] += mass
    if fate == 1:
        books.events[b, _UNHATCHED] += 1
    elif fate == 2:
        books.events[b, _EATEN_ADULTS] += 1
    else:
        books.events[b, _EATEN_LARVAE] += 1
