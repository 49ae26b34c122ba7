"""Agar study: growth falls with distance to the wet feed, read as the depth that larvae use."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import Found, Lab
from colony_sim.population.insects import Stage

CONDITIONS = ("temperature_not_given", "mat_per_dm2")

#: Depths of feed (cm).
_DEPTHS = (2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 14, 16, 20)


def live(lab: Lab) -> Found:
    gains = []
    for depth in _DEPTHS:
        box = lab.layer(1.0, depth)
        box.larvae(round(lab["mat_per_dm2"]), mass_mg=20.0)
        start = box.masses(Stage.LARVA).mean()
        box.live(lab["temperature_not_given"], 14)
        gains.append(box.masses(Stage.LARVA).mean() - start)
    enough = np.array(gains) >= 0.99 * max(gains)
    return {"falls": _DEPTHS[int(enough.argmax())]}
