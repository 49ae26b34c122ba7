"""Eggs of a lifetime, laying and cold as extension pages and short notes give them."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import COHORT, Found, Lab, ratio
from colony_sim.population import census
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_page", "temperature_room", "adults_per_dm2", "removal_days", "water")


def live(lab: Lab) -> Found:
    t = lab["temperature_page"]
    laying = lab.couples(t, 300, removal_days=round(lab["removal_days"]))
    room = lab.couples(lab["temperature_room"], 60)
    first = int(np.flatnonzero(room.found)[0]) if room.found.any() else 0
    ten = slice(first, first + 10)
    frozen = lab.cup()
    frozen.larvae(COHORT, mass_mg=60.0)
    frozen.live(-15.0, 21)
    return {
        "eggs_penn": laying.per_female,
        "eggs_canada": laying.per_female,
        "laying_span": _spans(lab, t),
        "nukmal": ratio(room.found[ten].sum(), room.alive[ten].sum()),
        "lines": lab.couples(t, 80).weekly().max(),
        "frozen": 100.0 * frozen.table[0, census.LARVAE] / COHORT,
    }


def _spans(lab: Lab, t: float) -> np.ndarray:
    """Days from each female's first egg to her last, one pair a box."""
    box = lab.layer(0.2, 1.0, boxes=100)
    box.beetles(2, t)
    laid = box.live(t, 300, remove=(Stage.EGG,)).events[:, :, Event.EGG_LAID] > 0
    some = laid[:, laid.any(axis=0)]
    return len(some) - some[::-1].argmax(axis=0) - some.argmax(axis=0)
