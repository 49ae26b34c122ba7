"""The day of the larvae: growth planned, then death, growth, molts and pupation."""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import duration_factor
from colony_sim.biology.growth import Law
from colony_sim.population.books import PUPA
from colony_sim.population.chunks import CHUNK, has, pick, spread
from colony_sim.population.draws import Block, normal, words
from colony_sim.population.ledger import Event, Flow

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


@kernel()
def plan_growth(
    law, stage, bins, mass, factor, size, growth_share, asymptote, gain, feed, keeps, ask
):
    """Growth (ng) of each larva with bran in plenty, and the bran (ng) asked for per bin."""
    here = np.uint64(0)
    ask_here = np.int64(0)
    want = np.empty(CHUNK, np.int64)
    share = np.empty(CHUNK, np.float32)
    keep = np.empty(CHUNK, np.float32)
    for start in range(0, stage.size, CHUNK):
        stop = min(start + CHUNK, stage.size)
        is_larva, place = stage[start:stop], bins[start:stop]
        if not has(is_larva, 2):
            continue
        more = gain[start:stop]
        spread(growth_share, place, share)
        spread(keeps, place, keep)
        m, own, wide = mass[start:stop], factor[start:stop], size[start:stop]
        if law == _LOGISTIC_LAW:
            _logistic(m, own, wide, share, asymptote, more)
        elif law == _RICHARDS_LAW:
            _richards(m, own, wide, share, asymptote, more)
        elif law == _WEST_LAW:
            _west_brown_enquist(m, own, wide, share, asymptote, more)
        elif law == _GOMPERTZ_LAW:
            _gompertz(is_larva, m, own, wide, share, asymptote, more)
        else:
            _exponential(m, own, wide, share, asymptote, more)
        _ask(is_larva, m, more, feed, keep, want)
        for j in range(place.size):
            b = np.uint64(place[j])
            if b != here:
                ask[here] += ask_here
                here = b
                ask_here = 0
            ask_here += want[j]
    ask[here] += ask_here


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
        own = share[j] * factor[j]
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
        if stage[j] == 2 and m < top:
            own = min(1.0, np.float64(share[j] * factor[j]))
            gain[j] = np.float32(m * math.expm1(own * math.log(top / m)))


@kernel(error_model="numpy")
def _logistic(mass, factor, size, share, asymptote, gain):
    for j in range(gain.size):
        m = np.float32(mass[j])
        u = _ONE / m
        far = u - _ONE / (asymptote * size[j])
        own = share[j] * factor[j]
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
        own = share[j] * factor[j]
        own = own if own < _ONE else _ONE
        g = _ONE / np.sqrt(u - own * far) - m
        gain[j] = g if (far > _ZERO) & (g > _ZERO) else _ZERO


@kernel()
def _exponential(mass, factor, size, share, asymptote, gain):
    for j in range(gain.size):
        m = np.float32(mass[j])
        far = asymptote * size[j] - m
        g = share[j] * factor[j] * m
        g = g if g < far else far
        gain[j] = g if g > _ZERO else _ZERO


@kernel()
def _ask(stage, mass, gain, feed, keep, want):
    for j in range(gain.size):
        asked = np.int64(feed * gain[j]) + np.int64(keep[j] * np.float32(mass[j]))
        want[j] = asked if stage[j] == 2 else np.int64(0)


