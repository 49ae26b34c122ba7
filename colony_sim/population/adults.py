"""The day of the beetles: ageing, death, feeding, and how many eggs each female lays."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.population.books import ADULT_THERMAL, AGEING, TENERAL, grow_older
from colony_sim.population.chunks import CHUNK, pick
from colony_sim.population.draws import Block, poisson, unit, words
from colony_sim.population.insects import IS_ADULT, IS_DEAD, IS_FEMALE, IS_INJURED
from colony_sim.population.ledger import Event, Flow

_ONE = np.float32(1.0)
_FATE = int(Block.ADULT_FATE)
_AGE = int(Event.ADULT_DIED_AGE)
_BACKGROUND = int(Event.ADULT_DIED_BACKGROUND)
_DEAD = int(Flow.DEAD_MASS)
_MOST_EGGS = 65535


@kernel()
def live_adults(c, seed, day, cols, today, books, laid):
    """One day of every adult.

    `laid` (int64, shape (adults, 2)) takes the row and the number of eggs of each mother;
    returns the number of mothers.
    """
    stage, bins, progress, size = cols.stage, cols.bin, cols.progress, cols.size
    tray = np.uint64(today.food.size - 1)
    oldest = today.age_profile.size - 1
    life_scale = c.temper.life_scale
    mothers = 0
    rows = np.empty(CHUNK + 1, np.uint32)
    for start in range(0, stage.size, CHUNK):
        for j in range(pick(stage, IS_ADULT, start, min(start + CHUNK, stage.size), rows)):
            i = np.uint64(rows[j])
            b = np.uint64(bins[i])
            grow_older(cols.age, i)
            progress[i] += np.float32(today.rates[b, AGEING])
            hazard = np.float32(c.adult_hazard + today.rates[b, ADULT_THERMAL])
            old = progress[i] >= cols.factor[i]
            if old or cols.tolerance[i] < hazard:
                stage[i] = IS_DEAD
                books.events[b, _AGE if old else _BACKGROUND] += 1
                books.flows[_DEAD] += np.int64(cols.mass[i])
                books.dead_adults[b] += 1
                continue
            cols.tolerance[i] -= hazard
            if b != tray:
                books.eaten[b] += np.int64(c.adult_feed * cols.mass[i] * today.food[b])
            if size[i] < _ONE:
                size[i] += np.float32(today.rates[b, TENERAL])
                continue
            female = (cols.flags[i] & (IS_FEMALE | IS_INJURED)) == IS_FEMALE
            if female and today.laying[b] > 0.0:
                days = np.int64(np.float64(progress[i]) * life_scale)
                mean = today.laying[b] * today.age_profile[min(days, oldest)]
                w0, _, _, _ = words(seed, _FATE, cols.ident[i], day)
                # An egg's number is part of its identity and must fit its column.
                n = min(poisson(unit(w0), mean), _MOST_EGGS - np.int64(cols.tally[i]))
                if n > 0:
                    laid[mothers, 0] = i
                    laid[mothers, 1] = n
                    mothers += 1
    return mothers
