"""The day of the larvae: growth planned, then death, growth, molts and pupation."""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import duration_factor
from colony_sim.biology.growth import Law
from colony_sim.population.books import PUPA
from colony_sim.population.chunks import CHUNK, has, pick
from colony_sim.population.draws import Block, normals, tolerance, words
from colony_sim.population.insects import IS_DEAD, IS_LARVA, IS_PUPA
from colony_sim.population.ledger import Event, Flow
from colony_sim.population.runs import end_of_run

_WEST_LAW = int(Law.WEST_BROWN_ENQUIST)
_GOMPERTZ_LAW = int(Law.GOMPERTZ)
_LOGISTIC_LAW = int(Law.LOGISTIC)
_RICHARDS_LAW = int(Law.RICHARDS)
_ONE = np.float32(1.0)
_ZERO = np.float32(0.0)
_FATE = int(Block.LARVA_FATE)
_PUPATED_WORDS = int(Block.PUPATED)
_DIED = int(Event.LARVA_DIED)
_FORMED = int(Event.PUPA_FORMED)
_GAIN = int(Flow.GAIN)
_PUPATION = int(Flow.PUPATION_LOSS)
_DEAD = int(Flow.DEAD_MASS)
_SKIN = int(Flow.SKIN_MASS)
#: Entries of a table by instar; a power of two, more than there are instars.
_INSTARS = 64


@kernel()
def plan_growth(
    law, stage, bins, mass, factor, size, growth_share, asymptote, gain, feed, keeps, ask
):
    """Growth (ng) of each larva with bran in plenty, and the bran (ng) asked for per bin."""
    at = 0
    while at < stage.size:
        stop, b = end_of_run(stage, bins, at, min(at + CHUNK, stage.size))
        kind, m, own, wide = stage[at:stop], mass[at:stop], factor[at:stop], size[at:stop]
        more, share = gain[at:stop], growth_share[b]
        at = stop
        if not has(kind, IS_LARVA):
            continue
        if law == _LOGISTIC_LAW:
            _logistic(m, own, wide, share, asymptote, more)
        elif law == _RICHARDS_LAW:
            _richards(m, own, wide, share, asymptote, more)
        elif law == _WEST_LAW:
            _west_brown_enquist(m, own, wide, share, asymptote, more)
        elif law == _GOMPERTZ_LAW:
            _gompertz(kind, m, own, wide, share, asymptote, more)
        else:
            _exponential(m, own, wide, share, asymptote, more)
        ask[b] += _asked(kind, m, more, feed, keeps[b])


# The loops of the helpers below are free of branches and look-ups, so that the compiler makes
# vectors of them (but for Gompertz's logarithms). `share` is the share of the way to the
# asymptote that a larva of average pace goes today, on the scale on which its law is linear. Rows
# that are no larvae may divide by zero; nobody reads what comes of it.


@kernel()
def _west_brown_enquist(mass, factor, size, share, asymptote, gain):
    for j in range(gain.size):
        m = np.float32(mass[j])
        root = np.sqrt(np.sqrt(m))
        far = np.sqrt(np.sqrt(asymptote * size[j])) - root
        own = share * factor[j]
        own = own if own < _ONE else _ONE
        near = root + own * far
        near *= near
        g = near * near - m
        gain[j] = g if (far > _ZERO) & (g > _ZERO) else _ZERO


@kernel()
def _gompertz(stage, mass, factor, size, share, asymptote, gain):
    for j in range(gain.size):
        gain[j] = _ZERO
        top = np.float64(asymptote * size[j])
        m = np.float64(mass[j])
        if stage[j] == IS_LARVA and m < top:
            own = min(1.0, np.float64(share * factor[j]))
            gain[j] = np.float32(m * math.expm1(own * math.log(top / m)))


