"""Urs and Hopkins 1973: larvae, pupae and beetles with free water and without."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import COHORT, Found, Lab, ratio
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    t = lab["temperature_not_given"]
    wet, dry = (_reared(lab, t, water) for water in (1.0, 0.0))
    return {name: ratio(wet[name], dry[name]) for name in wet}


def _reared(lab: Lab, t: float, water: float) -> dict[str, float]:
    young = lab.cup(water=water)
    young.larvae(COHORT)
    young.live(t, 60)
    # Many, since deaths are few.
    reared = lab.larvae(t, 5 * COHORT, water=water)
    dish = lab.layer(4.0, 1.0, water=water)
    dish.pupae(COHORT)
    pupae = dish.live(t, 40, remove=(Stage.ADULT,))
    beetles = lab.layer(20.0, 1.0, water=water)
    beetles.beetles(200, t)
    lived = beetles.live(t, 600, remove=(Stage.EGG, Stage.LARVA))
    dead = (Event.ADULT_DIED_AGE, Event.ADULT_DIED_BACKGROUND)
    return {
        "growth": young.masses(Stage.LARVA).mean(),
        "pupa": reared.pupae[:, 1].mean(),
        "larval_death": reared.total(Event.LARVA_DIED) / (5 * COHORT),
        "pupal_death": pupae.total(Event.PUPA_DIED) / COHORT,
        "life": np.concatenate([lived.days(event) for event in dead]).mean(),
    }
