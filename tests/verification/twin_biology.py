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
    return p["adult.life_q10"] ** ((t - p["adult.life_reference_c"]) / 10.0) / life_scale(p)


def thermal_death(p, stage: str, t: float) -> float:
    """Death rate from heat and cold: each 1 at its own lethal temperature, no more than 700."""
    heat = (t - p[f"{stage}.lethal_high_c"]) / p["survival.heat_scale_k"]
    cold = (p[f"{stage}.lethal_low_c"] - t) / p["survival.cold_scale_k"]
    return min(700.0, math.exp(min(700.0, heat)) + math.exp(min(700.0, cold)))


def egg_wear(p, age: int) -> float:
    """Weibull hazard over the day in which an egg turns `age` days old, constant once twice the
    lifetime is over; none on the day of laying.
    """

    def total(days: int) -> float:
        return min(700.0, (days / p["egg.lifetime_days"]) ** p["egg.lifetime_shape"])

    age = min(age, int(2 * p["egg.lifetime_days"]) + 1)
    return total(age) - total(age - 1) if age > 0 else 0.0


def own_heat(p, room: float, larvae_g: float, beetles: int, feeding: float) -> float:
    """Temperature of a bin that its insects warm, by halving the interval forty times."""
    lower, upper = p["larva.lower_c"], p["larva.upper_c"]
    reference = briere(p["heat.reference_c"], lower, upper)
    if not p["heat.own"] or reference <= 0.0 or room >= upper:
        return room
    unfed, fed = p["heat.unfed_mw_per_g"] / 1000.0, p["heat.fed_mw_per_g"] / 1000.0
    made = larvae_g * (unfed + (fed - unfed) * feeding) + beetles * (p["heat.adult_mw"] / 1000.0)
    lost = p["heat.loss_w_per_m2_k"] * p["rack.bin_area_dm2"] / 100.0
    degrees = made / (lost * reference)
    if degrees <= 0.0:
        return room
    cold, warm = room, upper
    for _ in range(40):
        guess = 0.5 * (cold + warm)
        if room + degrees * briere(guess, lower, upper) > guess:
            cold = guess
        else:
            warm = guess
    return 0.5 * (cold + warm)


def substrate_cm3(p, bran_ng: int, frass_ng: int) -> float:
    """Volume of bran and frass; an empty bin counts 40 cm3."""
    bran, frass = bran_ng / 1e9 * p["feed.bran_cm3_per_g"], frass_ng / 1e9
    return max(40.0, bran + frass * p["feed.frass_cm3_per_g"])


def hidden_share(p, beetles: int, cm3: float) -> float:
    """Share of the eggs laid deeper than beetles reach."""
    area, reach = p["rack.bin_area_dm2"], p["predation.reach_cm"]
    if p["predation.refuge"] == "none" or cm3 / (100.0 * area) <= reach:
        return 0.0
    deeper = 1.0 + p["fecundity.depth_rise"] * (beetles / area)
    return math.exp(-reach / (p["fecundity.laying_depth_cm"] * deeper))


def laying_by_temperature(p, t: float) -> float:
    """Trapezoid: 0 at the outer limits, 1 between the inner ones."""
    a, b = p["fecundity.lower_c"], p["fecundity.full_from_c"]
    c, d = p["fecundity.full_until_c"], p["fecundity.upper_c"]
    if b <= t <= c:
        return 1.0
    if t <= a or t >= d:
        return 0.0
    return (t - a) / (b - a) if t < b else (d - t) / (d - c)


def life_scale(p) -> float:
    """Days at adult.life_reference_c that one unit of a beetle's progress stands for."""
    return p["adult.life_mean_days"] / math.gamma(1.0 + 1.0 / p["adult.life_shape"])


def laying_by_age(p, age: int) -> float:
    """Rise from the end of the teneral period to full laying, plateau, exponential decline.

    Age in whole days at adult.life_reference_c.
    """
    full, end = p["fecundity.full_from_days"], p["fecundity.full_until_days"]
    ripe = ripening(p, p["adult.life_reference_c"])
    start = 1.0 / ripe if ripe > 0.0 else full
    if age >= full:
        rise = 1.0
    elif age <= start:
        rise = 0.0
    else:
        rise = (age - start) / (full - start)
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


def size_factor(p, z: float) -> float:
    """Factor on asymptotic mass; no larva outgrows 4.2 g."""
    largest = 4.2e9 / (p["larva.asymptotic_mass_mg"] * 1e6)
    return min(largest, lognormal(z, p["larva.size_cv"]))


def molt_mass_ng(p, instar: int) -> int:
    """Mass (ng) at which a larva leaves an instar, cut off at what 32 bits hold."""
    mass = p["larva.hatchling_mass_mg"] * p["larva.molt_mass_ratio"] ** instar * 1e6
    return int(min(mass, 2.0**32 - 1))
