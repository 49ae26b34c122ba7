"""Larval growth and what limits it.

The growth law is that of West, Brown and Enquist 2001, Nature 413:628: the fourth root of
mass approaches the fourth root of asymptotic mass exponentially. On the scale of the larval
clock (0 at hatching, 1 at the end of the larval period in ideal conditions) its exponent is
fixed by the masses at hatching, at maturity and at the asymptote, so growth shares the
temperature response of development.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import fourth_root


def growth_exponent(p: Mapping[str, float]) -> float:
    """Exponent of the approach to asymptotic mass over one whole larval clock (number)."""
    top = fourth_root(p["larva.asymptotic_mass_mg"])
    start = fourth_root(p["larva.hatchling_mass_mg"])
    end = fourth_root(p["larva.mature_mass_mg"])
    return math.log((top - start) / (top - end))


def ideal_mass(
    p: Mapping[str, float], clock: float | np.ndarray, size: float | np.ndarray = 1.0
) -> float | np.ndarray:
    """Mass (mg) at points of the larval clock in ideal conditions, closed form.

    `size` is the individual's factor on the fourth root of asymptotic mass.
    """
    top = fourth_root(p["larva.asymptotic_mass_mg"]) * size
    start = fourth_root(p["larva.hatchling_mass_mg"])
    return (top - (top - start) * np.exp(-growth_exponent(p) * clock)) ** 4


def molt_masses(p: Mapping[str, float], count: int = 60) -> list[float]:
    """Masses (mg) at which a larva leaves instar 1, 2, ...; `count` values.

    A larva molts each time its mass has grown by larva.molt_mass_ratio (Dyar's rule on
    mass instead of head width).
    """
    return [
        p["larva.hatchling_mass_mg"] * p["larva.molt_mass_ratio"] ** k for k in range(1, count + 1)
    ]


@kernel()
def crowding_limit(larvae_g: float, area_dm2: float, slope: float) -> float:
    """Share of full growth left at a biomass of larvae per area (g/dm2): exp(-slope x)."""
    return math.exp(-slope * larvae_g / area_dm2)


@kernel()
def moisture_limit(stock: float, need: float, dry_share: float) -> float:
    """Share of full growth (or laying) at a moisture stock and a day's need, same unit.

    Rises in a straight line from `dry_share` without moisture to 1 when the day's need is met.
    """
    if need <= 0.0:
        return 1.0 if stock > 0.0 else dry_share
    return dry_share + (1.0 - dry_share) * min(1.0, stock / need)


@kernel()
def food_limit(bran: float, demand: float, bran_days: float) -> float:
    """Share of full intake when `bran` is left and `demand` would be eaten a day, same unit.

    Functional response of type I (Holling 1959): 1 while the bran lasts `bran_days` at full
    intake, then proportional to what is left. With bran_days >= 1 intake never exceeds bran.
    """
    if demand <= 0.0:
        return 1.0
    return min(1.0, bran / (bran_days * demand))


@kernel()
def clock_limit(limit: float, sensitivity: float) -> float:
    """Share of the full pace of the larval clock under a growth limit from 0 to 1."""
    return 1.0 - sensitivity * (1.0 - limit)
