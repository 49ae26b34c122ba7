"""Tschinkel and Willson 1971: larvae whose time is up, few and many in the same feed, two weeks."""

from __future__ import annotations

from colony_sim.evidence.lab import Found, Lab, ratio
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "larvae_per_cm3_crowded")


def live(lab: Lab) -> Found:
    share = {n: _pupating(lab, n) for n in (0.05, lab["larvae_per_cm3_crowded"])}
    few, many = share.values()
    return {"contact": ratio(many, few)}


def _pupating(lab: Lab, per_cm3: float) -> float:
    box = lab.layer(0.5, 4.0, boxes=5)
    larvae = round(200.0 * per_cm3)
    box.larvae(larvae, clock=0.99)
    formed = box.live(lab["temperature_not_given"], 14, remove=(Stage.PUPA,))
    return formed.total(Event.PUPA_FORMED) / (5 * larvae)
