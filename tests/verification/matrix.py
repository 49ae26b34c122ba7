"""Stage- and age-classified projection matrix built from the parameters (Lefkovitch 1965).

Classes are whole days since entry into a stage. The day's end is the census. A stage starts
within a day; that fraction r is taken as uniform, which holds for eggs by construction and
for later stages when durations spread over several days.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize, sparse
from scipy.sparse.linalg import eigs

from . import twin_biology as bio
from .durations import lognormal

STAGES = ("egg", "larva", "pupa", "adult")
#: Quadrature nodes of the uniform fraction of a day (midpoints).
_FRACTIONS = (np.arange(40) + 0.5) / 40


@dataclass(frozen=True)
class Chain:
    """One stage: `stay[n]`, alive and in the stage after n days; `leave[n]`, passes on on day n."""

    stay: np.ndarray
    leave: np.ndarray


def _eggs(p, t: float, law, days: int) -> Chain:
    """Eggs from a uniform time of laying; heat and cold at once, wear from the next day on.

    Within a day the density is nearly flat: what kills acts for half of the last day on average.
    """
    thermal = bio.thermal_death(p, "egg", t)
    n = np.arange(days + 1)
    wear = np.cumsum([bio.egg_wear(p, age) for age in n])
    half = wear - 0.5 * np.diff(wear, prepend=0.0)
    stay, leave = np.zeros(days + 1), np.zeros(days + 1)
    for r in _FRACTIONS:
        ended = law.cdf(n + r)
        stay += (1.0 - ended) * np.exp(-thermal * (n + r) - wear)
        share = np.append(0.0, np.diff(ended))
        leave += share * np.exp(-thermal * (n + r - 0.5) - half)
    return Chain(stay / _FRACTIONS.size, leave / _FRACTIONS.size)


def hazard(p, stage: str, t: float) -> float:
    """Background with heat and cold (1/d)."""
    return p[f"{stage}.hazard_per_day"] + bio.thermal_death(p, stage, t)


def _chain(law, days: int, hazard: float, within_day: bool) -> Chain:
    """Entry at a uniform moment of a day; death at a constant hazard from the next day on.

    `within_day` lets the hazard act on the part of the last day before the stage is over,
    otherwise the whole last day counts.
    """
    n = np.arange(days + 1)
    stay = np.zeros(days + 1)
    leave = np.zeros(days + 1)
    for r in _FRACTIONS:
        ended = law.cdf(n + r)
        stay += (1.0 - ended) * np.exp(-hazard * n)
        share = np.append(0.0, np.diff(ended))
        # Within a day the density is nearly flat: the hazard acts for half of it on average.
        exposure = n - 0.5 if within_day else n
        leave += share * np.exp(-hazard * exposure)
    return Chain(stay / _FRACTIONS.size, leave / _FRACTIONS.size)


def adult_rows(p, t: float, days: int) -> tuple[np.ndarray, np.ndarray]:
    """Alive k days after emergence, and eggs laid on day k per adult that emerged."""
    k = np.arange(days + 1)
    shape, background = p["adult.life_shape"], hazard(p, "adult", t)
    ageing, ripening = bio.ageing(p, t), bio.ripening(p, t)
    peak = p["fecundity.peak_eggs_per_day"] * bio.laying_by_temperature(p, t)
    alive, laid = np.zeros(days + 1), np.zeros(days + 1)
    for r in _FRACTIONS:
        living = np.exp(-(((k + r) * ageing) ** shape) - background * k)
        living[0] = 1.0
        ripe = (r + k - 1.0) * ripening >= 1.0
        # Whole days at the reference temperature of life.
        ages = ((k + r) * ageing * bio.life_scale(p)).astype(int)
        by_age = np.array([bio.laying_by_age(p, age) for age in ages])
        alive += living
        laid += living * peak * by_age * ripe * p["adult.female_share"]
    return alive / _FRACTIONS.size, laid / _FRACTIONS.size


class Projection:
    """The matrix of a set of parameters at one temperature, without limits or predators.

    Attributes
    ----------
    growth : float
        Dominant eigenvalue (1/d).
    stable : dict
        Stage to its share in the dominant eigenvector.
    damping : float
        |second eigenvalue| over the first.
    """

    def __init__(self, p, t: float) -> None:
        if p["larva.young_hazard_per_day"] != p["larva.hazard_per_day"]:
            raise ValueError("the matrix wants one death rate for all larvae")
        self.p, self.t = p, t
        means = [1.0 / bio.development(p, s, t) for s in STAGES[:3]]
        laws = [lognormal(p[f"{s}.duration_cv"], m) for s, m in zip(STAGES[:3], means, strict=True)]
        days = [int(law.ppf(1 - 1e-10)) + 3 for law in laws]
        # Eggs that cannot hatch vanish at the end of the stage. Heat and cold of the day of laying
        # are taken off what is laid.
        eggs = _eggs(p, t, laws[0], days[0])
        kept = eggs.stay[0]
        self.chains = [
            Chain(eggs.stay / kept, eggs.leave / kept * bio.viable_share(p, t)),
            _chain(laws[1], days[1], hazard(p, "larva", t), within_day=False),
            _chain(laws[2], days[2], hazard(p, "pupa", t), within_day=True),
        ]
        longest = int(3.0 / bio.ageing(p, t))
        self.alive, laid = adult_rows(p, t, longest)
        self.laid = laid * kept
        self.laws = laws
        self._solve()

    def _matrix(self) -> sparse.csr_matrix:
        sizes = [c.stay.size for c in self.chains] + [self.alive.size]
        starts = np.concatenate([[0], np.cumsum(sizes)])
        self.starts = starts
        grid = sparse.lil_matrix((starts[-1], starts[-1]))
        for s, chain in enumerate(self.chains):
            first, onward = starts[s], starts[s + 1]
            for n in range(1, chain.stay.size):
                before = chain.stay[n - 1]
                if before <= 1e-14:
                    break
                grid[first + n, first + n - 1] = chain.stay[n] / before
                grid[onward, first + n - 1] = chain.leave[n] / before
        first = starts[3]
        for k in range(1, self.alive.size):
            before = self.alive[k - 1]
            if before <= 1e-14:
                break
            grid[first + k, first + k - 1] = self.alive[k] / before
            grid[0, first + k - 1] = self.laid[k] / before
        return grid.tocsr()

    def _solve(self) -> None:
        matrix = self._matrix()
        start = np.ones(matrix.shape[0])
        values, vectors = eigs(matrix, k=4, which="LM", v0=start, ncv=80, maxiter=20000)
        order = np.argsort(-np.abs(values))
        best = next(i for i in order if abs(values[i].imag) < 1e-9 and values[i].real > 0)
        self.growth = float(values[best].real)
        rest = [abs(values[i]) for i in order if i != best]
        self.damping = float(rest[0] / self.growth)
        vector = np.abs(vectors[:, best].real)
        vector /= vector.sum()
        self.stable = {
            name: float(vector[self.starts[s] : self.starts[s + 1]].sum())
            for s, name in enumerate(STAGES)
        }

    def maternity(self) -> np.ndarray:
        """Eggs laid on day x per egg laid on day 0, by convolution over the stages."""
        maternity = self.laid
        for chain in self.chains:
            maternity = np.convolve(maternity, chain.leave)
        return maternity

    def generation_days(self) -> float:
        """Mean age of mothers at laying in the stable population (d)."""
        maternity = self.maternity()
        x = np.arange(maternity.size)
        weight = maternity * np.exp(-math.log(self.growth) * x)
        return float((weight * x).sum() / weight.sum())

    def euler_lotka_daily(self) -> float:
        """Root of sum(maternity(x) / lambda^x) = 1."""
        maternity = self.maternity()
        x = np.arange(maternity.size)
        return float(
            optimize.brentq(lambda g: (maternity * np.exp(-np.log(g) * x)).sum() - 1, 1.001, 1.2)
        )

    def euler_lotka(self) -> float:
        """Growth per day (factor) in continuous time, no daily classes.

        Stages are independent, so the transform of net maternity is a product: of
        E[exp(-(r + h) D)] over each stage and of the integral of exp(-r x) l(x) m(x).
        """
        p, t = self.p, self.t
        hazards = (bio.thermal_death(p, "egg", t), hazard(p, "larva", t), hazard(p, "pupa", t))
        lifetimes = (p["egg.lifetime_days"], math.inf, math.inf)
        ageing = bio.ageing(p, t)
        wait = 1.0 / bio.ripening(p, t)
        x = np.linspace(0.0, self.alive.size, 40 * self.alive.size)
        law = np.exp(-((x * ageing) ** p["adult.life_shape"]) - hazard(p, "adult", t) * x)
        by_age = np.array([bio.laying_by_age(p, age) for age in x * ageing * bio.life_scale(p)])
        peak = p["fecundity.peak_eggs_per_day"] * bio.laying_by_temperature(p, t)
        mothers = law * by_age * (x >= wait) * peak * p["adult.female_share"]

        def transform(rate: float, law, lifetime: float) -> float:
            # Gauss-Hermite on the normal deviate of the lognormal.
            nodes, weights = np.polynomial.hermite_e.hermegauss(60)
            duration = law.kwds["scale"] * np.exp(law.kwds["s"] * nodes)
            wear = (duration / lifetime) ** p["egg.lifetime_shape"]
            return float((weights * np.exp(-rate * duration - wear)).sum() / math.sqrt(2 * math.pi))

        def excess(r: float) -> float:
            total = bio.viable_share(p, t)
            for own, law, lifetime in zip(hazards, self.laws, lifetimes, strict=True):
                total *= transform(r + own, law, lifetime)
            return total * float(np.trapezoid(np.exp(-r * x) * mothers, x)) - 1.0

        return math.exp(optimize.brentq(excess, 1e-4, 0.2))
