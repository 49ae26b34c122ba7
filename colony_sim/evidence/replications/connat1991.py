"""Connat 1991: larvae alone and in groups, and larvae of some mass without feed."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.rates import NG_PER_MG
from colony_sim.evidence.lab import COHORT, LONGEST, Found, Lab, ratio
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "larvae_per_cm3_group")


def live(lab: Lab) -> Found:
    t = lab["temperature_not_given"]
    alone = lab.boxes(boxes=COHORT, area_dm2=0.2, bran_g=lab.bran_g(40.0))
    alone.larvae(1)
    single = alone.live(t, LONGEST, remove=(Stage.PUPA,)).mean_day(Event.PUPA_FORMED)
    group = lab.larval_days(t, per_cm3=lab["larvae_per_cm3_group"])
    return {"sooner": ratio(single, group), "starved": _lightest(lab, t)}


def _lightest(lab: Lab, t: float) -> float:
    """Lightest larva (mg) that pupates without feed once its time is up; NaN for none."""
    mass = np.arange(10.0, 151.0, 2.0)
    dish = lab.boxes(boxes=mass.size, area_dm2=0.2, bran_g=0.0)
    dish.add(
        mass.size,
        Stage.LARVA,
        np.arange(mass.size),
        mass=np.rint(mass * NG_PER_MG),
        progress=1.0,
        tally=20,
    )
    pupae = dish.live(t, 30, remove=(Stage.PUPA,)).pupae
    return float(mass[pupae[:, 0].astype(int)].min()) if len(pupae) else np.nan
