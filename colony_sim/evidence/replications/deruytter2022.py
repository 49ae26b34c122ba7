"""Deruytter and Coudron 2022: 0.6 to 10.4 larvae per cm2 at one per cm3 of feed, four weeks."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import BRAN_DRY, Found, Lab
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event, Flow

CONDITIONS = ("temperature_not_given", "start_mass_mg", "water")

_DM2 = 2.0
#: The ends and the best are published, those between are ours.
_PER_CM2 = (0.6, 1.25, 2.5, 5.0, 10.4)


def live(lab: Lab) -> Found:
    runs = [_tray(lab, density) for density in _PER_CM2]
    mass, alive, feed, gain = np.array(runs).T
    volume = np.array(_PER_CM2) * 100.0 * _DM2
    return {
        "growth": mass.max() / mass.min(),
        "survival": 100.0 * np.ptp(alive),
        "fcr_spread": feed.max() / feed.min(),
        "lowest": mass[0] / mass[1:].mean(),
        "best_volume": _PER_CM2[int((gain / volume).argmax())],
        "fcr": feed[_PER_CM2.index(2.5)] * BRAN_DRY,
        "best_total": _PER_CM2[int(gain.argmax())],
    }


def _tray(lab: Lab, per_cm2: float) -> tuple[float, float, float, float]:
    """Mean mass (mg), share alive, feed per gain and gain (ng) at a density."""
    larvae = round(100.0 * _DM2 * per_cm2)
    tray = lab.layer(_DM2, per_cm2)
    tray.larvae(larvae, mass_mg=lab["start_mass_mg"])
    record = tray.live(lab["temperature_not_given"], 28)
    died = record.total(Event.LARVA_DIED)
    living = np.concatenate([tray.masses(Stage.LARVA), tray.masses(Stage.PUPA)])
    gain = record.flows[:, Flow.GAIN].sum()
    return living.mean(), 1.0 - died / larvae, record.feed_per_gain(), gain
