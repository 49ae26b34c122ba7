"""Mlcek et al.: larvae on bran for 21 weeks."""

from __future__ import annotations

from colony_sim.evidence.lab import COHORT, Found, Lab
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_page", "water_on_bran", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    cup = lab.cup()
    cup.larvae(COHORT)
    record = cup.live(lab["temperature_page"], 147, remove=(Stage.PUPA,))
    return {"mortality": 100.0 * record.total(Event.LARVA_DIED) / COHORT}
