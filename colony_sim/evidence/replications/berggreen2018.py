"""Berggreen et al. 2018: beetles for 1 to 6 d in boxes of 38 cm2; larvae are counted later."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import Found, Lab, ratio
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "laying_depth_cm", "water", "female_share")

_DM2 = 0.38
#: Densities of 0.11, 0.21, 0.42 and 0.84 per cm2.
_BEETLES = (4, 8, 16, 32)
#: Days until eggs are removed; the paper says 1 to 6.
_PERIODS = (1, 2, 3, 4, 6)
#: Within the best age of the paper, 13 to 29 d.
_AGE = 16.0


def live(lab: Lab) -> Found:
    table = {(n, days): _larvae(lab, n, days) for n in _BEETLES for days in _PERIODS}
    per_female = {cell: 2.0 * larvae / cell[0] / cell[1] for cell, larvae in table.items()}
    means = [np.mean([per_female[n, days] for days in _PERIODS]) for n in _BEETLES]
    ages = lab.couples(lab["temperature_not_given"], 100).weekly()
    return {
        "best_density": _BEETLES[int(np.argmax(means))] / _DM2,
        "at_best": means[1],
        "daily": np.mean([per_female[n, 1] for n in _BEETLES]),
        "six_days": np.mean([table[n, 6] for n in _BEETLES]),
        "dense": np.mean([table[_BEETLES[-1], days] for days in _PERIODS]),
        "best_age": float(ages[:95].argmax()),
        "decline": ratio(ages[92], ages[30]) if ages.size > 92 else 0.0,
        "still_rising": ratio(table[32, 1], table[16, 1]),
    }


def _larvae(lab: Lab, beetles: int, days: int) -> float:
    """Larvae a box from the eggs of some days; half of the beetles are taken to be females."""
    t = lab["temperature_not_given"]
    boxes = 640 // beetles
    box = lab.layer(_DM2, lab["laying_depth_cm"], boxes=boxes)
    box.beetles(beetles, t, age=_AGE, female=lab["female_share"])
    hatched = box.live(t, days).total(Event.EGG_HATCHED)
    box.remove(Stage.ADULT)
    hatched += box.live(t, 30, remove=(Stage.LARVA,)).total(Event.EGG_HATCHED)
    return hatched / boxes
