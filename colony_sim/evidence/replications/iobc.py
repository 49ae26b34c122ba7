"""Growth note at iobc-wprs.org: larvae for 30 d at 25 C."""

from __future__ import annotations

from colony_sim.evidence.lab import COHORT, Found, Lab
from colony_sim.population.insects import Stage

CONDITIONS = ("water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    cup = lab.cup()
    cup.larvae(COHORT)
    start = cup.masses(Stage.LARVA).mean()
    cup.live(25.0, 30)
    return {
        "month": cup.masses(Stage.LARVA).mean() / start,
        # Composition is a constant of the model.
        "water": 100.0 * lab.p["feed.water_share_of_gain"],
    }
