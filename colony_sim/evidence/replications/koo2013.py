"""Koo et al. 2013: larvae reared at constant temperatures, eggs at 15 and 17 C."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import COHORT, Found, Lab
from colony_sim.population.ledger import Event

CONDITIONS = ("water", "larvae_per_cm3")

#: Temperatures of larvae (C); the paper's are between 15 and 30.
_REARED = (17.0, 20.0, 22.0, 25.0, 28.0, 30.0)


def live(lab: Lab) -> Found:
    reared = {t: lab.larvae(t) for t in _REARED}
    days = {t: record.mean_day(Event.PUPA_FORMED) for t, record in reared.items()}
    slope, offset = np.polyfit(_REARED, [1.0 / days[t] for t in _REARED], 1)
    warm = [reared[t] for t in _REARED if t >= 22.0]
    return {
        "larva_17": days[17.0],
        "larva_30": days[30.0],
        "faster_at_30": days[30.0] / days[28.0],
        "instars": np.mean([record.pupae[:, 2].mean() for record in reared.values()]),
        "hatch_15": 100.0 * lab.eggs(15.0).total(Event.EGG_HATCHED) / (2 * COHORT),
        "hatch_17": 100.0 * lab.eggs(17.0).total(Event.EGG_HATCHED) / (2 * COHORT),
        "mortality_22": 100.0 * np.mean([r.total(Event.LARVA_DIED) / COHORT for r in warm]),
        "threshold": -offset / slope,
        "thermal_constant": 1.0 / slope,
    }
