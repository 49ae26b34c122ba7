"""Values of older papers and reviews, from memory."""

from __future__ import annotations

from colony_sim.evidence.box import Record
from colony_sim.evidence.lab import COHORT, LONGEST, Found, Lab, ratio
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event, Flow

CONDITIONS = (
    "temperature_26_30",
    "temperature_27_28",
    "temperature_page",
    "larvae_per_cm3_crowded",
    "larvae_per_cm3_group",
    "water",
    "larvae_per_cm3",
)


def live(lab: Lab) -> Found:
    t = lab["temperature_page"]
    lives = lab.lives(t)
    alone = lab.boxes(boxes=COHORT, area_dm2=0.2, bran_g=lab.bran_g(40.0))
    alone.larvae(1)
    single = alone.live(t, LONGEST, remove=(Stage.PUPA,))
    group = lab.larvae(t, per_cm3=lab["larvae_per_cm3_group"])
    loose, crowded = (
        _month(lab, t, n) for n in (lab["larvae_per_cm3"], lab["larvae_per_cm3_crowded"])
    )
    return {
        "egg_28": lab.egg_days(lab["temperature_26_30"]),
        "egg_15": lab.egg_days(15.0),
        "pupa_27": lab.pupal_days(lab["temperature_27_28"]),
        "pupa_18": lab.pupal_days(18.0),
        "single_lives": lives,
        "mean_life": lives.mean(),
        "instars": group.pupae[:, 2],
        "efficiency_crowding": crowded.feed_per_gain() / loose.feed_per_gain(),
        "growth_crowding": ratio(
            crowded.flows[:, Flow.GAIN].sum(), loose.flows[:, Flow.GAIN].sum()
        ),
        "isolation": ratio(single.mean_day(Event.PUPA_FORMED), group.mean_day(Event.PUPA_FORMED)),
    }


def _month(lab: Lab, t: float, per_cm3: float) -> Record:
    """Half-grown larvae for a month."""
    cup = lab.cup(per_cm3=per_cm3)
    cup.larvae(COHORT, mass_mg=20.0)
    return cup.live(t, 30)
