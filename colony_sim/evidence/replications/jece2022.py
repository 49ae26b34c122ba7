"""J. Environ. Chem. Eng. 10:108957: larvae on bran for 45 d at 25 C."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import COHORT, Found, Lab
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("start_mass_mg", "water_on_bran", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    cup = lab.cup()
    cup.larvae(COHORT, mass_mg=lab["start_mass_mg"])
    start = cup.masses(Stage.LARVA).mean()
    record = cup.live(25.0, 45)
    living = np.concatenate([cup.masses(Stage.LARVA), cup.masses(Stage.PUPA)])
    return {
        "gain": living.mean() - start,
        "alive": 100.0 * (1.0 - record.total(Event.LARVA_DIED) / COHORT),
    }
