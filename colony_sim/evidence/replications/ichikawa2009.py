"""Ichikawa and Kurauchi 2009: 20 pupae that can move among 100 larvae, until they emerge."""

from __future__ import annotations

from colony_sim.evidence.lab import COHORT, Found, Lab
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

CONDITIONS = ("temperature_not_given", "pupae_substrate_g", "predator_mass_mg")


def live(lab: Lab) -> Found:
    t = lab["temperature_not_given"]
    box = lab.boxes(boxes=20, area_dm2=1.5, bran_g=lab["pupae_substrate_g"])
    box.larvae(100, mass_mg=lab["predator_mass_mg"])
    box.pupae(20)
    # Larvae that pupate meanwhile are none of the twenty.
    theirs = box.insects.rows(Stage.PUPA)
    ident = set(box.insects.ident[theirs].tolist())
    emerged = 0
    for _ in range(25):
        box.step(t)
        store = box.insects
        beetles = store.rows(Stage.ADULT)
        emerged += sum(i in ident for i in store.ident[beetles].tolist())
        box.remove(Stage.ADULT)
    died = lab.pupae(t).total(Event.PUPA_DIED) / COHORT
    return {"intact": 20.0 * (1.0 - died) - emerged / box.bins}
