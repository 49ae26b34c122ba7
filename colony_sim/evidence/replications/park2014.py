"""Park et al. 2014: eggs, first instar and number of instars."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.box import Boxes
from colony_sim.evidence.lab import COHORT, LONGEST, Found, Lab
from colony_sim.population.insects import Stage

CONDITIONS = ("temperature_not_given", "water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    t = lab["temperature_not_given"]
    cup = lab.cup()
    cup.larvae(COHORT)
    seen = cup.live(t, LONGEST, remove=(Stage.PUPA,), each_day=_first_instar)
    instars = seen.pupae[:, 2].astype(int)
    counts = np.bincount(instars, minlength=1)
    return {
        "egg": lab.egg_days(t),
        # Everybody is in it at the start, and half a day too long is counted at the end.
        "instar_1": 0.5 + sum(seen.seen) / COHORT,
        "instars": instars.mean(),
        "instars_mode": counts.argmax(),
        "mode_share": 100.0 * counts.max() / max(1, counts.sum()),
    }


def _first_instar(boxes: Boxes) -> int:
    """Larvae in their first instar."""
    store = boxes.insects
    return int((store.tally[store.rows(Stage.LARVA)] == 1).sum())
