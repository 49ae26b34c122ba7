"""Morales-Ramos et al. 2022: larval mass 63 d after hatching."""

from __future__ import annotations

from colony_sim.evidence.lab import COHORT, Found, Lab
from colony_sim.population.insects import Stage

CONDITIONS = ("temperature_not_given", "water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    cup = lab.cup()
    cup.larvae(COHORT)
    cup.live(lab["temperature_not_given"], 63)
    return {"mass_63": cup.masses(Stage.LARVA)}
