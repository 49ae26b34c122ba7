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
    progress, egg_at, hazards = cols.progress, today.egg_at, today.hazards
    for i in range(stage.size):
        if stage[i] != 1:
            continue
        b = np.uint64(bins[i])
        grow_older(age, i)
        pace = d.egg * np.float64(factor[i])
        before = np.float64(progress[i])
        done = (1.0 - before) / pace if pace > 0.0 else NEVER
        fate = 0
        first = min(done, 1.0)
        if egg_at[b, 0] > 0 or egg_at[b, 1] > 0 or egg_at[b, 2] > 0:
            w0, w1, w2, _ = words(seed, 1, cols.ident[i], day)
            if np.uint64(w0) < egg_at[b, 0]:
                t = latent(w0, d.egg_thermal)
                if t < first:
                    first = t
                    fate = 1
            if np.uint64(w1) < egg_at[b, 1]:
                t = latent(w1, hazards[b, 0])
                if t < first:
                    first = t
                    fate = 2
            if np.uint64(w2) < egg_at[b, 2]:
                t = latent(w2, hazards[b, 1])
                if t < first:
                    first = t
                    fate = 3
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
            books.flows[_DEAD] += np.int64(cols.mass[i])
            if fate == 1:
                books.events[b, _UNHATCHED] += 1
            elif fate == 2:
                books.events[b, _EATEN_ADULTS] += 1
            else:
                books.events[b, _EATEN_LARVAE] += 1


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
def lay_eggs(c, d, seed, start, laid, mothers, cols, books):
    """Write the day's eggs into the rows from `start` on; `laid` holds rows and numbers."""
    row = start
    for k in range(mothers):
        i = laid[k, 0]
        b = cols.bin[i]
        for _ in range(laid[k, 1]):
            child = identity(seed, cols.ident[i], np.int64(cols.eggs[i]))
            cols.eggs[i] += 1
            w0, w1, w2, w3 = words(seed, 5, child, 0)
            f = np.uint8(0)
            if unit(w0) < c.female_share:
                f |= np.uint8(1)
            if unit(w1) < d.viability:
                f |= np.uint8(2)
            cols.ident[row] = child
            cols.mass[row] = c.egg_mass
            cols.progress[row] = 0.0
            cols.factor[row] = np.float32(1.0 / duration_factor(normal(w2, w3), c.egg_cv))
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
