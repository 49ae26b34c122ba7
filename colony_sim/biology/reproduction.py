"""Egg laying by age, density, temperature and moisture; viability of eggs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from colony_sim.biology import development
from colony_sim.biology.compiled import kernel

#: Oldest physiological age (d) that the age table covers; older females lay like the last entry.
OLDEST_DAYS = 1000


def age_profile(p: Mapping[str, float]) -> np.ndarray:
    """Relative laying by physiological age (float32 array, shape (OLDEST_DAYS + 1,)).

    Age in days since emergence at adult.life_reference_c. Rises in a straight line from the end
    of the teneral period to fecundity.full_from_days, is 1 until fecundity.full_until_days, then
    declines exponentially (ages from Berggreen et al. 2018, J. Insects Food Feed 4(1)).
    """
    age = np.arange(OLDEST_DAYS + 1, dtype=np.float64)
    full, end = p["fecundity.full_from_days"], p["fecundity.full_until_days"]
    teneral = development.rate(development.teneral_pace(p), p["adult.life_reference_c"])
    start = min(full, 1.0 / teneral) if teneral > 0.0 else full
    rise = np.interp(age, [start, full], [0.0, 1.0]) if start < full else (age >= full) * 1.0
    fall = np.exp(-p["fecundity.decline_per_day"] * np.maximum(0.0, age - end))
    return (rise * fall).astype(np.float32)


class Warmth(NamedTuple):
    """Temperatures (C) between which females lay and their eggs are viable."""

    lower_c: float
    full_from_c: float
    full_until_c: float
    upper_c: float
    viability_full_c: float
    viability_none_c: float
    viable_share: float


def warmth(p: Mapping[str, float]) -> Warmth:
    """Limits from a full set of parameters."""
    laying = (f"fecundity.{name}_c" for name in ("lower", "full_from", "full_until", "upper"))
    eggs = ("egg.viability_full_c", "egg.viability_none_c", "egg.viable_share")
    return Warmth(*(p[key] for key in (*laying, *eggs)))


@kernel()
def temperature_share(of: Warmth, temperature_c: float) -> float:
    """Share of full laying at a temperature: a trapezoid between the four fecundity limits."""
    rise = (temperature_c - of.lower_c) / (of.full_from_c - of.lower_c)
    fall = (of.upper_c - temperature_c) / (of.upper_c - of.full_until_c)
    return max(0.0, min(1.0, rise, fall))


@kernel()
def viability(of: Warmth, temperature_c: float) -> float:
    """Share of the eggs laid at a temperature (C) that can hatch."""
    span = of.viability_none_c - of.viability_full_c
    return of.viable_share * max(0.0, min(1.0, (of.viability_none_c - temperature_c) / span))
