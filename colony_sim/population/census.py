"""Counting the living: by bin and stage, with the masses that densities need."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.population.insects import Insects

#: Columns of the census table.
EGGS, LARVAE, PUPAE, ADULTS, LARVA_MASS, PREDATOR_MASS, ADULT_MASS, BREEDERS, MALES = range(9)
COLUMNS = 9


@kernel()
def _count(stage, bins, mass, flags, size, predator_mass, table):
    table[:] = 0
    # Sums of one bin are kept at hand while rows stay in it.
    here = np.uint64(0)
    larvae = np.int64(0)
    weight = np.int64(0)
    predators = np.int64(0)
    for j in range(stage.size):
        b = np.uint64(bins[j])
        if b != here:
            table[here, LARVAE] += larvae
            table[here, LARVA_MASS] += weight
            table[here, PREDATOR_MASS] += predators
            here = b
            larvae = 0
            weight = 0
            predators = 0
        s = stage[j]
        m = np.int64(mass[j])
        larva = np.int64(s == 2)
        larvae += larva
        m *= larva
        weight += m
        predators += m if m >= predator_mass else np.int64(0)
        if s == 1:
            table[b, EGGS] += 1
        elif s >= 3:
            if s == 3:
                table[b, PUPAE] += 1
            else:
                table[b, ADULTS] += 1
                table[b, ADULT_MASS] += np.int64(mass[j])
                if (flags[j] & 4) == 0 and size[j] >= np.float32(1.0):
                    table[b, BREEDERS] += 1
                    table[b, MALES] += np.int64((flags[j] & 1) == 0)
    table[here, LARVAE] += larvae
    table[here, LARVA_MASS] += weight
    table[here, PREDATOR_MASS] += predators


def count(insects: Insects, slots: int, predator_mass: int) -> np.ndarray:
    """Census of a colony (int64 array, shape (slots, COLUMNS); masses in ng).

    Sums are of whole numbers, so the order of rows does not matter. BREEDERS are adults
    past the teneral period and not injured, of either sex; MALES are the males among them.
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
