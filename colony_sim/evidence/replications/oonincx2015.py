"""Oonincx 2015: larvae with carrot and without."""

from __future__ import annotations

from colony_sim.evidence.lab import Found, Lab
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    carrot, without = (lab.larvae(lab["temperature_not_given"], water=w) for w in (1.0, 0.0))
    return {
        "faster": carrot.mean_day(Event.PUPA_FORMED) / without.mean_day(Event.PUPA_FORMED),
        "efficient": carrot.feed_per_gain() / without.feed_per_gain(),
    }
