"""Nielsen et al. 2025: what of the assimilated feed goes into growth, and dry mass by age."""

from __future__ import annotations

from colony_sim.evidence.lab import BRAN_DRY, COHORT, Found, Lab
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Flow

CONDITIONS = ("temperature_not_given", "age_60_120", "water", "larvae_per_cm3")


def live(lab: Lab) -> Found:
    t = lab["temperature_not_given"]
    cup = lab.cup()
    cup.larvae(COHORT)
    record = cup.live(t, round(lab["age_60_120"]))
    eaten, frass, gain = (
        record.flows[:, f].sum() for f in (Flow.BRAN_EATEN, Flow.FRASS_MADE, Flow.GAIN)
    )
    dry = 1.0 - lab.p["feed.water_share_of_gain"]
    larvae = cup.masses(Stage.LARVA)
    return {
        "carbon": 100.0 * gain * dry / ((eaten - frass) * BRAN_DRY),
        "dry_mass": dry * larvae.mean() if larvae.size else float("nan"),
    }
