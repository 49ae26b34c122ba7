"""Runs: neighbouring rows whose eggs and larvae all live in one bin.

Eggs are laid, and so larvae grow up, bin by bin; what holds in a bin is then one number for a
whole run, and the loops over its rows have neither look-ups nor branches. Rows of other stages
(pupae on the tray, beetles moved on, the dead) do not end a run: nobody reads what such loops
make of them.
"""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.population.insects import IS_EGG, IS_LARVA

#: Rows compared at once.
_BLOCK = 128


@kernel(inline="always")
def _ends(stage, place, b):
    """Whether a row is an egg or a larva of another bin."""
    return ((stage == IS_EGG) | (stage == IS_LARVA)) & (place != b)


@kernel()
def end_of_run(stage, bins, start, stop):
    """The row after the run that begins with row `start`, at most `stop`, and its bin."""
    at = start
    while at < stop and stage[at] != IS_EGG and stage[at] != IS_LARVA:
        at += 1
    if at == stop:
        return stop, np.uint64(0)
    b = bins[at]
    at += 1
    while at < stop:
        end = min(at + _BLOCK, stop)
        kind, place = stage[at:end], bins[at:end]
        others = np.int64(0)
        for j in range(kind.size):
            others += np.int64(_ends(kind[j], place[j], b))
        if others > 0:
            for j in range(kind.size):
                if _ends(kind[j], place[j], b):
                    return at + j, np.uint64(b)
        at = end
    return stop, np.uint64(b)