@kernel()
def live_larvae(c, seed, day, cols, today, books, gain, keeps):
    """One day of every larva; `gain` is what `plan_growth` found.

    `keeps` is the bran for upkeep per mass of larva, by bin.
    """
    stage, bins = cols.stage, cols.bin
    young = np.uint32(c.young_mass)
    feed = np.float32(c.per_gain)
    short = False
    paces = np.empty(today.pace.size, np.float32)
    for b in range(paces.size):
        short |= today.food[b] < 1.0
        paces[b] = np.float32(today.pace[b])
    # By instar; nothing reaches the mass of the last entries.
    molts = np.empty(256, np.uint32)
    for k in range(molts.size):
        known = (k >= 1) & (k <= c.molt_mass.size)
        molts[k] = c.molt_mass[k - 1] if known else np.uint32(4294967295)
    # Sums of one bin are kept at hand while rows stay in it.
    here = np.uint64(0)
    bran_here = np.int64(0)
    gain_here = np.int64(0)
    word = np.empty(CHUNK, np.uint32)
    alive = np.empty(CHUNK, np.bool_)
    more = np.empty(CHUNK, np.uint32)
    bran = np.empty(CHUNK, np.int64)
    keep = np.empty(CHUNK, np.float32)
    before = np.empty(CHUNK, np.float32)
    pace = np.empty(CHUNK, np.float32)
    molt = np.empty(CHUNK, np.uint32)
    turn = np.empty(CHUNK, np.bool_)
    rows = np.empty(CHUNK + 1, np.uint32)
    for start in range(0, stage.size, CHUNK):
        stop = min(start + CHUNK, stage.size)
        count = stop - start
        kind, place = stage[start:stop], bins[start:stop]
        if not has(kind, 2):
            continue
        mass, progress = cols.mass[start:stop], cols.progress[start:stop]
        first_words(seed, day, cols.ident[start:stop], word)
        _survive(kind, place, mass, word, young, today.young_at, today.larva_at, alive)
        _gain(alive, gain[start:stop], more)
        spread(keeps, place, keep)
        _eat(alive, mass, more, feed, keep, bran)
        if short:
            for j in range(count):
                more[j] = np.uint32(more[j] * today.food[place[j]])
                bran[j] = np.int64(bran[j] * today.food[place[j]])
        for j in range(count):
            mass[j] += more[j]
        for j in range(count):
            before[j] = progress[j]
        spread(paces, place, pace)
        _run_clock(alive, pace, cols.factor[start:stop], progress)
        _grow_older(alive, cols.age[start:stop])
        spread(molts, cols.instar[start:stop], molt)
        _turns(kind, alive, mass, progress, molt, np.uint32(c.critical_mass), turn)
        for j in range(place.size):
            b = np.uint64(place[j])
            if b != here:
                books.eaten[here] += bran_here
                books.grown[here] += gain_here
                here = b
                bran_here = 0
                gain_here = 0
            bran_here += bran[j]
            gain_here += np.int64(more[j])
        for r in range(pick(turn, True, 0, count, rows)):
            j = np.uint64(rows[r])
            i = np.uint64(start) + j
            b = np.uint64(place[j])
            m = mass[j]
            if not alive[j]:
                kind[j] = 0
                books.events[b, _DIED] += 1
                books.flows[_DEAD] += np.int64(m)
                continue
            k = np.int64(cols.instar[i])
            if k <= c.molt_mass.size and m >= c.molt_mass[k - 1]:
                cols.instar[i] = _molt(
                    c.molt_mass,
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
            if now >= _ONE and m >= c.critical_mass:
                _, w1, _, _ = words(seed, _FATE, cols.ident[i], day)
                if np.uint64(w1) >= today.ripe_at[b]:
                    continue
                # What is left of the day after the clock ran out goes to the pupa.
                speed = np.float64(pace[j] * cols.factor[i])
                rest = np.float64(now - _ONE) / speed if before[j] < _ONE else 0.0
                _pupate(c, today.rates[b, PUPA], seed, cols, books, i, b, m, rest)
    books.eaten[here] += bran_here
    books.grown[here] += gain_here
    books.flows[_GAIN] += books.grown.sum()


@kernel()
def first_words(seed, day, ident, out):
    """Word 0 of each insect's larval block."""
    for j in range(ident.size):
        w0, _, _, _ = words(seed, _FATE, ident[j], day)
        out[j] = w0


@kernel()
def _survive(stage, bins, mass, word, young, young_at, larva_at, alive):
    for j in range(stage.size):
        b = bins[j]
        at = young_at[b] if mass[j] < young else larva_at[b]
        alive[j] = (stage[j] == 2) & (np.uint64(word[j]) >= at)


@kernel()
def _gain(alive, gain, more):
    for j in range(gain.size):
        g = np.uint32(gain[j])
        more[j] = g if alive[j] else np.uint32(0)


@kernel()
def _eat(alive, mass, more, feed, keep, bran):
    for j in range(mass.size):
        eaten = np.int64(feed * np.float32(more[j])) + np.int64(keep[j] * np.float32(mass[j]))
        bran[j] = eaten if alive[j] else np.int64(0)


@kernel()
def _run_clock(alive, pace, factor, progress):
    for j in range(progress.size):
        now = progress[j] + pace[j] * factor[j]
        progress[j] = now if alive[j] else progress[j]


@kernel()
def _grow_older(alive, age):
    for j in range(age.size):
        age[j] += np.uint16(alive[j] & (age[j] < 65535))


@kernel()
def _turns(stage, alive, mass, progress, molt, critical, turn):
    """Who dies, molts or becomes a pupa."""
    for j in range(stage.size):
        m = mass[j]
        ripe = (progress[j] >= _ONE) & (m >= critical)
        turn[j] = (stage[j] == 2) & (~alive[j] | (m >= molt[j]) | ripe)


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
    return np.uint8(k)


@kernel()
def _pupate(c, rate, seed, cols, books, i, b, m, rest):
    cols.stage[i] = 3
    cols.age[i] = 0
    new = np.uint32(m * c.pupa_mass_share)
    books.flows[_PUPATION] += np.int64(m - new)
    cols.mass[i] = new
    books.events[b, _FORMED] += 1
    wa, wb, _, _ = words(seed, _PUPATED_WORDS, cols.ident[i], 0)
    f = np.float32(1.0 / duration_factor(normal(wa, wb), c.pupa_cv))
    cols.factor[i] = f
    cols.progress[i] = np.float32(rest * rate) * f
