"""Errico 2021: larvae at 10 C for 120 d, then reared on."""

from __future__ import annotations

from colony_sim.evidence.lab import COHORT, LONGEST, Found, Lab, ratio
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("start_mass_mg", "temperature_not_given", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    lost, emerged = _kept(lab, 120)
    lost_without, emerged_without = _kept(lab, 0)
    return {
        "survival": 100.0 * (lost - lost_without),
        "cycle": ratio(emerged, emerged_without),
    }


def _kept(lab: Lab, cold_days: int) -> tuple[float, float]:
    """Shares lost in the cold, and emerging in all; without cold none is lost in it."""
    cup = lab.cup()
    cup.larvae(COHORT, mass_mg=lab["start_mass_mg"])
    cold = cup.live(10.0, cold_days) if cold_days else None
    warm = cup.live(lab["temperature_not_given"], LONGEST, remove=(Stage.ADULT,))
    lost = cold.total(Event.LARVA_DIED) / COHORT if cold else 0.0
    return lost, warm.total(Event.ADULT_EMERGED) / COHORT
