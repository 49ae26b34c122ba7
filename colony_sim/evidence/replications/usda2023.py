"""USDA talk of 2023: selected classes, egg to adult and pupal mass."""

from __future__ import annotations

from colony_sim.evidence.lab import Found, Lab
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    reared = lab.life(lab["temperature_not_given"])
    return {"time": reared.mean_day(Event.ADULT_EMERGED), "pupa": reared.pupae[:, 1].mean()}
