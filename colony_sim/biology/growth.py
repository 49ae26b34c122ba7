"""Larval growth and what limits it.

All growth laws here are one family: mass to the power -theta approaches its asymptote
exponentially (the generalised logistic of Richards 1959, J. Exp. Bot. 10:290). theta = -1/4 is
the law of West, Brown and Enquist 2001, Nature 413:628, 0 that of Gompertz, 1 the logistic,
2 a steeper Richards curve. "exponential" grows at a constant relative rate until the asymptote,
the form that an energy budget gives larvae whose surface grows with their volume (Llandres et
al. 2015, J. Exp. Biol. 218:3442, from memory).

Time runs on the larval clock (0 at hatching, 1 at the end of the larval period in ideal
conditions); the exponent of each law is fixed by the masses at hatching, at maturity and at
the asymptote, so growth shares the temperature response of development.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import IntEnum
from typing import Any

import numpy as np

from colony_sim.biology.compiled import kernel


class Law(IntEnum):
    """Growth laws, by the names of `growth.law` in lower case."""

    WEST_BROWN_ENQUIST = 0
    GOMPERTZ = 1
    LOGISTIC = 2
    RICHARDS = 3
    EXPONENTIAL = 4


class Crowding(IntEnum):
    """What larvae crowd in, by the names of `growth.crowding` in lower case."""

    PER_VOLUME = 0
    PER_AREA = 1


_EXPONENTIAL = int(Law.EXPONENTIAL)
#: theta of the family; the exponential law has none.
_THETA = {Law.WEST_BROWN_ENQUIST: -0.25, Law.LOGISTIC: 1.0, Law.RICHARDS: 2.0}


def growth_law(p: Mapping[str, Any]) -> Law:
    """The law chosen by `growth.law`."""
    return Law[p["growth.law"].upper()]


def _scale(law: Law, mass: float | np.ndarray) -> float | np.ndarray:
    """Mass (mg) on the scale on which the law is linear."""
    return -np.log(mass) if law is Law.GOMPERTZ else mass ** -_THETA[law]


def growth_exponent(p: Mapping[str, Any]) -> float:
    """Exponent of the approach to the asymptote over one whole larval clock (number).

    For the exponential law, the logarithm of mature over hatchling mass.
    """
    law = growth_law(p)
    top, start, end = (p[f"larva.{name}_mass_mg"] for name in ("asymptotic", "hatchling", "mature"))
    if law is Law.EXPONENTIAL:
        return math.log(end / start)
    far = _scale(law, start) - _scale(law, top)
    near = _scale(law, end) - _scale(law, top)
    return math.log(far / near)


def ideal_mass(
    p: Mapping[str, Any], clock: float | np.ndarray, size: float | np.ndarray = 1.0
) -> float | np.ndarray:
    """Mass (mg) at points of the larval clock in ideal conditions, closed form.

    `size` is the individual's factor on asymptotic mass.
    """
    law, k = growth_law(p), growth_exponent(p)
    top = p["larva.asymptotic_mass_mg"] * size
    start = p["larva.hatchling_mass_mg"]
    if law is Law.EXPONENTIAL:
        return np.minimum(start * np.exp(k * clock), top)
    u = _scale(law, top) + (_scale(law, start) - _scale(law, top)) * np.exp(-k * clock)
    return np.exp(-u) if law is Law.GOMPERTZ else u ** (-1.0 / _THETA[law])


def ideal_clock(p: Mapping[str, Any], mass: float | np.ndarray) -> float | np.ndarray:
    """Point of the larval clock at which an average larva has this mass (mg), ideal conditions.

    The inverse of `ideal_mass`; very late, not infinite, from the asymptote on.
    """
    law, k = growth_law(p), growth_exponent(p)
    start = p["larva.hatchling_mass_mg"]
    if law is Law.EXPONENTIAL:
        return np.log(mass / start) / k
    top = _scale(law, p["larva.asymptotic_mass_mg"])
    left = (_scale(law, mass) - top) / (_scale(law, start) - top)
    return -np.log(np.maximum(left, 1e-12)) / k


def molt_masses(p: Mapping[str, float], count: int = 60) -> list[float]:
    """Masses (mg) at which a larva leaves instar 1, 2, ...; `count` values.

    A larva molts each time its mass has grown by larva.molt_mass_ratio (Dyar's rule on
    mass instead of head width).
    """
    return [
        p["larva.hatchling_mass_mg"] * p["larva.molt_mass_ratio"] ** k for k in range(1, count + 1)
    ]


@kernel()
def day_share(law: int, exponent: float, clock: float) -> float:
    """Share of the way to the asymptote gone in `clock` of the larval clock.

    For the exponential law, the share by which mass rises.
    """
    if law == _EXPONENTIAL:
        return math.expm1(exponent * clock)
    return 1.0 - math.exp(-exponent * clock)


@kernel()
def crowding_limit(density: float, slope: float) -> float:
    """Share of full growth left at a density of larvae: exp(-slope x density).

    Density in g of larvae per litre of substrate, or per dm2 of floor, and the slope to match.
    """
    return math.exp(-slope * density)


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


@kernel()
def pupation_chance(larvae: float, volume_cm3: float, slope: float) -> float:
    """Chance (1/d) that a ripe larva pupates among others: exp(-slope x larvae per cm3).

    Contact between larvae holds pupation back (Tschinkel and Willson 1971); the form is an
    assumption to be tested. `slope` in cm3/larva.
    """
    return math.exp(-slope * larvae / volume_cm3)