@kernel(error_model="numpy")
def _logistic(mass, factor, size, share, asymptote, gain):
    for j in range(gain.size):
        m = np.float32(mass[j])
        u = _ONE / m
        far = u - _ONE / (asymptote * size[j])
        own = share * factor[j]
        own = own if own < _ONE else _ONE
        g = _ONE / (u - own * far) - m
        gain[j] = g if (far > _ZERO) & (g > _ZERO) else _ZERO


@kernel(error_model="numpy")
def _richards(mass, factor, size, share, asymptote, gain):
    for j in range(gain.size):
        m = np.float32(mass[j])
        u = _ONE / m
        top = _ONE / (asymptote * size[j])
        u *= u
        far = u - top * top
        own = share * factor[j]
        own = own if own < _ONE else _ONE
        g = _ONE / np.sqrt(u - own * far) - m
        gain[j] = g if (far > _ZERO) & (g > _ZERO) else _ZERO


@kernel()
def _exponential(mass, factor, size, share, asymptote, gain):
    for j in range(gain.size):
        m = np.float32(mass[j])
        far = asymptote * size[j] - m
        g = share * factor[j] * m
        g = g if g < far else far
        gain[j] = g if g > _ZERO else _ZERO


@kernel()
def _asked(stage, mass, gain, feed, keep):
    """Bran (ng) that the larvae of a run ask for."""
    total = np.int64(0)
    for j in range(gain.size):
        asked = np.int64(feed * gain[j]) + np.int64(keep * np.float32(mass[j]))
        total += asked if stage[j] == IS_LARVA else np.int64(0)
    return total


@kernel()
def live_larvae(c, seed, day, cols, today, books, gain):
    """One day of every larva; `gain` is what `plan_growth` found."""
    stage = cols.stage
    young = np.uint32(c.young_mass)
    critical = np.uint32(c.critical_mass)
    # By instar; nothing reaches the mass of the last entries.
    molts = np.empty(_INSTARS, np.uint32)
    for k in range(_INSTARS):
        molts[k] = np.uint32(4294967295)
    for k in range(today.molt_mass.size):
        molts[k + 1] = today.molt_mass[k]
    alive = np.empty(CHUNK, np.bool_)
    heaviest = np.empty(CHUNK, np.uint32)
    before = np.empty(CHUNK, np.float32)
    turn = np.empty(CHUNK, np.bool_)
    rows = np.empty(CHUNK + 1, np.uint32)
    stop = 0
    while stop < stage.size:
        start = stop
        stop, b = end_of_run(stage, cols.bin, start, min(start + CHUNK, stage.size))
        kind = stage[start:stop]
        if not has(kind, IS_LARVA):
            continue
        mass, progress = cols.mass[start:stop], cols.progress[start:stop]
        factor = cols.factor[start:stop]
        pace = np.float32(today.pace[b])
        eaten, grown = _live(
            kind,
            mass,
            cols.tolerance[start:stop],
            gain[start:stop],
            young,
            np.float32(c.young_hazard + today.hunger[b]),
            np.float32(c.larva_hazard + today.hunger[b]),
            np.float32(c.per_gain),
            today.keeps[b],
            today.food[b],
            alive,
        )
        books.eaten[b] += eaten
        books.grown[b] += grown
        _run_clock(
            kind, alive, mass, progress, factor, cols.age[start:stop], cols.tally[start:stop],
            pace, molts, critical, heaviest, before, turn,
        )  # fmt: skip
        for r in range(pick(turn, True, 0, kind.size, rows)):
            j = np.uint64(rows[r])
            i = np.uint64(start) + j
            m = mass[j]
            if not alive[j]:
                kind[j] = IS_DEAD
                books.events[b, _DIED] += 1
                books.flows[_DEAD] += np.int64(m)
                continue
            k = np.int64(cols.tally[i])
            if k <= today.molt_mass.size and m >= today.molt_mass[k - 1]:
                cols.tally[i] = _molt(
                    today.molt_mass,
                    c.exuvia_share,
                    c.visible_mass,
                    books.skins,
                    books.visible_skins,
                    books.skin_mass,
                    books.flows,
                    b,
                    m,
                    k,
                )
            now = progress[j]
            if now >= _ONE and m >= critical:
                w0, _, _, _ = words(seed, _FATE, cols.ident[i], day)
                if np.uint64(w0) >= today.ripe_at[b]:
                    continue
                # What is left of the day goes to the pupa, if the clock ran out today.
                speed = np.float64(pace * factor[j])
                rest = np.float64(now - _ONE) / speed if before[j] < _ONE else 0.0
                _pupate(c, today.rates[b, PUPA], seed, cols, books, i, b, m, rest)
    for k in range(books.grown.size):
        books.flows[_GAIN] += books.grown[k]


