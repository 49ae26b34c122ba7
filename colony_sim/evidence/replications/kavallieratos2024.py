"""Kavallieratos 2024: larvae at 22.5 to 30 C."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import Found, Lab
from colony_sim.population.ledger import Event

CONDITIONS = ("water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    reared = {t: lab.larvae(t) for t in (22.5, 25.0, 27.5, 30.0)}
    days = [record.mean_day(Event.PUPA_FORMED) for record in reared.values()]
    return {
        "order": days[0] / max(days[1:]),
        "instars": np.mean([record.pupae[:, 2].mean() for record in reared.values()]),
    }
