"""The formulas of the model once more, in plain Python, for the slow twin.

Stated anew with nothing imported from the engine, but by someone who had read it, and kept in
step with its intended changes: agreement shows that the engine does what is stated here, not
that the statement is right. `p` maps the keys of `parameters.toml` to values; temperatures in C,
rates per day.
"""

from __future__ import annotations

import math


def briere(t: float, lower: float, upper: float) -> float:
    """Briere et al. 1999, without scale."""
    if t <= lower or t >= upper:
        return 0.0
    return max(0.0, t * (t - lower) * math.sqrt(upper - t))


def development(p, stage: str, t: float) -> float:
    """Share of the stage passed in a day."""
    lower, upper = p[f"{stage}.lower_c"], p[f"{stage}.upper_c"]
    scale = briere(p[f"{stage}.reference_c"], lower, upper)
    if scale == 0.0:
        return 0.0
    return briere(t, lower, upper) / (scale * p[f"{stage}.duration_days"])


def ripening(p, t: float) -> float:
    """Share of the teneral period passed in a day."""
    lower, upper = p["pupa.lower_c"], p["pupa.upper_c"]
    scale = briere(p["adult.teneral_reference_c"], lower, upper)
    return briere(t, lower, upper) / (scale * p["adult.teneral_days"]) if scale else 0.0


def ageing(p, t: float) -> float:
    """Progress of a beetle on the scale of a Weibull life of scale 1."""
    mean_of_unit = math.gamma(1.0 + 1.0 / p["adult.life_shape"])
    scale = p["adult.life_mean_days"] / mean_of_unit
    return p["adult.life_q10"] ** ((t - p["adult.life_reference_c"]) / 10.0) / scale


def thermal_death(p, stage: str, t: float) -> float:
    """Death rate from heat or cold."""
    beyond = max(0.0, t - p[f"{stage}.lethal_high_c"], p[f"{stage}.lethal_low_c"] - t)
    return p["survival.lethal_hazard"] * beyond


def laying_by_temperature(p, t: float) -> float:
    """Trapezoid: 0 at the outer limits, 1 between the inner ones."""
    a, b = p["fecundity.lower_c"], p["fecundity.full_from_c"]
    c, d = p["fecundity.full_until_c"], p["fecundity.upper_c"]
    if b <= t <= c:
        return 1.0
    if t <= a or t >= d:
        return 0.0
    return (t - a) / (b - a) if t < b else (d - t) / (d - c)


def laying_by_age(p, age: int) -> float:
    """Rise to full laying, plateau, exponential decline."""
    start, end = p["fecundity.full_from_days"], p["fecundity.full_until_days"]
    rise = 1.0 if start <= 0 else min(1.0, age / start)
    return rise * math.exp(-p["fecundity.decline_per_day"] * max(0.0, age - end))


def viable_share(p, t: float) -> float:
    """Share of eggs laid at this temperature that can hatch."""
    full, none = p["egg.viability_full_c"], p["egg.viability_none_c"]
    if t <= full:
        return p["egg.viable_share"]
    if t >= none:
        return 0.0
    return p["egg.viable_share"] * (none - t) / (none - full)


def lognormal(z: float, cv: float) -> float:
    """Lognormal factor of mean 1 and the given coefficient of variation."""
    variance = math.log(1.0 + cv**2)
    return math.exp(math.sqrt(variance) * z - variance / 2.0)


def weibull(u: float, shape: float) -> float:
    """Unit Weibull life whose survival function equals u."""
    return (-math.log(u)) ** (1.0 / shape)


def fourth_root(mass: float) -> float:
    """mass ** (1/4), by square roots as everywhere in the model."""
    return math.sqrt(math.sqrt(mass))


def size_factor(p, z: float) -> float:
    """Factor on the fourth root of asymptotic mass; no larva outgrows 4.2 g."""
    largest = 4.2e9**0.25 / fourth_root(p["larva.asymptotic_mass_mg"] * 1e6)
    return min(largest, lognormal(z, p["larva.size_cv"]))


def growth_exponent(p) -> float:
    """West, Brown and Enquist 2001 on the larval clock: from hatchling to mature mass in 1."""
    top = fourth_root(p["larva.asymptotic_mass_mg"])
    start = fourth_root(p["larva.hatchling_mass_mg"])
    end = fourth_root(p["larva.mature_mass_mg"])
    return math.log((top - start) / (top - end))


def ideal_mass_mg(p, clock: float, size: float = 1.0) -> float:
    """Mass at a point of the larval clock when nothing limits growth.

    `size` is the larva's own factor on the fourth root of asymptotic mass.
    """
    top = fourth_root(p["larva.asymptotic_mass_mg"]) * size
    start = fourth_root(p["larva.hatchling_mass_mg"])
    return (top - (top - start) * math.exp(-growth_exponent(p) * clock)) ** 4


def molt_mass_ng(p, instar: int) -> int:
    """Mass (ng) at which a larva leaves an instar, cut off at what 32 bits hold."""
    mass = p["larva.hatchling_mass_mg"] * p["larva.molt_mass_ratio"] ** instar * 1e6
    return int(min(mass, 2.0**32 - 1))
