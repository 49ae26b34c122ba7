"""The day of the beetles: ageing, death, feeding, and how many eggs each female lays."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.population.books import AGEING, TENERAL, grow_older
from colony_sim.population.chunks import CHUNK, gather, pick, two_words
from colony_sim.population.draws import Block, poisson, unit
from colony_sim.population.ledger import Event, Flow

_ONE = np.float32(1.0)
_FATE = int(Block.ADULT_FATE)
_AGE = int(Event.ADULT_DIED_AGE)
_BACKGROUND = int(Event.ADULT_DIED_BACKGROUND)
_DEAD = int(Flow.DEAD_MASS)


@kernel()
def live_adults(c, seed, day, cols, today, books, laid):
    """One day of every adult.

    `laid` (int64, shape (adults, 2)) takes the row and the number of eggs of each mother;
    returns the number of mothers.
    """
    stage, bins, progress, size = cols.stage, cols.bin, cols.progress, cols.size
    tray = np.uint64(today.food.size - 1)
    oldest = c.age_profile.size - 1
    life_scale = c.temper.life_scale
    mothers = 0
    rows = np.empty(CHUNK + 1, np.uint32)
    ident = np.empty(CHUNK, np.uint64)
    w0 = np.empty(CHUNK, np.uint32)
    w1 = np.empty(CHUNK, np.uint32)
    for start in range(0, stage.size, CHUNK):
        count = pick(stage, 4, start, min(start + CHUNK, stage.size), rows)
        if count == 0:
            continue
        gather(cols.ident, rows, count, ident)
        two_words(seed, _FATE, day, ident, count, w0, w1)
        for j in range(count):
            i = np.uint64(rows[j])
            b = np.uint64(bins[i])
            grow_older(cols.age, i)
            progress[i] += np.float32(today.rates[b, AGEING])
            old = progress[i] >= cols.factor[i]
            if old or np.uint64(w0[j]) < today.adult_at[b]:
                stage[i] = 0
                books.events[b, _AGE if old else _BACKGROUND] += 1
                books.flows[_DEAD] += np.int64(cols.mass[i])
                books.dead_adults[b] += 1
                continue
            if b != tray:
                books.eaten[b] += np.int64(c.adult_feed * cols.mass[i] * today.food[b])
            if size[i] < _ONE:
                size[i] += np.float32(today.rates[b, TENERAL])
            elif (cols.flags[i] & 5) == 1 and today.laying[b] > 0.0:
                days = np.int64(np.float64(progress[i]) * life_scale)
                mean = today.laying[b] * c.age_profile[min(days, oldest)]
                # An egg's number is part of its identity and must fit its column.
                n = min(poisson(unit(w1[j]), mean), 65535 - np.int64(cols.eggs[i]))
                if n > 0:
                    laid[mothers, 0] = i
                    laid[mothers, 1] = n
                    mothers += 1
    return mothers
