"""Morales-Ramos et al. 2024: stages and life table at 27, 29 and 31 C, pupae at 18 to 39 C."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.rates import day_rates
from colony_sim.evidence.lab import COHORT, Found, Lab, ratio
from colony_sim.population.ledger import Event

CONDITIONS = ("water", "larvae_per_cm3", "adults_per_dm2", "removal_days")


def live(lab: Lab) -> Found:
    larva = {t: lab.larval_days(t) for t in (27.0, 31.0)}
    removal = round(lab["removal_days"])
    eggs = {t: lab.couples(t, 260, removal_days=removal).per_day for t in (27.0, 31.0)}
    hatched = {t: lab.eggs(t).total(Event.EGG_HATCHED) for t in (27.0, 31.0)}
    return {
        "pupa_fastest": _fastest(lab),
        "pupa_lethal": _lethal(lab),
        "larva_27": larva[27.0],
        "larva_31": larva[31.0],
        "slower_31": larva[31.0] / larva[27.0],
        "eggs_27": eggs[27.0],
        "eggs_31": ratio(eggs[31.0], eggs[27.0]),
        "viable_27": 100.0 * hatched[27.0] / (2 * COHORT),
        "viable_31": ratio(hatched[31.0], hatched[27.0]),
        **{f"doubling_{t:g}": lab.doubling_days(t) for t in (27.0, 29.0, 31.0)},
    }


def _fastest(lab: Lab) -> float:
    """Temperature (C) of the fastest pupa, on the curve of the model as on that of the paper."""
    air = np.arange(18.0, 39.0, 0.1)
    return float(air[np.argmax([day_rates(lab.p, t).pupa for t in air])])


def _lethal(lab: Lab) -> float:
    """Lowest temperature (C) at which fewer than one pupa in twenty emerges."""
    for t in np.arange(33.0, 43.0, 0.5):
        if lab.pupae(t, 100).total(Event.ADULT_EMERGED) < 5:
            return float(t)
    return np.inf
