"""Heidari Parsa et al. 2023: eggs reared to beetles at five temperatures."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.rates import day_rates
from colony_sim.evidence.lab import Found, Lab
from colony_sim.population.ledger import Event

CONDITIONS = ("water", "larvae_per_cm3")

_TEMPERATURES = (20.0, 23.0, 25.0, 27.0, 30.0)


def live(lab: Lab) -> Found:
    days = {t: lab.life(t).mean_day(Event.ADULT_EMERGED) for t in _TEMPERATURES}
    others = [days[t] for t in _TEMPERATURES if t != 27.0]
    return {
        **{f"total_{t:g}": days[t] for t in (20.0, 23.0, 25.0, 27.0)},
        "longest_20": days[20.0] / max(days[t] for t in _TEMPERATURES if t > 20.0),
        "shortest_27": days[27.0] / min(others),
        "upper_lactin": (upper := _upper(lab)),
        "upper_janisch": upper,
    }


def _upper(lab: Lab) -> float:
    """Temperature (C) from which on some stage before the beetle stands still."""
    air = np.arange(30.0, 45.0, 0.1)
    rates = [day_rates(lab.p, t) for t in air]
    return float(air[np.argmax([min(r.egg, r.larva, r.pupa) <= 0.0 for r in rates])])
