"""Larvae in 150 g of feed at 27 C: how many pupate."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import Found, Lab, ratio
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("water", "pupation_days", "late_clock")


def live(lab: Lab) -> Found:
    share = {n: _pupating(lab, n) for n in (20, 60, 200, 600)}
    few = [share[20], share[60]]
    return {
        "few": 100.0 * min(few),
        "lower_200": ratio(share[200], float(np.mean(few))),
        "sharply_600": ratio(share[600], share[200]),
    }


def _pupating(lab: Lab, larvae: int) -> float:
    """Share pupating of late larvae."""
    boxes = max(1, 600 // larvae)
    box = lab.boxes(boxes=boxes, area_dm2=2.0, bran_g=150.0)
    box.larvae(larvae, clock=lab["late_clock"])
    record = box.live(27.0, round(lab["pupation_days"]), remove=(Stage.PUPA,))
    return record.total(Event.PUPA_FORMED) / (larvae * boxes)
