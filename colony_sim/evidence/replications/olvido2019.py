"""Olvido and Thule 2019: adult life at 30 C and cooler."""

from __future__ import annotations

from colony_sim.evidence.lab import Found, Lab

CONDITIONS = ()


def live(lab: Lab) -> Found:
    return {"life": lab.lives(30.0).mean() / lab.lives(25.0).mean()}
