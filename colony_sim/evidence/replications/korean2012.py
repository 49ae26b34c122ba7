"""Korean rearing study of 2012: larvae, beetles from pupae of three sizes, boxes of larvae."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import LONGEST, Found, Lab, ratio
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = (
    "temperature_25_5",
    "adults_per_dm2",
    "removal_days",
    "pupa_box_depth_cm",
    "water",
    "larvae_per_cm3",
)

#: Larvae in each box of 16 by 21.5 cm.
_LARVAE = (100, 300, 500, 700)


def live(lab: Lab) -> Found:
    t = lab["temperature_25_5"]
    laying = lab.couples(t, 300, removal_days=round(lab["removal_days"]))
    laid = laying.record.events[:, :, Event.EGG_LAID].sum(axis=1)
    first = int(np.flatnonzero(laid)[0]) if laid.any() else 0
    lives = lab.lives(t)
    box = lab.layer(3.44, lab["pupa_box_depth_cm"], boxes=len(_LARVAE))
    box.larvae(np.array(_LARVAE))
    pupae = box.live(t, LONGEST, remove=(Stage.PUPA,)).pupae
    return {
        "larva": lab.larval_days(t),
        # The model's eggs do not depend on the mother's mass.
        **{f"eggs_{mg}mg": laying.per_female for mg in (120, 150, 180)},
        "first_two_weeks": 100.0 * ratio(laid[first : first + 14].sum(), laid.sum()),
        "life": lives.mean(),
        "life_sd": lives.std(),
        **{f"pupa_{n}": pupae[pupae[:, 0] == k, 1].mean() for k, n in enumerate(_LARVAE)},
    }
