"""Deruytter 2023: eggs exposed to heat or cold for days, then hatched at 27 C."""

from __future__ import annotations

from colony_sim.evidence.lab import COHORT, Found, Lab, ratio
from colony_sim.population.ledger import Event

CONDITIONS = ()


def live(lab: Lab) -> Found:
    without = _hatching(lab, 27.0, 0)
    mild = [_hatching(lab, t, days) for t in (15.0, 20.0, 25.0, 30.0) for days in range(1, 7)]
    return {
        "mild": ratio(min(mild), without),
        "day_40": 100.0 * _hatching(lab, 40.0, 1),
        "day_5": ratio(_hatching(lab, 5.0, 1), without),
        "days_10": ratio(_hatching(lab, 10.0, 2), without),
    }


def _hatching(lab: Lab, t: float, days: int) -> float:
    """Share of eggs hatching, during the exposure or after it."""
    box = lab.layer(4.0, 1.0)
    box.eggs(COHORT, 27.0)
    hatched = box.live(t, days).total(Event.EGG_HATCHED) if days else 0
    return (hatched + box.live(27.0, 40).total(Event.EGG_HATCHED)) / COHORT
