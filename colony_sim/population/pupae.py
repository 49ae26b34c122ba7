"""The day of the pupae: attacked, dead, emerged."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import weibull_life
from colony_sim.population.books import (
    AGEING,
    NEVER,
    PUPA,
    PUPA_THERMAL,
    TENERAL,
    first_death,
    grow_older,
    latent,
)
from colony_sim.population.draws import Block, unit, words
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
def live_pupae(c, seed, day, cols, today, books):
    """One day of every pupa."""
    stage, bins, flags, progress = cols.stage, cols.bin, cols.flags, cols.progress
    pupa_at, hazards = today.pupa_at, today.hazards
    for i in range(stage.size):
        if stage[i] != 3:
            continue
        b = np.uint64(bins[i])
        grow_older(cols.age, i)
        background = c.pupa_hazard + today.rates[b, PUPA_THERMAL]
        pace = today.rates[b, PUPA] * np.float64(cols.factor[i])
        before = np.float64(progress[i])
        done = (1.0 - before) / pace if pace > 0.0 else NEVER
        until = min(done, 1.0)
        w0, w1, w2, w3 = words(seed, _FATE, cols.ident[i], day)
        fate = first_death(background, pupa_at[b, 0], hazards, 2, pupa_at, 1, b, w0, w1, w2, until)
        if fate >= 2 and (flags[i] & 4) == 0 and unit(w3) < c.injured_share:
            # It lives on, unless the background takes it later in the day.
            flags[i] |= np.uint8(4)
            dies = np.uint64(w0) < pupa_at[b, 0] and latent(w0, background) < until
            fate = 1 if dies else 0
        if fate == 0:
            if done > 1.0:
                progress[i] = np.float32(before + pace)
            else:
                _emerge(c, today.rates, seed, cols, books, i, b, 1.0 - done)
            continue
        stage[i] = 0
        books.flows[_DEAD] += np.int64(cols.mass[i])
        if fate == 1:
            books.events[b, _DIED] += 1
        elif fate == 2:
            books.events[b, _EATEN_ADULTS] += 1
        else:
            books.events[b, _EATEN_LARVAE] += 1


@kernel()
def _emerge(c, rates, seed, cols, books, i, b, rest):
    """Make the pupa an adult; `rest` is what is left of the day."""
    cols.stage[i] = 4
    cols.age[i] = 0
    cols.eggs[i] = 0
    new = np.uint32(cols.mass[i] * c.adult_mass_share)
    books.flows[_EMERGENCE] += np.int64(cols.mass[i] - new)
    cols.mass[i] = new
    books.events[b, _EMERGED if (cols.flags[i] & 4) == 0 else _INJURED] += 1
    wa, _, _, _ = words(seed, _EMERGENCE_WORDS, cols.ident[i], 0)
    cols.factor[i] = np.float32(weibull_life(unit(wa), c.life_shape))
    cols.progress[i] = np.float32(rest * rates[b, AGEING])
    cols.size[i] = np.float32(rest * rates[b, TENERAL])
