"""Egg laying by age, density, temperature and moisture; viability of eggs."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

#: Longest adult age in days that the age table covers; older females lay like the last entry.
OLDEST_DAYS = 1000


def age_profile(p: Mapping[str, float]) -> np.ndarray:
    """Relative laying by days since emergence (float32 array, shape (OLDEST_DAYS + 1,)).

    Rises in a straight line from emergence to fecundity.full_from_days (the teneral period
    is handled apart), is 1 until fecundity.full_until_days, then declines exponentially
    (ages from Berggreen et al. 2018, J. Insects Food Feed 4(1)).
    """
    age = np.arange(OLDEST_DAYS + 1, dtype=np.float64)
    start, end = p["fecundity.full_from_days"], p["fecundity.full_until_days"]
    rise = np.ones_like(age) if start <= 0 else np.minimum(1.0, age / start)
    fall = np.exp(-p["fecundity.decline_per_day"] * np.maximum(0.0, age - end))
    return (rise * fall).astype(np.float32)


def temperature_share(p: Mapping[str, float], temperature_c: float) -> float:
    """Share of full laying at a temperature: a trapezoid between the four fecundity limits."""
    corners = [
        p["fecundity.lower_c"],
        p["fecundity.full_from_c"],
        p["fecundity.full_until_c"],
        p["fecundity.upper_c"],
    ]
    return float(np.interp(temperature_c, corners, [0.0, 1.0, 1.0, 0.0]))


def viability(p: Mapping[str, float], temperature_c: float) -> float:
    """Share of the eggs laid at a temperature (C) that can hatch."""
    corners = [p["egg.viability_full_c"], p["egg.viability_none_c"]]
    return float(np.interp(temperature_c, corners, [p["egg.viable_share"], 0.0]))