@kernel()
def _live(stage, mass, tolerance, gain, young, young_hazard, hazard, feed, keep, food, alive):
    """Who of a run lives through the day, and growth; bran eaten and mass gained (ng)."""
    eaten, grown = np.int64(0), np.int64(0)
    for j in range(stage.size):
        larva = stage[j] == IS_LARVA
        m = mass[j]
        stands = tolerance[j] - (young_hazard if m < young else hazard)
        lives = larva & (stands >= _ZERO)
        alive[j] = lives
        tolerance[j] = stands if larva else tolerance[j]
        more = np.uint32(gain[j]) if lives else np.uint32(0)
        bran = np.int64(feed * np.float32(more)) + np.int64(keep * np.float32(m))
        eaten += np.int64(bran * food) if lives else np.int64(0)
        more = np.uint32(more * food)
        grown += np.int64(more)
        mass[j] = m + more
    return eaten, grown


@kernel()
def _run_clock(
    stage, alive, mass, progress, factor, age, tally, pace, molts, critical, heaviest, before, turn
):
    """Clock and age of the living of a run, and who dies, molts or may become a pupa.

    Three loops, as one of all three does not compile to vectors; `heaviest` takes the mass at
    which each molts, `before` the clock of the morning.
    """
    for j in range(stage.size):
        heaviest[j] = molts[tally[j] & np.uint16(_INSTARS - 1)]
    for j in range(stage.size):
        age[j] += np.uint16(alive[j] & (age[j] < 65535))
    for j in range(stage.size):
        before[j] = progress[j]
        now = progress[j] + pace * factor[j]
        now = now if alive[j] else progress[j]
        progress[j] = now
        ripe = (now >= _ONE) & (mass[j] >= critical)
        turn[j] = (stage[j] == IS_LARVA) & (~alive[j] | (mass[j] >= heaviest[j]) | ripe)


@kernel()
def _molt(molt_mass, share, visible_mass, skins, visible_skins, skin_mass, flows, b, m, k):
    """Shed skins until the instar fits the mass; returns the new instar."""
    while k <= molt_mass.size and m >= molt_mass[k - 1]:
        k += 1
        skins[b] += 1
        if m >= visible_mass:
            visible_skins[b] += 1
        shed = np.int64(share * m)
        skin_mass[b] += shed
        flows[_SKIN] += shed
    return np.uint16(k)


@kernel()
def _pupate(c, rate, seed, cols, books, i, b, m, rest):
    cols.stage[i] = IS_PUPA
    cols.age[i] = 0
    new = np.uint32(m * c.pupa_mass_share)
    books.flows[_PUPATION] += np.int64(m - new)
    cols.mass[i] = new
    books.events[b, _FORMED] += 1
    wa, wb, wc, _ = words(seed, _PUPATED_WORDS, cols.ident[i], 0)
    cols.tolerance[i] = np.float32(tolerance(wc))
    f = np.float32(1.0 / duration_factor(normals(wa, wb)[0], c.pupa_cv))
    cols.factor[i] = f
    cols.progress[i] = np.float32(rest * rate) * f
