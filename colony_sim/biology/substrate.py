"""Volume and depth of the substrate, and how deep eggs lie in it."""

from __future__ import annotations

import math
from enum import IntEnum

from colony_sim.biology.compiled import kernel

#: Substrate below this counts as this (cm3), so that an empty bin has a finite density.
LEAST_CM3 = 40.0
CM2_PER_DM2 = 100.0


class Refuge(IntEnum):
    """Where eggs are safe from beetles, by the names of `predation.refuge` in lower case."""

    NONE = 0
    DEPTH = 1


@kernel()
def volume(bran_g: float, frass_g: float, bran_cm3: float, frass_cm3: float) -> float:
    """Volume of the substrate (cm3) from bran and frass (g) and their bulk (cm3/g)."""
    return max(LEAST_CM3, bran_g * bran_cm3 + frass_g * frass_cm3)


@kernel()
def usable_volume(volume_cm3: float, area_dm2: float, usable_depth_cm: float) -> float:
    """Volume that larvae use (cm3): what lies deeper than `usable_depth_cm` does not count."""
    return min(volume_cm3, area_dm2 * CM2_PER_DM2 * usable_depth_cm)


@kernel()
def hidden_share(
    adults_per_dm2: float, substrate_cm: float, reach_cm: float, depth_cm: float, rise: float
) -> float:
    """Share of the eggs laid below the beetles' reach.

    Depths of eggs are exponential with mean `depth_cm` x (1 + `rise` x adults per dm2), for
    females lay deeper as adult density rises (Gerber and Sabourin 1984, Can. Entomol.); the
    form is an assumption to be tested. None is hidden in substrate no deeper than the reach.
    """
    if substrate_cm <= reach_cm:
        return 0.0
    return math.exp(-reach_cm / (depth_cm * (1.0 + rise * adults_per_dm2)))
