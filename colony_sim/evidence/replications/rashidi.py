"""Rashidi Ilzoleh and Akmali: eggs and pupae offered together to beetles, or to larvae."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import Found, Lab, ratio
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "adults_per_dm2", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    return {"adults": _pupa_over_egg(lab, beetles=True), "larvae": _egg_over_pupa(lab)}


def _pupa_over_egg(lab: Lab, beetles: bool) -> float:
    """Hazard of a pupa over that of an egg within three days; eggs in 1 cm, out of no reach."""
    box = lab.layer(10.0, 1.0 if beetles else 3.0)
    box.eggs(1000, 25.0)
    box.pupae(1000)
    if beetles:
        # Males alone, so that no egg is added.
        box.beetles(round(10.0 * lab["adults_per_dm2"]), 25.0, age=10.0, female=0.0)
        eaten = (Event.PUPA_EATEN_ADULTS, Event.EGG_EATEN_ADULTS)
    else:
        box.larvae(round(3000.0 * lab["larvae_per_cm3"]), mass_mg=90.0)
        eaten = (Event.PUPA_EATEN_LARVAE, Event.EGG_EATEN_LARVAE)
    record = box.live(lab["temperature_not_given"], 3)
    pupae, eggs = (-np.log(1.0 - min(999, record.total(event)) / 1000.0) for event in eaten)
    # Attacks that injure are attacks.
    return ratio(pupae / (1.0 - lab.p["predation.injured_share"]), eggs)


def _egg_over_pupa(lab: Lab) -> float:
    return ratio(1.0, _pupa_over_egg(lab, beetles=False))
