"""Fasce et al. 2022: trays of thousands on bran at 27 C, with water or carrot, to day 90."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.rates import NG_PER_G
from colony_sim.evidence.box import Record
from colony_sim.evidence.lab import BRAN_DRY, Found, Lab
from colony_sim.population import census

CONDITIONS = ("tray_larvae", "tray_area_dm2", "depth_cm", "water_given")

_DAYS = (48, 62, 69, 76, 83, 90)


def live(lab: Lab) -> Found:
    found = {}
    for moist, water in (("water", lab["water_given"]), ("carrot", 1.0)):
        tray = _tray(lab, water)
        grams = {day: tray.seen[day - 1] for day in _DAYS}
        for a, b in zip(_DAYS, _DAYS[1:], strict=False):
            found[f"{moist}_{a}"] = np.log(grams[b] / grams[a]) / (b - a)
        found[f"{moist}_ratio"] = grams[90] / grams[48]
        found[f"fcr_{moist}"] = BRAN_DRY * tray.feed_per_gain()
        if moist == "water":
            found["fcr_periods"] = np.array([
                BRAN_DRY * Record(tray.events[a:b], tray.flows[a:b], tray.pupae, []).feed_per_gain()
                for a, b in zip(_DAYS, _DAYS[1:], strict=False)
            ])  # fmt: skip
    return found


def _tray(lab: Lab, water: float) -> Record:
    """A tenth of a tray from hatching on; heat and crowding are per area and per volume."""
    tray = lab.layer(lab["tray_area_dm2"] / 10.0, lab["depth_cm"], water=water)
    tray.larvae(round(lab["tray_larvae"] / 10.0))
    return tray.live(27.0, 90, each_day=lambda box: box.table[0, census.LARVA_MASS] / NG_PER_G)
