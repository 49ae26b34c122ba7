"""Morales-Ramos et al. 2015: number of instars."""

from __future__ import annotations

from colony_sim.evidence.lab import Found, Lab

CONDITIONS = ("temperature_not_given", "water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    return {"usual": lab.larvae(lab["temperature_not_given"]).pupae[:, 2].mean()}
