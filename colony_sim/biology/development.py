"""Rates of development and ageing as functions of temperature."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from colony_sim.biology.compiled import kernel


@kernel()
def briere(temperature_c: float, lower_c: float, upper_c: float) -> float:
    """Relative rate of development, T (T - lower) sqrt(upper - T), zero outside the limits.

    Briere, Pracros, Le Roux and Pierre 1999, Environ. Entomol. 28:22, equation 1, without
    its scale factor, which `stage_rate` sets from a measured duration.
    """
    if not lower_c < temperature_c < upper_c:
        return 0.0
    return max(0.0, temperature_c * (temperature_c - lower_c) * math.sqrt(upper_c - temperature_c))


class Pace(NamedTuple):
    """Development of a stage: Briere's curve scaled to a measured duration."""

    scale: float  # 1/d for a curve of 1
    lower_c: float
    upper_c: float


def pace(duration_days: float, reference_c: float, lower_c: float, upper_c: float) -> Pace:
    """Pace of 1 / `duration_days` at the reference temperature.

    A reference of zero or below, or outside the limits, gives a pace of zero, since Briere's
    curve is zero there.
    """
    at_reference = briere(reference_c, lower_c, upper_c)
    scale = 0.0 if at_reference == 0.0 else 1.0 / (at_reference * duration_days)
    return Pace(scale, lower_c, upper_c)


def stage_pace(p: Mapping[str, float], stage: str) -> Pace:
    """Pace of "egg", "larva" or "pupa"; the larva's with feed and moisture in plenty."""
    names = ("duration_days", "reference_c", "lower_c", "upper_c")
    return pace(*(p[f"{stage}.{name}"] for name in names))


def teneral_pace(p: Mapping[str, float]) -> Pace:
    """Pace of the teneral period; thermal limits are those of the pupa."""
    return pace(
        p["adult.teneral_days"],
        p["adult.teneral_reference_c"],
        p["pupa.lower_c"],
        p["pupa.upper_c"],
    )


@kernel()
def rate(of: Pace, temperature_c: float) -> float:
    """Development per day (1/d) at a temperature (C)."""
    return of.scale * briere(temperature_c, of.lower_c, of.upper_c)


def life_scale_days(p: Mapping[str, float]) -> float:
    """Days at adult.life_reference_c that make one unit of the Weibull scale of adult life."""
    return p["adult.life_mean_days"] / math.gamma(1.0 + 1.0 / p["adult.life_shape"])


@kernel()
def ageing_rate(life_scale: float, q10: float, reference_c: float, temperature_c: float) -> float:
    """Ageing per day (1/d) on the scale of a unit Weibull life; Q10 rule.

    A life of w on that scale lasts w / ageing_rate days.
    """
    return q10 ** ((temperature_c - reference_c) / 10.0) / life_scale


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
