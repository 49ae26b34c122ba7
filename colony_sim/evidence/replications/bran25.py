"""Late growth on bran at 25 C, and the worst feed conversion, from several studies."""

from __future__ import annotations

from colony_sim.evidence.lab import COHORT, Found, Lab
from colony_sim.population.insects import Stage

CONDITIONS = ("water_on_bran", "larvae_per_cm3", "larvae_per_cm3_crowded")


def live(lab: Lab) -> Found:
    cup = lab.cup()
    cup.larvae(COHORT, mass_mg=40.0)
    start = cup.masses(Stage.LARVA).mean()
    cup.live(25.0, 30, remove=(Stage.PUPA,))
    crowded = lab.larvae(25.0, per_cm3=lab["larvae_per_cm3_crowded"], water=0.0)
    larvae = cup.masses(Stage.LARVA)
    return {
        "late_growth": (larvae.mean() - start) / 30.0 if larvae.size else float("nan"),
        "fcr_most": crowded.feed_per_gain(),
    }
