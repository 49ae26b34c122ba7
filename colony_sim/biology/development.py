"""Rates of development and ageing as functions of temperature."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from colony_sim.biology.compiled import kernel


def briere(temperature_c: float, lower_c: float, upper_c: float) -> float:
    """Relative rate of development, T (T - lower) sqrt(upper - T), zero outside the limits.

    Briere, Pracros, Le Roux and Pierre 1999, Environ. Entomol. 28:22, equation 1, without
    its scale factor, which `stage_rate` sets from a measured duration.
    """
    if not lower_c < temperature_c < upper_c:
        return 0.0
    return max(0.0, temperature_c * (temperature_c - lower_c) * math.sqrt(upper_c - temperature_c))


def scaled_rate(
    temperature_c: float, duration_days: float, reference_c: float, lower_c: float, upper_c: float
) -> float:
    """Development per day (1/d): 1 / duration at the reference temperature, Briere elsewhere.

    A reference of zero or below gives a rate of zero, since Briere's curve is zero there.
    """
    at_reference = briere(reference_c, lower_c, upper_c)
    if at_reference == 0.0:
        return 0.0
    return briere(temperature_c, lower_c, upper_c) / (at_reference * duration_days)


def stage_rate(p: Mapping[str, float], stage: str, temperature_c: float) -> float:
    """Development per day (1/d) of "egg", "larva" or "pupa" at a temperature (C).

    The larval rate holds with food and moisture in plenty and without crowding.
    """
    return scaled_rate(
        temperature_c,
        p[f"{stage}.duration_days"],
        p[f"{stage}.reference_c"],
        p[f"{stage}.lower_c"],
        p[f"{stage}.upper_c"],
    )


def teneral_rate(p: Mapping[str, float], temperature_c: float) -> float:
    """Progress per day (1/d) of the teneral period; thermal limits are those of the pupa."""
    return scaled_rate(
        temperature_c,
        p["adult.teneral_days"],
        p["adult.teneral_reference_c"],
        p["pupa.lower_c"],
        p["pupa.upper_c"],
    )


def ageing_rate(p: Mapping[str, float], temperature_c: float) -> float:
    """Ageing per day (1/d) on the scale of a unit Weibull life; Q10 rule.

    A life of w on that scale lasts w / ageing_rate days; the mean at the reference
    temperature is adult.life_mean_days.
    """
    scale = p["adult.life_mean_days"] / math.gamma(1.0 + 1.0 / p["adult.life_shape"])
    steps = (temperature_c - p["adult.life_reference_c"]) / 10.0
    return p["adult.life_q10"] ** steps / scale


@kernel()
def duration_factor(deviate: float, cv: float) -> float:
    """Lognormal factor of mean 1 on a duration from a standard normal deviate.

    Durations of insect stages are skewed to the right; lognormal is an assumption to be
    tested (Koo et al. 2013 fit a Weibull but give no parameters).
    """
    variance = math.log(1.0 + cv * cv)
    return math.exp(math.sqrt(variance) * deviate - 0.5 * variance)


@kernel()
def weibull_life(u: float, shape: float) -> float:
    """Life on the unit Weibull scale whose survival function equals u: (-ln u)^(1/shape)."""
    return (-math.log(u)) ** (1.0 / shape)


def fourth_root(mass: float) -> float:
    """Mass to the power 1/4 with square roots alone, as the kernels take it."""
    return float(np.sqrt(np.sqrt(mass)))
