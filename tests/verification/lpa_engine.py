"""The engine in the larva-pupa-adult limit, by parameters and weather alone.

No process is added or replaced. Stages take one mild day each, and the weather repeats every
14 days, so that one step of the map is one fortnight of the engine:

- day 1, at the edge of pupal development: the beetles that emerged last ripen;
- day 11, too hot for larvae and pupae: beetles lay, each egg at its own time of the day;
- day 12, too hot for laying as well: each egg hatches one day after it was laid, unless eaten
  at the hazards of that fortnight's larvae and beetles;
- day 14, mild: pupae emerge, larvae that have lived a mild day before pupate, the others grow
  to their full mass; the day is so close to the lethal limits of larvae and beetles that shares
  mul and mua of them die.
- The other days are too hot for anything.

Hatchlings pass that cold day too, so beetles lay b / (1 - mul) eggs each (fecundity without
age or density).

Beetles eat pupae on each of the 14 days, at a 14th of cpa A a day.

All larvae that were there on day 11 weigh the same, so that grams of predator larvae count
them; bran is refilled, so that substrate and shortage never change. Volume scales area and
substrate alike: every cannibalism coefficient goes as 1/V (Costantino et al. 1998, Bull. Math.
Biol. 60:247).
"""

from __future__ import annotations

import math

import numpy as np
from scipy import optimize

from colony_sim.population.insects import Stage

from . import twin_biology as bio
from .bench import IMMORTAL, Bench
from .lpa_map import LpaSet

_MILD, _LAYING, _HATCHING, _IDLE = 8.0, 26.0, 28.0, 27.0
_UPPER = 25.0
#: So close to the upper limit that pupae pass 1e-5 of their stage, while beetles ripen.
_RIPENING = _UPPER - 1e-10
#: Eggs develop as fast on the day of hatching as on the day of laying, on the other side of
#: their optimum.
_EGG_UPPER = optimize.brentq(
    lambda u: bio.briere(_LAYING, -5.0, u) - bio.briere(_HATCHING, -5.0, u), 28.5, 44.0
)
WEATHER = (_RIPENING, *[_IDLE] * 9, _LAYING, _HATCHING, _IDLE, _MILD)
#: Masses at hatching and after one mild day; after two it is about 5.5 mg.
_HATCHLING_MG, _LARVA_MG, _CRITICAL_MG = 4.0, 5.0, 5.25
#: Degrees of cold that raise the death rate by e: next to nobody dies on the other days.
_SUBSTRATE_G, _SCALE_K = 20.0, 0.05


def _lethal_below(share: float) -> float:
    """Lower lethal limit at which this share dies on the mild day."""
    hazard = -math.log(max(1.0 - share, 1e-10))
    return _MILD + _SCALE_K * math.log(max(hazard, 1e-10))


