"""What a colony is on a day: insects and stocks in arrays, their census and their books."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import constants
from colony_sim.colony.framework import mesa
from colony_sim.population import census, kernels
from colony_sim.population.insects import Insects
from colony_sim.population.ledger import Balance, Event, Flow
from colony_sim.population.substrate import Substrate

#: Dead rows are dropped once they are this share of all rows.
_COMPACT_SHARE = 0.15


class State(mesa.Model):
    """Insects, stocks and books of a colony, without bins or keeper.

    Parameters
    ----------
    parameters : Parameters
    temperatures : sequence of float
        Daily means of the room (C), day 1 first.
    seed : int
        Run seed, 0 to 2**64 - 1; the key of every draw.

    Attributes
    ----------
    day : int
        Days lived so far.
    tray : int
        Place of the pupa tray, behind those of the bins.
    threads : int
        Threads that share the insects of a day, for a colony of millions; 1 unless set. No result
        depends on it.
    table : int64 array, shape (bins + 1, census.COLUMNS)
        Census after the last day; the last row is the tray.
    events, flows : int64 arrays
        The day's counts per bin and its masses (ng).
    stock_totals, event_totals : int64 arrays
        Sums over bins of `table` and `events` after the last day.
    """

    def __init__(self, parameters: Parameters, temperatures: ArrayLike, seed: int) -> None:
        # Mesa wants a generator of its own; no fate is drawn from it.
        super().__init__(rng=int(seed) % 2**32)
        self.parameters = parameters
        self.temperatures = np.asarray(temperatures, np.float64)
        self.run_seed = int(seed)
        self.day, self.threads = 0, 1
        self.constants = constants(parameters)
        self.insects = Insects()
        self.tray = parameters["rack.bins"]
        self.substrate = Substrate(self.tray)
        self.events = np.zeros((self.tray + 1, len(Event)), np.int64)
        self.flows = np.zeros(len(Flow), np.int64)

    @property
    def temperature_c(self) -> float:
        """Room temperature of the last day lived (C); before day 1 that of day 1."""
        return float(self.temperatures[max(self.day - 1, 0)])

    @property
    def alive(self) -> int:
        """Insects of all stages."""
        return int(self.stock_totals[:4].sum())

    def live_day(self) -> None:
        """Every insect lives the next day."""
        self.day += 1
        self.events[:] = 0
        self.flows[:] = 0
        kernels.step(
            self.constants,
            self.temperature_c,
            self.run_seed,
            self.day,
            self.insects,
            self.substrate,
            self.table,
            self.events,
            self.flows,
            self.threads,
        )

    def close_day(self) -> None:
        """Take the census and make up the books of the day."""
        self.table = self.take_census()
        self.stock_totals = self.table.sum(axis=0)
        if self.insects.n - self.alive > _COMPACT_SHARE * self.insects.n:
            self.insects.compact()
        self.event_totals = self.events.sum(axis=0)
        self.balance.add(self.event_totals, self.flows)

    def restart_books(self) -> None:
        """Take what is there now as the start: census anew, nothing has happened yet."""
        self.events[:] = 0
        self.flows[:] = 0
        self.table = self.take_census()
        self.stock_totals = self.table.sum(axis=0)
        self.event_totals = self.events.sum(axis=0)
        self.balance = Balance(self.insects, *self._stock_totals())

    def take_census(self) -> np.ndarray:
        """Count the living now."""
        return census.count(self.insects, self.tray + 1, self.constants.predator_mass, self.threads)

    def balance_errors(self) -> dict[str, int]:
        """Gaps of the insect, mass, bran, frass and moisture ledgers; all zero when closed."""
        return self.balance.errors(self.insects, *self._stock_totals())

    def _stock_totals(self) -> tuple[int, int, int]:
        s = self.substrate
        return int(s.bran.sum()), int(s.frass.sum()), int(s.moisture.sum())
