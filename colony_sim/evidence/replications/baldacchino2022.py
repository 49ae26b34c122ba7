"""Baldacchino et al. 2022: days from hatching to a mean of 100 mg."""

from __future__ import annotations

import math

import numpy as np

from colony_sim.evidence.box import Boxes
from colony_sim.evidence.lab import COHORT, Found, Lab
from colony_sim.population.insects import Stage

CONDITIONS = ("temperature_not_given", "water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    cup = lab.cup()
    cup.larvae(COHORT)
    cup.live(lab["temperature_not_given"], 200, until=_hundred)
    return {"to_100": cup.day if _hundred(cup) else math.inf}


def _hundred(cup: Boxes) -> bool:
    """Whether larvae and the pupae made of them weigh 100 mg on average."""
    living = np.concatenate([cup.masses(Stage.LARVA), cup.masses(Stage.PUPA)])
    return bool(living.size) and living.mean() >= 100.0
