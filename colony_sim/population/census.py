"""Counting the living: by bin and stage, with the masses that densities need."""

from __future__ import annotations

from functools import reduce

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.population.chunks import CHUNK, pick
from colony_sim.population.insects import (
    IS_ADULT,
    IS_EGG,
    IS_FEMALE,
    IS_INJURED,
    IS_LARVA,
    IS_PUPA,
    Insects,
)
from colony_sim.population.parts import in_parts
from colony_sim.population.runs import end_of_run

#: Columns of the census table.
EGGS, LARVAE, PUPAE, ADULTS, LARVA_MASS, PREDATOR_MASS, ADULT_MASS, BREEDERS, MALES = range(9)
COLUMNS = 9


@kernel(nogil=True)
def _count(stage, bins, mass, flags, size, predator_mass, table):
    stop = 0
    rows = np.empty(CHUNK + 1, np.uint32)
    while stop < stage.size:
        start = stop
        stop, b = end_of_run(stage, bins, start, min(start + CHUNK, stage.size))
        eggs, larvae, weight, predators, others = _young(
            stage[start:stop], mass[start:stop], np.uint32(predator_mass)
        )
        table[b, EGGS] += eggs
        table[b, LARVAE] += larvae
        table[b, LARVA_MASS] += weight
        table[b, PREDATOR_MASS] += predators
        if others == 0:
            continue
        for k in range(pick(stage, IS_PUPA, start, stop, rows)):
            table[bins[rows[k]], PUPAE] += 1
        for k in range(pick(stage, IS_ADULT, start, stop, rows)):
            i = np.uint64(rows[k])
            b = np.uint64(bins[i])
            table[b, ADULTS] += 1
            table[b, ADULT_MASS] += np.int64(mass[i])
            if (flags[i] & IS_INJURED) == 0 and size[i] >= np.float32(1.0):
                table[b, BREEDERS] += 1
                table[b, MALES] += np.int64((flags[i] & IS_FEMALE) == 0)


@kernel()
def _young(stage, mass, predator_mass):
    """Eggs and larvae of a run, mass of larvae and of predators among them; pupae and adults."""
    eggs = larvae = weight = predators = others = np.int64(0)
    for j in range(stage.size):
        larva = stage[j] == IS_LARVA
        m = np.int64(mass[j]) if larva else np.int64(0)
        eggs += np.int64(stage[j] == IS_EGG)
        larvae += np.int64(larva)
        others += np.int64(stage[j] >= IS_PUPA)
        weight += m
        predators += m if mass[j] >= predator_mass else np.int64(0)
    return eggs, larvae, weight, predators, others


def count(insects: Insects, slots: int, predator_mass: int, threads: int = 1) -> np.ndarray:
    """Census of a colony (int64 array, shape (slots, COLUMNS); masses in ng).

    Sums are of whole numbers, so neither the order of rows nor the number of threads matters.
    BREEDERS are adults past the teneral period and not injured, of either sex; MALES are the
    males among them.
    """
    columns = [insects.view(name) for name in ("stage", "bin", "mass", "flags", "size")]

    def count_part(rows: slice) -> np.ndarray:
        table = np.zeros((slots, COLUMNS), np.int64)
        _count(*(column[rows] for column in columns), predator_mass, table)
        return table

    return reduce(np.add, in_parts(insects.n, threads, count_part))
