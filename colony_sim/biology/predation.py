"""Cannibalism: daily hazards proportional to predator density.

Adults count per dm2 of bin floor, because beetles walk and feed at the surface and every
published density is per area. Larvae count in grams per kg of substrate (bran and frass),
because they live through its depth and a small larva eats little.
"""

from __future__ import annotations

from colony_sim.biology.compiled import kernel


@kernel()
def adult_hazard(coefficient: float, adults: float, area_dm2: float) -> float:
    """Hazard (1/d) from adults; coefficient in dm2/(adult d)."""
    return coefficient * adults / area_dm2


@kernel()
def larva_hazard(coefficient: float, larvae_g: float, substrate_kg: float) -> float:
    """Hazard (1/d) from predator larvae; coefficient in kg/(g d).

    Substrate below 10 g counts as 10 g, so that an empty bin has a finite density.
    """
    return coefficient * larvae_g / max(substrate_kg, 0.01)


@kernel()
def want_factor(hunger_rise: float, food: float, thirst_rise: float, wet: float) -> float:
    """Factor on hazards when intake falls to the share `food` and moisture to the share `wet`.

    Rises in straight lines with what is lacking; larvae are given no thirst.
    """
    return 1.0 + hunger_rise * (1.0 - food) + thirst_rise * (1.0 - wet)
