"""Stejskal et al. 2019: mean lower threshold of beetle pests, read as that of laying."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import Found, Lab
from colony_sim.population.ledger import Event

CONDITIONS = ()


def live(lab: Lab) -> Found:
    for t in np.arange(5.0, 30.0, 0.5):
        box = lab.layer(4.0, 1.0)
        box.beetles(80, 25.0, age=20.0)
        if box.live(t, 10).total(Event.EGG_LAID):
            return {"threshold": t}
    return {"threshold": np.nan}
