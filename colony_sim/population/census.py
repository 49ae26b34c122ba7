"""Counting the living: by bin and stage, with the masses that densities need."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.population.insects import Insects

#: Columns of the census table.
EGGS, LARVAE, PUPAE, ADULTS, LARVA_MASS, PREDATOR_MASS, ADULT_MASS, BREEDERS = range(8)
COLUMNS = 8


@kernel()
def _count(stage, bins, mass, flags, size, predator_mass, table):
    table[:] = 0
    for i in range(stage.size):
        s = stage[i]
        if s == 2:
            b = bins[i]
            m = np.int64(mass[i])
            table[b, 1] += 1
            table[b, 4] += m
            if m >= predator_mass:
                table[b, 5] += m
        elif s == 1:
            table[bins[i], 0] += 1
        elif s == 3:
            table[bins[i], 2] += 1
        elif s == 4:
            b = bins[i]
            table[b, 3] += 1
            table[b, 6] += np.int64(mass[i])
            if (flags[i] & 4) == 0 and size[i] >= np.float32(1.0):
                table[b, 7] += 1


def count(insects: Insects, slots: int, predator_mass: int) -> np.ndarray:
    """Census of a colony (int64 array, shape (slots, COLUMNS); masses in ng).

    Sums are of whole numbers, so the order of rows does not matter. BREEDERS are adults
    past the teneral period and not injured, of either sex.
    """
    table = np.zeros((slots, COLUMNS), np.int64)
    _count(
        insects.view("stage"),
        insects.view("bin"),
        insects.view("mass"),
        insects.view("flags"),
        insects.view("size"),
        predator_mass,
        table,
    )
    return table
