"""The day of the larvae: growth planned, then death, growth, molts and pupation."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import duration_factor
from colony_sim.population.books import grow_older
from colony_sim.population.draws import normal, words
from colony_sim.population.ledger import Event, Flow

_ONE = np.float32(1.0)
_ZERO = np.float32(0.0)
#: Rows whose words are drawn at a time; fits the first-level cache.
CHUNK = 4096
_DIED = int(Event.LARVA_DIED)
_FORMED = int(Event.PUPA_FORMED)
_GAIN = int(Flow.GAIN)
_PUPATION = int(Flow.PUPATION_LOSS)
_DEAD = int(Flow.DEAD_MASS)
_SKIN = int(Flow.SKIN_MASS)


@kernel()
def plan_growth(stage, bins, mass, factor, size, growth_share, asymptote, gain, feed, keep, ask):
    """Growth (ng) of each larva with bran in plenty, and the bran (ng) asked for per bin."""
    here = np.uint64(0)
    ask_here = np.int64(0)
    for i in range(stage.size):
        if stage[i] != 2:
            continue
        b = np.uint64(bins[i])
        m = np.float32(mass[i])
        root = np.sqrt(np.sqrt(m))
        top = asymptote * size[i]
        share = min(_ONE, growth_share[b] * factor[i])
        g = _ZERO
        if top > root:
            root += share * (top - root)
            root *= root
            g = max(_ZERO, root * root - m)
        gain[i] = np.uint32(g)
        if b != here:
            ask[here] += ask_here
            here = b
            ask_here = 0
        ask_here += np.int64(feed * g) + np.int64(keep * m)
    ask[here] += ask_here


@kernel()
def first_words(seed, day, ident, out):
    """Word 0 of each insect's larval block; free of branches, so that it compiles to vectors."""
    for j in range(ident.size):
        w0, _, _, _ = words(seed, 2, ident[j], day)
        out[j] = w0


@kernel()
def live_larvae(c, d, seed, day, cols, today, books, gain):
    """One day of every larva; `gain` is what `plan_growth` found (uint32, ng)."""
    ident, mass, progress = cols.ident, cols.mass, cols.progress
    factor, stage, instar, bins, age = cols.factor, cols.stage, cols.instar, cols.bin, cols.age
    food, pace_at, young_at, larva_at = today.food, today.pace, today.young_at, today.larva_at
    molts, young = c.molt_mass, np.uint32(c.young_mass)
    feed_per_gain = np.float32(c.per_gain)
    keep = np.float32(c.maintenance * d.larva_relative)
    # Sums of one bin are kept at hand while rows stay in it.
    here = np.uint64(0)
    bran_here = np.int64(0)
    gain_here = np.int64(0)
    word = np.empty(CHUNK, np.uint32)
    for start in range(0, stage.size, CHUNK):
        stop = min(start + CHUNK, stage.size)
        first_words(seed, day, ident[start:stop], word)
        for j in range(np.uint64(stop - start)):
            i = np.uint64(start) + j
            if stage[i] != 2:
                continue
            b = np.uint64(bins[i])
            m = mass[i]
            at = young_at[b] if m < young else larva_at[b]
            if np.uint64(word[j]) < at:
                stage[i] = 0
                books.events[b, _DIED] += 1
                books.flows[_DEAD] += np.int64(m)
                continue
            grow_older(age, i)
            g = gain[i]
            bran = np.int64(feed_per_gain * np.float32(g)) + np.int64(keep * np.float32(m))
            if food[b] < 1.0:
                g = np.uint32(g * food[b])
                bran = np.int64(bran * food[b])
            m = np.uint32(m + g)
            mass[i] = m
            if b != here:
                books.eaten[here] += bran_here
                books.grown[here] += gain_here
                here = b
                bran_here = 0
                gain_here = 0
            bran_here += bran
            gain_here += np.int64(g)
            k = np.int64(instar[i])
            if k <= molts.size and m >= molts[k - 1]:
                instar[i] = _molt(c, books, b, m, k)
            before = progress[i]
            pace = np.float32(pace_at[b]) * factor[i]
            now = before + pace
            progress[i] = now
            if now >= _ONE and m >= c.critical_mass:
                # What is left of the day after the clock ran out goes to the pupa.
                rest = np.float64(now - _ONE) / np.float64(pace) if before < _ONE else 0.0
                _pupate(c, d, seed, cols, books, i, b, m, rest)
    books.eaten[here] += bran_here
    books.grown[here] += gain_here
    books.flows[_GAIN] += books.grown.sum()


@kernel()
def _molt(c, books, b, m, k):
    """Shed skins until the instar fits the mass; returns the new instar."""
    while k <= c.molt_mass.size and m >= c.molt_mass[k - 1]:
        k += 1
        books.skins[b] += 1
        if m >= c.visible_mass:
            books.visible_skins[b] += 1
        skin = np.int64(c.exuvia_share * m)
        books.skin_mass[b] += skin
        books.flows[_SKIN] += skin
    return np.uint8(k)


@kernel()
def _pupate(c, d, seed, cols, books, i, b, m, rest):
    cols.stage[i] = 3
    cols.age[i] = 0
    new = np.uint32(m * c.pupa_mass_share)
    books.flows[_PUPATION] += np.int64(m - new)
    cols.mass[i] = new
    books.events[b, _FORMED] += 1
    wa, wb, _, _ = words(seed, 7, cols.ident[i], 0)
    f = np.float32(1.0 / duration_factor(normal(wa, wb), c.pupa_cv))
    cols.factor[i] = f
    cols.progress[i] = np.float32(rest * d.pupa) * f
