"""Values that encyclopedias and web pages pass on."""

from __future__ import annotations

from colony_sim.evidence.lab import Found, Lab
from colony_sim.population.insects import Stage

CONDITIONS = (
    "temperature_18_20",
    "temperature_cool",
    "temperature_not_given",
    "water",
    "larvae_per_cm3",
)


def live(lab: Lab) -> Found:
    reared = lab.larvae(lab["temperature_not_given"])
    box = lab.layer(1.0, 1.0)
    box.beetles(40, 25.0, age=20.0)
    box.live(25.0, 3)
    return {
        "egg_19": lab.egg_days(lab["temperature_18_20"]),
        "pupa_25": lab.pupal_days(25.0),
        "pupa_cool": lab.pupal_days(lab["temperature_cool"]),
        "mature_mass": reared.pupae[:, 1].mean() / lab.p["pupa.mass_share"],
        "egg_mass": box.masses(Stage.EGG).mean(),
    }
