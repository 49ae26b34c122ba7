"""Frooninckx et al. 2022: pairs from emergence to the first egg at 28 C."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import Found, Lab
from colony_sim.population.ledger import Event

CONDITIONS = ()


def live(lab: Lab) -> Found:
    box = lab.layer(0.2, 1.0, boxes=100)
    box.beetles(2, 28.0)
    laid = box.live(28.0, 40).events[:, :, Event.EGG_LAID] > 0
    first = laid.argmax(axis=0)[laid.any(axis=0)]
    return {"fertile": np.median(first + 0.5) if first.size else np.nan}
