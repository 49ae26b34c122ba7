"""Insects that are not born in a run: the columns of larvae and beetles of a given age.

What an individual would have drawn at hatching or emergence in the engine it draws here, from
the same keys.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from colony_sim.biology import growth
from colony_sim.biology.rates import NG_PER_MG, day_rates, largest_size
from colony_sim.population.draws import Block, blocks, duration_factors, uniforms
from colony_sim.population.insects import Stage

#: Word that gives the tolerance of a stage.
_TOLERANCE = {
    Stage.EGG: (Block.EGG_FATE, 0),
    Stage.LARVA: (Block.HATCHED, 2),
    Stage.PUPA: (Block.PUPATED, 2),
    Stage.ADULT: (Block.EMERGED, 1),
}


def larvae(
    p: Mapping[str, float], seed: int, ident: np.ndarray, clock: np.ndarray
) -> dict[str, Any]:
    """Larvae at points of the larval clock, with the masses of ideal growth."""
    words = blocks(seed, Block.HATCHED, ident, 0)
    duration, size = duration_factors(words, p["larva.duration_cv"], p["larva.size_cv"])
    size = np.minimum(size, largest_size(p))
    mass = growth.ideal_mass(p, clock, size)
    return {
        "ident": ident,
        "stage": Stage.LARVA,
        "mass": np.round(mass * NG_PER_MG),
        "progress": clock,
        "factor": 1.0 / duration,
        "size": size,
        "tolerance": tolerances(seed, Stage.LARVA, ident),
        "tally": 1 + np.searchsorted(np.array(growth.molt_masses(p)), mass, side="right"),
    }


def beetles(
    p: Mapping[str, float], seed: int, ident: np.ndarray, age: np.ndarray, temperature_c: float
) -> dict[str, Any]:
    """Fertile beetles of some age (d) that lived at a temperature (C).

    Lengths of life follow the Weibull ageing law given survival to that age.
    """
    life = uniforms(seed, Block.EMERGED, 0, ident, 0)
    shape = p["adult.life_shape"]
    ripe = age * day_rates(p, temperature_c).ageing
    mass = p["larva.mature_mass_mg"] * p["pupa.mass_share"] * p["adult.mass_share"]
    return {
        "ident": ident,
        "stage": Stage.ADULT,
        "mass": round(mass * NG_PER_MG),
        "progress": ripe,
        "factor": (ripe**shape - np.log(life)) ** (1.0 / shape),
        "size": 1.0,
        "tolerance": tolerances(seed, Stage.ADULT, ident),
        "age": age,
    }


def tolerances(seed: int, stage: Stage, ident: np.ndarray) -> np.ndarray:
    """Hazard, summed over days, that each withstands in a stage (float64, shape (n,))."""
    return -np.log(uniforms(seed, *_TOLERANCE[stage], ident, 0))
