"""Rows of one stage, a chunk of rows at a time, and their words in vectors.

The loops that draw words are free of branches, so that the compiler makes vectors of them.
Counts of rows are unsigned, which spares each access the check for a negative index. Kernels
that are called per insect take the arrays that they need and not the bundles of `books`: a
bundle is passed field by field and costs more than the work.
"""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.population.draws import words

#: Rows looked at together; what they need fits the first-level cache.
CHUNK = 1024


@kernel()
def pick(stage, wanted, start, stop, rows):
    """Write the rows of a stage from `start` until before `stop`; return how many there are."""
    here = stage[start:stop]
    count = np.uint64(0)
    for j in range(here.size):
        count += np.uint64(here[j] == wanted)
    if count == 0:
        return count
    k = np.uint64(0)
    for j in range(here.size):
        rows[k] = start + j
        k += np.uint64(here[j] == wanted)
    return count


@kernel()
def has(stage, wanted):
    """Whether any of some rows is of a stage."""
    count = np.int64(0)
    for j in range(stage.size):
        count += np.int64(stage[j] == wanted)
    return count > 0


@kernel()
def all_words(seed, block, day, ident, count, w0, w1, w2, w3):
    """All four words of many individuals."""
    for j in range(count):
        a, b, c, d = words(seed, block, ident[j], day)
        w0[j] = a
        w1[j] = b
        w2[j] = c
        w3[j] = d
