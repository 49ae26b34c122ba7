"""Gerber and Sabourin: depth of eggs by density of beetles, in deep feed."""

from __future__ import annotations

from colony_sim.evidence.lab import Found, Lab, ratio
from colony_sim.population.insects import Flag, Stage

CONDITIONS = ()


def live(lab: Lab) -> Found:
    few, many = (_hidden(lab, density) for density in (5, 40))
    return {"deeper": ratio(many, few)}


def _hidden(lab: Lab, per_dm2: int) -> float:
    """Share of a day's eggs out of the beetles' reach."""
    box = lab.layer(20.0, 8.0)
    box.beetles(20 * per_dm2, 25.0, age=18.0)
    box.live(25.0, 1)
    eggs = box.insects.rows(Stage.EGG)
    return float(box.insects.has(eggs, Flag.OUT_OF_REACH).mean()) if eggs.size else 0.0
