"""The five growth laws once more, each written out, for the slow twin.

For each law: the exponent that brings a larva from hatchling to mature mass within one larval
clock, mass against the clock in closed form (mg), and the gain of a day in single precision,
step by step as masses are rounded to nanograms. Nothing is imported from the engine.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

from numpy import float32

ONE = float32(1.0)


def _masses(p) -> tuple[float, float, float]:
    return tuple(p[f"larva.{name}_mass_mg"] for name in ("asymptotic", "hatchling", "mature"))


def _way(exponent: float, clock: float) -> float:
    """Share of the way to the asymptote."""
    return 1.0 - math.exp(-exponent * clock)


def _root(m: float32) -> float32:
    return float32(math.sqrt(float32(math.sqrt(m))))


# -- West, Brown and Enquist 2001: the fourth root of mass approaches its asymptote --------


def _wbe_exponent(p) -> float:
    top, start, end = (math.sqrt(math.sqrt(m)) for m in _masses(p))
    return math.log((top - start) / (top - end))


def _wbe_mass(p, clock, top) -> float:
    start = p["larva.hatchling_mass_mg"] ** 0.25
    return (top**0.25 - (top**0.25 - start) * math.exp(-_wbe_exponent(p) * clock)) ** 4


def _wbe_gain(mass: int, top: float32, own: float32) -> float32:
    m = float32(mass)
    root = _root(m)
    far = _root(top) - root
    if far <= 0:
        return float32(0.0)
    square = root + min(ONE, own) * far
    square = square * square
    return square * square - m


# -- Gompertz: the logarithm of mass does ---------------------------------------------------


def _gompertz_exponent(p) -> float:
    top, start, end = _masses(p)
    return math.log(math.log(top / start) / math.log(top / end))


def _gompertz_mass(p, clock, top) -> float:
    start = p["larva.hatchling_mass_mg"]
    return top * (start / top) ** math.exp(-_gompertz_exponent(p) * clock)


def _gompertz_gain(mass: int, top: float32, own: float32) -> float32:
    """In double precision but for the gain itself, for its logarithms."""
    if mass >= float(top):
        return float32(0.0)
    up = math.log(float(top) / mass)
    return float32(mass * math.expm1(min(1.0, float(own)) * up))


# -- Logistic: the inverse of mass does -----------------------------------------------------


def _logistic_exponent(p) -> float:
    top, start, end = _masses(p)
    return math.log((1.0 / start - 1.0 / top) / (1.0 / end - 1.0 / top))


def _logistic_mass(p, clock, top) -> float:
    start = p["larva.hatchling_mass_mg"]
    return top / (1.0 + (top / start - 1.0) * math.exp(-_logistic_exponent(p) * clock))


def _logistic_gain(mass: int, top: float32, own: float32) -> float32:
    m = float32(mass)
    far = ONE / m - ONE / top
    if far <= 0:
        return float32(0.0)
    return ONE / (ONE / m - min(ONE, own) * far) - m


# -- Richards, exponent 2: the inverse of squared mass does ---------------------------------


def _richards_exponent(p) -> float:
    top, start, end = _masses(p)
    return math.log((start**-2 - top**-2) / (end**-2 - top**-2))


def _richards_mass(p, clock, top) -> float:
    start = p["larva.hatchling_mass_mg"]
    left = ((top / start) ** 2 - 1.0) * math.exp(-_richards_exponent(p) * clock)
    return top / math.sqrt(1.0 + left)


def _richards_gain(mass: int, top: float32, own: float32) -> float32:
    m = float32(mass)
    now, end = ONE / m, ONE / top
    now, end = now * now, end * end
    far = now - end
    if far <= 0:
        return float32(0.0)
    return ONE / float32(math.sqrt(now - min(ONE, own) * far)) - m


# -- Exponential: constant relative growth until the asymptote ------------------------------


def _exponential_exponent(p) -> float:
    _, start, end = _masses(p)
    return math.log(end / start)


def _exponential_mass(p, clock, top) -> float:
    return min(top, p["larva.hatchling_mass_mg"] * math.exp(_exponential_exponent(p) * clock))


def _exponential_gain(mass: int, top: float32, own: float32) -> float32:
    m = float32(mass)
    return min(own * m, top - m)


#: By the value of growth.law: exponent(p), mass(p, clock, asymptote), way(exponent, clock) of a
#: day and gain(mass, asymptote, own share of the way).
LAWS = {
    "west_brown_enquist": SimpleNamespace(
        exponent=_wbe_exponent, mass=_wbe_mass, way=_way, gain=_wbe_gain
    ),
    "gompertz": SimpleNamespace(
        exponent=_gompertz_exponent, mass=_gompertz_mass, way=_way, gain=_gompertz_gain
    ),
    "logistic": SimpleNamespace(
        exponent=_logistic_exponent, mass=_logistic_mass, way=_way, gain=_logistic_gain
    ),
    "richards": SimpleNamespace(
        exponent=_richards_exponent, mass=_richards_mass, way=_way, gain=_richards_gain
    ),
    "exponential": SimpleNamespace(
        exponent=_exponential_exponent,
        mass=_exponential_mass,
        way=lambda exponent, clock: math.expm1(exponent * clock),
        gain=_exponential_gain,
    ),
}
