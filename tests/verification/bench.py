"""Boxes for claims: everything in plenty, beetles that never grow old, eggs on demand."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_G, NG_PER_MG
from colony_sim.evidence.box import Boxes
from colony_sim.population import census
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

#: Nothing eats, crowds, starves, dries out or warms its bin; females need no male.
IDEAL = {
    "predation.adult_egg": 0.0,
    "predation.adult_pupa": 0.0,
    "predation.larva_egg": 0.0,
    "predation.larva_pupa": 0.0,
    "growth.crowding_slope": 0.0,
    "growth.crowding_slope_area": 0.0,
    "larva.contact_slope": 0.0,
    "heat.own": False,
    "growth.dry_share": 1.0,
    "fecundity.density_slope": 0.0,
    "fecundity.dry_share": 1.0,
    "fecundity.needs_male": False,
}
#: Besides, nothing dies before its time; heat and cold kill all beyond the lethal limits.
IMMORTAL = {
    **IDEAL,
    "egg.viable_share": 1.0,
    "egg.lifetime_days": 1000.0,
    "egg.lifetime_shape": 50.0,
    "survival.heat_scale_k": 0.05,
    "survival.cold_scale_k": 0.05,
    "larva.hazard_per_day": 0.0,
    "larva.young_hazard_per_day": 0.0,
    "pupa.hazard_per_day": 0.0,
    "adult.hazard_per_day": 0.0,
}
#: A life so long that no beetle dies of age within a claim.
_FOREVER = 1e6


class Bench(Boxes):
    """Boxes of the defaults with some values changed.

    Parameters
    ----------
    values : dict
        Parameters that differ from the defaults.
    seed : int
    bins : int
    bran_g, moisture_g : float
        What each bin is refilled to before every day.
    """

    def __init__(
        self,
        values: dict,
        seed: int,
        bins: int = 1,
        bran_g: float = 1e6,
        moisture_g: float = 1e6,
    ) -> None:
        p = Parameters.default().with_values(values, "verification")
        super().__init__(p, seed, boxes=bins, bran_g=bran_g)
        self.moisture = round(moisture_g * NG_PER_G)

    def supply(self) -> None:
        """Refill before a day."""
        super().supply()
        self.substrate.moisture[:-1] = self.moisture

    def add_beetles(self, count: int, bins=0, **fields) -> slice:
        """Fertile females (flag 1) that never grow old unless `factor` says so."""
        mass = round(100 * NG_PER_MG)
        given = {"flags": 1, "mass": mass, "age": 15, "factor": _FOREVER, **fields}
        # Laying follows physiological age.
        given.setdefault("progress", given["age"] / self.constants.temper.life_scale)
        return self.add(count, Stage.ADULT, bins, **given)

    def run(self, days: int, temperature_c: float, *watched: Event) -> np.ndarray:
        """Live some days; daily counts of the events watched (int64 array, (days, events))."""
        seen = np.zeros((days, len(watched)), np.int64)
        for day in range(days):
            self.step(temperature_c)
            seen[day] = self.events.sum(axis=0)[[int(e) for e in watched]]
        return seen

    def lay(self, eggs: int, temperature_c: float) -> int:
        """Have about this many eggs laid in each bin, the last eggs of this bench.

        Each is laid at its own time of the day. Returns how many there are.
        """
        females = max(1, round(eggs / self.p["fecundity.peak_eggs_per_day"]))
        self.add_beetles(females * self.bins, np.repeat(np.arange(self.bins), females))
        self.step(temperature_c)
        self.remove(Stage.ADULT)
        # One generation only.
        self.constants = self.constants._replace(peak_eggs=0.0)
        return int(self.table[:, census.EGGS].sum())

    def hatch_at_once(self, count: int, temperature_c: float) -> None:
        """Eggs that all hatch at the end of a day, so that larvae start with the next.

        Needs eggs of exactly one day at `temperature_c`.
        """
        self.add(count, Stage.EGG, mass=round(0.45 * NG_PER_MG), flags=2)
        self.step(temperature_c)
