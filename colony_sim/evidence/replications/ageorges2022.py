"""Ageorges 2022 and others: heat of larvae and beetles in a calorimeter for a day."""

from __future__ import annotations

from colony_sim.biology.rates import NG_PER_G
from colony_sim.evidence.box import Boxes
from colony_sim.evidence.lab import Found, Lab
from colony_sim.population import census

CONDITIONS = ("temperature_calorimeter",)


def live(lab: Lab) -> Found:
    return {
        **{f"larva_{mg}mg": _larvae(lab, mg, fed=True) for mg in (7, 60, 98)},
        "unfed": _larvae(lab, 60, fed=False),
        "beetle": _beetle(lab),
    }


def _watts(box: Boxes, room_c: float) -> float:
    """Heat (W) of the second day, from how much warmer than the room the box is."""
    box.step(room_c)
    box.step(room_c)
    loss = box.p["heat.loss_w_per_m2_k"] * box.p["rack.bin_area_dm2"] / 100.0
    return loss * (box.substrate.temperature[0] - room_c)


def _larvae(lab: Lab, mg: float, fed: bool) -> float:
    """mW per g of larvae, few enough to warm the box by less than a degree."""
    box = lab.boxes(area_dm2=10.0, bran_g=500.0 if fed else 0.0)
    box.larvae(50, mass_mg=mg)
    grams = box.table[0, census.LARVA_MASS] / NG_PER_G
    return 1000.0 * _watts(box, lab["temperature_calorimeter"]) / grams


def _beetle(lab: Lab) -> float:
    """mW of a beetle."""
    box = lab.boxes(area_dm2=10.0, bran_g=500.0)
    box.beetles(50, lab["temperature_calorimeter"], age=20.0)
    return 1000.0 * _watts(box, lab["temperature_calorimeter"]) / 50
