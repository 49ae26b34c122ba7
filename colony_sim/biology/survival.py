"""Heat and cold; background death rates live in `parameters.toml` as they stand."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from colony_sim.biology.compiled import kernel

#: Death rates beyond this (1/d) leave nobody; it keeps the exponential finite.
_CERTAIN = 700.0


class Tolerance(NamedTuple):
    """Heat and cold that a stage bears."""

    low_c: float  # one death a day from cold
    high_c: float  # one death a day from heat
    cold_scale_k: float
    heat_scale_k: float


def tolerance(p: Mapping[str, float], stage: str) -> Tolerance:
    """Tolerance of "egg", "larva", "pupa" or "adult"."""
    return Tolerance(
        p[f"{stage}.lethal_low_c"],
        p[f"{stage}.lethal_high_c"],
        p["survival.cold_scale_k"],
        p["survival.heat_scale_k"],
    )


@kernel()
def thermal_hazard(of: Tolerance, temperature_c: float) -> float:
    """Death rate (1/d) from heat and cold.

    1 at either lethal temperature, and by a factor e less or more for each scale further in or
    out: log-linear times of survival, as in thermal death time curves (Rezende, Castaneda and
    Santos 2014, Funct. Ecol. 28:799, from memory).
    """
    heat = min(_CERTAIN, (temperature_c - of.high_c) / of.heat_scale_k)
    cold = min(_CERTAIN, (of.low_c - temperature_c) / of.cold_scale_k)
    return min(_CERTAIN, math.exp(heat) + math.exp(cold))


def egg_wear(p: Mapping[str, float]) -> np.ndarray:
    """Death rate (1/d) of an egg on its 0th, 1st, 2nd ... day (float64 array).

    Weibull hazard of shape egg.lifetime_shape in calendar age, summed over the day; a share
    exp(-1) outlasts egg.lifetime_days. None on the day of laying. The last entry, at twice the
    lifetime or more, holds for all older eggs.
    """
    lifetime = p["egg.lifetime_days"]
    age = np.arange(int(2 * lifetime) + 2) / lifetime
    total = np.minimum(_CERTAIN, age ** p["egg.lifetime_shape"])
    return np.concatenate([[0.0], np.diff(total)])
