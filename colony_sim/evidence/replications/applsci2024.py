"""Appl. Sci. 14:2610: boxes of larvae stopped at the first 20 pupae, at 22 and 28 C."""

from __future__ import annotations

from colony_sim.evidence.lab import COHORT, LONGEST, Found, Lab
from colony_sim.population import census
from colony_sim.population.insects import Stage

CONDITIONS = ("water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    return {
        "mass_22": _stopped(lab, 22.0),
        "mass_28": _stopped(lab, 28.0),
        "dry_matter": 100.0 * (1.0 - lab.p["feed.water_share_of_gain"]),
    }


def _stopped(lab: Lab, t: float) -> float:
    """Mean mass (mg) of the larvae left at the first 20 pupae."""
    cup = lab.cup()
    cup.larvae(COHORT)
    cup.live(t, LONGEST, until=lambda box: box.table[0, census.PUPAE] >= 20)
    return cup.masses(Stage.LARVA).mean()
