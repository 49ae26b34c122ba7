"""The day of the pupae: attacked, dead, emerged."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import weibull_life
from colony_sim.population.books import AGEING, NEVER, PUPA, PUPA_THERMAL, TENERAL, grow_older
from colony_sim.population.chunks import CHUNK, pick
from colony_sim.population.draws import Block, tolerance, unit, words
from colony_sim.population.insects import IS_ADULT, IS_DEAD, IS_INJURED, IS_PUPA
from colony_sim.population.ledger import Event, Flow

_FATE = int(Block.PUPA_FATE)
_EMERGENCE_WORDS = int(Block.EMERGED)
_EATEN_ADULTS = int(Event.PUPA_EATEN_ADULTS)
_EATEN_LARVAE = int(Event.PUPA_EATEN_LARVAE)
_DIED = int(Event.PUPA_DIED)
_INJURED = int(Event.PUPA_INJURED)
_EMERGED = int(Event.ADULT_EMERGED)
_EMERGENCE = int(Flow.EMERGENCE_LOSS)
_DEAD = int(Flow.DEAD_MASS)


@kernel()
def live_pupae(c, seed, cols, today, books):
    """One day of every pupa."""
    stage, progress = cols.stage, cols.progress
    rows = np.empty(CHUNK + 1, np.uint32)
    for start in range(0, stage.size, CHUNK):
        for r in range(pick(stage, IS_PUPA, start, min(start + CHUNK, stage.size), rows)):
            i = np.uint64(rows[r])
            b = np.uint64(cols.bin[i])
            grow_older(cols.age, i)
            pace = today.rates[b, PUPA] * np.float64(cols.factor[i])
            before = np.float64(progress[i])
            done = (1.0 - before) / pace if pace > 0.0 else NEVER
            own = c.pupa_hazard + today.rates[b, PUPA_THERMAL]
            event = _fall(c, seed, cols, i, own, today.hazards[b], min(done, 1.0))
            if event >= 0:
                stage[i] = IS_DEAD
                books.flows[_DEAD] += np.int64(cols.mass[i])
                books.events[b, event] += 1
            elif done > 1.0:
                progress[i] = np.float32(before + pace)
            else:
                _emerge(c, today.rates, seed, cols, books, i, b, 1.0 - done)


@kernel()
def _fall(c, seed, cols, i, own, hazards, until):
    """The event by which a pupa dies before a time of the day; -1 if it lives.

    One that is injured by a first attack goes on with a tolerance drawn anew.
    """
    hazard = own + hazards[2] + hazards[3]
    now = 0.0
    while True:
        stands = np.float64(cols.tolerance[i])
        meets = hazard * (until - now)
        if stands >= meets:
            cols.tolerance[i] = np.float32(stands - meets)
            return -1
        hurt = np.uint8(cols.flags[i] & IS_INJURED)
        w0, w1, w2, _ = words(seed, _FATE, cols.ident[i], np.int64(hurt != 0))
        u = unit(w1) * hazard
        if u < own:
            return _DIED
        if hurt or unit(w2) >= c.injured_share:
            return _EATEN_ADULTS if u < own + hazards[2] else _EATEN_LARVAE
        now += stands / hazard
        cols.flags[i] |= np.uint8(IS_INJURED)
        cols.tolerance[i] = np.float32(tolerance(w0))


@kernel()
def _emerge(c, rates, seed, cols, books, i, b, rest):
    """Make the pupa an adult; `rest` is what is left of the day."""
    cols.stage[i] = IS_ADULT
    cols.age[i] = 0
    cols.tally[i] = 0
    new = np.uint32(cols.mass[i] * c.adult_mass_share)
    books.flows[_EMERGENCE] += np.int64(cols.mass[i] - new)
    cols.mass[i] = new
    books.events[b, _EMERGED if (cols.flags[i] & IS_INJURED) == 0 else _INJURED] += 1
    wa, wb, _, _ = words(seed, _EMERGENCE_WORDS, cols.ident[i], 0)
    cols.tolerance[i] = np.float32(tolerance(wb))
    cols.factor[i] = np.float32(weibull_life(unit(wa), c.life_shape))
    cols.progress[i] = np.float32(rest * rates[b, AGEING])
    cols.size[i] = np.float32(rest * rates[b, TENERAL])
