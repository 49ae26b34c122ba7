"""Deruytter et al. 2022: crates of 0.5 to 8 larvae per cm3 for six weeks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import stats

from colony_sim.evidence.box import Boxes
from colony_sim.evidence.lab import Found, Lab, ratio
from colony_sim.population import census
from colony_sim.population.insects import Stage

CONDITIONS = (
    "temperature_crate_room",
    "crate_depth_cm",
    "water",
    "crate_start_mg",
    "stacked_loss",
)

#: A piece of a crate: heat and crowding are per area and per volume.
_DM2 = 0.5
_WEEKS = 6
_PER_CM3 = (0.5, 1.0, 2.0, 4.0, 8.0)


def live(lab: Lab) -> Found:
    loss = lab.p["heat.loss_w_per_m2_k"] * lab["stacked_loss"]
    lab = replace(lab, p=lab.p.with_values({"heat.loss_w_per_m2_k": loss}, "crate"))
    cm3 = 100.0 * _DM2 * lab["crate_depth_cm"]
    crates = lab.layer(_DM2, lab["crate_depth_cm"], boxes=len(_PER_CM3))
    crates.larvae(np.rint(cm3 * np.array(_PER_CM3)).astype(int), mass_mg=lab["crate_start_mg"])
    seen = crates.live(lab["temperature_crate_room"], 7 * _WEEKS, each_day=_look).seen
    heat, grams = (
        np.array(seen).reshape(_WEEKS, 7, 2, len(_PER_CM3)).mean(axis=1).transpose(1, 0, 2)
    )
    mass = [crates.masses(Stage.LARVA, k) for k in range(len(_PER_CM3))]
    means = np.array([m.mean() if m.size else 0.0 for m in mass])
    return {
        "lowest_best": ratio(means[0], means[1:].max()),
        "hottest": heat.max(),
        "rises": stats.spearmanr(heat.ravel(), grams.ravel()).statistic if np.ptp(heat) else 0.0,
    }


def _look(crates: Boxes) -> tuple[np.ndarray, np.ndarray]:
    """Temperature (C) and larvae (ng) of each crate."""
    return crates.substrate.temperature[:-1].copy(), crates.table[:-1, census.LARVA_MASS].copy()
