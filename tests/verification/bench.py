"""The engine's own day without a colony around it: bins, insects, and no keeper.

`Bench` calls `population.kernels.step` with the constants that the engine makes of a set of
parameters, so a claim can place insects as it likes and watch one process.
"""

from __future__ import annotations

import numpy as np

from colony_sim.biology import development
from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_G, NG_PER_MG, constants
from colony_sim.population import census, kernels
from colony_sim.population.insects import Insects, Stage
from colony_sim.population.ledger import Event, Flow
from colony_sim.population.substrate import Substrate

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


class Bench:
    """Some bins of insects.

    Parameters
    ----------
    values : dict
        Parameters that differ from the defaults.
    seed : int
    bins : int
    bran_g, moisture_g : float
        What each bin is refilled to before every day.

    Attributes
    ----------
    table : int64 array, shape (bins + 1, census.COLUMNS)
        The living after the last day.
    events, flows : int64 arrays
        Of the last day; events per bin.
    """

    def __init__(
        self,
        values: dict,
        seed: int,
        bins: int = 1,
        bran_g: float = 1e6,
        moisture_g: float = 1e6,
    ) -> None:
        self.p = Parameters.default().with_values(values, "verification")
        self.constants = constants(self.p)
        self.seed, self.day, self.bins = seed, 0, bins
        self.bran, self.moisture = round(bran_g * NG_PER_G), round(moisture_g * NG_PER_G)
        self.insects = Insects()
        self.substrate = Substrate(bins)
        self.events = np.zeros((bins + 1, len(Event)), np.int64)
        self.flows = np.zeros(len(Flow), np.int64)
        self._next = 1
        self.count()

    def count(self) -> None:
        """Take the census."""
        self.table = census.count(self.insects, self.bins + 1, self.constants.predator_mass)

    def add(self, count: int, stage: Stage, bins=0, **fields) -> slice:
        """Place insects and count anew; masses in ng, `bins` a number or one per insect."""
        ident = np.arange(self._next, self._next + count, dtype=np.uint64)
        self._next += count
        filled = {"factor": 1.0, "size": 1.0, **fields}
        rows = self.insects.append(count, ident=ident, stage=stage, bin=bins, **filled)
        self.count()
        return rows

    def add_beetles(self, count: int, bins=0, **fields) -> slice:
        """Fertile females (flag 1) of best age that never grow old unless `factor` says so."""
        mass = round(100 * NG_PER_MG)
        ripe = 15 / development.life_scale_days(self.p)
        given = {"flags": 1, "mass": mass, "progress": ripe, "factor": _FOREVER, **fields}
        return self.add(count, Stage.ADULT, bins, **given)

    def remove(self, stage: Stage) -> None:
        """Take all insects of a stage away."""
        rows = self.insects.rows(stage)
        self.insects.stage[rows] = Stage.DEAD
        self.insects.compact()
        self.count()

    def step(self, temperature_c: float) -> None:
        """Refill, live a day, count."""
        self.day += 1
        self.substrate.bran[:-1] = self.bran
        self.substrate.frass[:] = 0
        self.substrate.moisture[:-1] = self.moisture
        self.events[:] = 0
        self.flows[:] = 0
        kernels.step(
            self.constants,
            temperature_c,
            self.seed,
            self.day,
            self.insects,
            self.substrate,
            self.table,
            self.events,
            self.flows,
        )
        self.insects.compact()
        self.count()

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