def values(s: LpaSet, volume: float) -> dict:
    """Parameters of the engine that make it the map of `s`."""
    lower = -5.0
    slow = bio.briere(_MILD, lower, _UPPER) / 5.01
    # A larval period of 5 d, the shortest allowed, at a temperature 5 times slower than the
    # mild day's: one mild day is just over the whole period.
    reference = optimize.brentq(lambda t: bio.briere(t, lower, _UPPER) - slow, 20.0, _UPPER - 1e-9)
    stages = {}
    for stage in ("egg", "larva", "pupa"):
        stages |= {
            f"{stage}.lower_c": lower,
            f"{stage}.upper_c": _UPPER,
            f"{stage}.duration_days": 5.0 if stage == "larva" else 1.0,
            f"{stage}.reference_c": reference if stage == "larva" else _MILD,
            f"{stage}.duration_cv": 0.0,
        }
    stages |= {"egg.upper_c": _EGG_UPPER, "egg.reference_c": _LAYING}
    lethal = {
        f"{stage}.lethal_{side}_c": 60.0 if side == "high" else -40.0
        for stage in ("egg", "larva", "pupa", "adult")
        for side in ("low", "high")
    }
    lethal |= {
        "larva.lethal_low_c": _lethal_below(s.mul),
        "adult.lethal_low_c": _lethal_below(s.mua),
        "survival.cold_scale_k": _SCALE_K,
    }
    return {
        **IMMORTAL,
        **stages,
        **lethal,
        "growth.law": "logistic",
        "larva.size_cv": 0.0,
        "egg.mass_mg": _HATCHLING_MG,
        "larva.hatchling_mass_mg": _HATCHLING_MG,
        "larva.mature_mass_mg": _LARVA_MG,
        "larva.asymptotic_mass_mg": 6.0,
        "larva.critical_mass_mg": _CRITICAL_MG,
        "feed.per_gain": 1.0,
        "feed.frass_share": 0.0,
        "feed.maintenance_per_day": 0.0,
        "adult.feed_share_per_day": 0.0,
        "adult.female_share": 1.0,
        "adult.teneral_days": 0.1,
        "adult.teneral_reference_c": _RIPENING,
        "adult.life_mean_days": 1000.0,
        "adult.life_shape": 20.0,
        "adult.life_q10": 6.0,
        "adult.life_reference_c": 40.0,
        "egg.viability_full_c": 40.0,
        "egg.viability_none_c": 50.0,
        "fecundity.peak_eggs_per_day": s.b / (1.0 - s.mul),
        "fecundity.full_from_days": 0.0,
        "fecundity.decline_per_day": 0.0,
        "fecundity.lower_c": _UPPER,
        "fecundity.full_from_c": _UPPER + 0.9,
        "fecundity.full_until_c": _LAYING + 0.1,
        "fecundity.upper_c": _LAYING + 0.5,
        "predation.larva_from_mg": 0.0,
        "predation.shortage_rise": 0.0,
        "predation.thirst_rise": 0.0,
        "predation.refuge": "none",
        "predation.injured_share": 0.0,
        "predation.adult_egg": s.cea,
        "predation.adult_pupa": s.cpa / len(WEATHER),
        "predation.larva_egg": s.cel * (_SUBSTRATE_G / 1000.0) / (_LARVA_MG / 1000.0),
        "rack.bin_area_dm2": volume,
    }


class LpaEngine:
    """Some habitats that live side by side, each an engine in the limit.

    Parameters
    ----------
    s : LpaSet
    seed : int
    bins : int
    volume : float
        Units of habitat in each.
    """

    def __init__(self, s: LpaSet, seed: int, bins: int = 1, volume: float = 1.0) -> None:
        self.bench = Bench(values(s, volume), seed, bins, bran_g=_SUBSTRATE_G * volume)
        self.bins, self.volume = bins, volume

    def start(self, state) -> None:
        """Fill every habitat with (L, P, A) per unit, rounded to whole insects."""
        numbers = np.round(np.asarray(state, float) * self.volume).astype(int)
        larva = round(_LARVA_MG * 1e6)
        where = np.arange(self.bins)
        for count, kind in zip(numbers, (Stage.LARVA, Stage.PUPA), strict=False):
            if count:
                # Larvae have their first mild day behind them.
                clock = 1.0 if kind == Stage.LARVA else 0.0
                self.bench.add(
                    count * self.bins,
                    kind,
                    np.repeat(where, count),
                    mass=larva,
                    tally=1,
                    flags=1,
                    progress=clock,
                )
        if numbers[2]:
            self.bench.add_beetles(numbers[2] * self.bins, np.repeat(where, numbers[2]), mass=larva)

    def state(self) -> np.ndarray:
        """(L, P, A) per unit of habitat (bins, 3); no eggs are left at the end of a step."""
        return self.bench.table[:-1, 1:4] / self.volume

    def step(self) -> np.ndarray:
        """A fortnight; the state after it."""
        for air in WEATHER:
            self.bench.step(air)
        return self.state()

    def orbit(self, steps: int) -> np.ndarray:
        """States 0 to `steps` (steps + 1, bins, 3)."""
        states = [self.state()]
        for _ in range(steps):
            states.append(self.step())
        return np.array(states)
