"""Morales-Ramos et al. 2012: ten weeks in boxes of 143 cm2; hatchlings fall through a screen."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import Found, Lab, females
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "laying_depth_cm", "water", "age_lag_weeks")

_DM2 = 1.43
_WEEKS = 10
#: Eight densities from 3 to 110 beetles per dm2; the paper's own are not in its abstract.
_BEETLES = (4, 8, 14, 20, 28, 40, 80, 160)


def live(lab: Lab) -> Found:
    totals, weekly = [], []
    for beetles in _BEETLES:
        boxes = max(2, _BEETLES[-1] // beetles)
        progeny, alive = _boxes(lab, beetles, boxes)
        weekly.append(progeny / np.maximum(alive, 1))
        totals.append((progeny.sum() / boxes / _DM2, progeny.sum() / alive.sum()))
    per_area, per_female = np.array(totals).T
    density = np.array(_BEETLES) / _DM2
    best = int(per_area.argmax())
    beyond = np.interp(np.log(4.0 * density[best]), np.log(density), per_area)
    # The main effect of age: each density counts alike.
    week = int(np.mean(weekly, axis=0).argmax())
    adults = lab.life(lab["temperature_not_given"]).pupae[:, 1] * lab.p["adult.mass_share"]
    return {
        "best_age": week + 0.5 - lab["age_lag_weeks"],
        "falls": (per_female[1:] / per_female[:-1]).max(),
        "peak": density[best],
        "sharp": beyond / per_area[best],
        "adult_mass": adults,
    }


def _boxes(lab: Lab, beetles: int, boxes: int) -> tuple[np.ndarray, np.ndarray]:
    """Hatched larvae, and days lived by females, of each week over all boxes."""
    t = lab["temperature_not_given"]
    box = lab.layer(_DM2, lab["laying_depth_cm"], boxes=boxes)
    box.beetles(beetles, t)
    record = box.live(t, 7 * _WEEKS, remove=(Stage.LARVA,), each_day=females)
    hatched = np.zeros(7 * _WEEKS)
    alive = np.zeros(7 * _WEEKS)
    hatched[: len(record.seen)] = record.events[:, :, Event.EGG_HATCHED].sum(axis=1)
    alive[: len(record.seen)] = record.seen
    return hatched.reshape(_WEEKS, 7).sum(axis=1), alive.reshape(_WEEKS, 7).sum(axis=1)
