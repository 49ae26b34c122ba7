"""Huang et al. 2011: eggs reared to beetles, a yellow and a black strain."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import COHORT, Found, Lab
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    t = lab["temperature_not_given"]
    larvae, pupae = lab.larvae(t), lab.pupae(t)
    instars = larvae.pupae[:, 2].astype(int)
    emerging = 100.0 * pupae.total(Event.ADULT_EMERGED) / COHORT
    eggs = lab.eggs(t)
    return {
        "egg": eggs.mean_day(Event.EGG_HATCHED),
        "pupa": pupae.mean_day(Event.ADULT_EMERGED),
        "instars": instars,
        "instars_mode": np.bincount(instars, minlength=1).argmax(),
        "total": lab.life(t).mean_day(Event.ADULT_EMERGED),
        "hatch": 100.0 * eggs.total(Event.EGG_HATCHED) / (2 * COHORT),
        "pupating": 100.0 * larvae.total(Event.PUPA_FORMED) / COHORT,
        "emerging": emerging,
        "emerging_black": emerging,
    }
