"""The colony as a Mesa model: bins and keeper are agents, insects live in arrays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from numbers import Integral

import mesa
import numpy as np
from mesa.datacollection import DataCollector

from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_G, constants
from colony_sim.colony import founders
from colony_sim.colony.binlog import BinLog
from colony_sim.colony.bins import BIN_COLUMNS, Bin, Phase
from colony_sim.colony.daily import DAILY_COLUMNS
from colony_sim.colony.keeper import Keeper
from colony_sim.errors import InputError
from colony_sim.population import census, kernels
from colony_sim.population.insects import Insects
from colony_sim.population.ledger import Balance, Event, Flow
from colony_sim.population.substrate import Substrate

#: Dead rows are dropped once they are this share of all rows.
_COMPACT_SHARE = 0.1


def check_whole(name: str, value: object, most: float = math.inf) -> None:
    """Raise `InputError` unless the argument is a whole number from 0 to `most`."""
    whole = isinstance(value, Integral) and not isinstance(value, bool)
    if not whole or not 0 <= value <= most:
        limits = ", 0 or more" if most == math.inf else f" from 0 to {most}"
        raise InputError("Colony", name, value, "a whole number" + limits)


class Colony(mesa.Model):
    """A rack of bins, its insects, its keeper.

    Parameters
    ----------
    parameters : Parameters
    temperatures : sequence of float
        Daily means of the room (C), day 1 first.
    seed : int
        Run seed, 0 to 2**64 - 1; the key of every draw.
    breeders, larvae : int
        Founders, 0 or more.
    record_bins : bool
        Whether to collect a row a day for each bin.

    Raises
    ------
    InputError
        Founders that are no whole number or negative, or a seed out of range.

    Attributes
    ----------
    day : int
        Days lived so far.
    table : int64 array, shape (bins + 1, census.COLUMNS)
        Census after the last day; the last row is the tray.
    events, flows : int64 arrays
        The day's counts per bin and its masses (ng).
    stock_totals, event_totals : int64 arrays
        Sums over bins of `table` and `events` after the last day.
    """

    def __init__(
        self,
        parameters: Parameters,
        temperatures: Sequence[float],
        seed: int,
        breeders: int,
        larvae: int = 0,
        record_bins: bool = False,
    ) -> None:
        check_whole("seed", seed, 2**64 - 1)
        check_whole("breeders", breeders)
        check_whole("larvae", larvae)
        # Mesa wants a generator of its own; no fate is drawn from it.
        super().__init__(rng=int(seed) % 2**32)
        self.parameters = parameters
        self.temperatures = np.asarray(temperatures, np.float64)
        self.run_seed = int(seed)
        self.day = 0
        self.constants = constants(parameters)
        self.insects = Insects()
        count = parameters["rack.bins"]
        self.substrate = Substrate(count)
        self.tray = count
        self.bins = [Bin(self, i) for i in range(count)]
        self.keeper = Keeper(self)
        self.binlog = BinLog()
        self.events = np.zeros((count + 1, len(Event)), np.int64)
        self.flows = np.zeros(len(Flow), np.int64)
        start_c = float(self.temperatures[0])
        founders.add_breeders(self, breeders, start_c)
        founders.add_larvae(self, larvae)
        self.restart_books()
        reporters = {
            name: (lambda model, read=read: read(model)) for name, read in DAILY_COLUMNS.items()
        }
        agents = {Bin: {"day": lambda b: b.model.day, **BIN_COLUMNS}} if record_bins else None
        self.datacollector = DataCollector(model_reporters=reporters, agenttype_reporters=agents)

    @property
    def temperature_c(self) -> float:
        """Room temperature of the last day lived (C); before day 1 that of day 1."""
        return float(self.temperatures[max(self.day - 1, 0)])

    @property
    def alive(self) -> int:
        """Insects of all stages."""
        return int(self.stock_totals[:4].sum())

    def step(self) -> None:
        """One day: insects live, the keeper works, the books are made up."""
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
        )
        self.keeper.work()
        self.table = self.take_census()
        self.stock_totals = self.table.sum(axis=0)
        if self.insects.n - self.alive > _COMPACT_SHARE * self.insects.n:
            self.insects.compact()
        self.event_totals = self.events.sum(axis=0)
        self.balance.add(self.event_totals, self.flows)
        self.datacollector.collect(self)

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
        return census.count(self.insects, self.tray + 1, self.constants.predator_mass)

    def balance_errors(self) -> dict[str, int]:
        """Gaps of the insect, mass, bran, frass and moisture ledgers; all zero when closed."""
        return self.balance.errors(self.insects, *self._stock_totals())

    def _stock_totals(self) -> tuple[int, int, int]:
        s = self.substrate
        return int(s.bran.sum()), int(s.frass.sum()), int(s.moisture.sum())

    # -- what the keeper does to a bin ----------------------------------------------------

    def give_bran(self, bin_: Bin, grams: float) -> None:
        """Put bran (g) into a bin."""
        amount = round(grams * NG_PER_G)
        self.substrate.bran[bin_.index] += amount
        self.flows[Flow.BRAN_GIVEN] += amount

    def give_moisture(self, bin_: Bin, grams: float) -> None:
        """Put moist feed holding some water (g) into a bin."""
        amount = round(grams * NG_PER_G)
        self.substrate.moisture[bin_.index] += amount
        self.flows[Flow.WATER_GIVEN] += amount

    def discard_substrate(self, bin_: Bin) -> float:
        """Throw out bran, frass, moisture, skins and dead beetles; return bran and frass (g)."""
        s, i = self.substrate, bin_.index
        grams = (s.bran[i] + s.frass[i]) / NG_PER_G
        self.flows[Flow.BRAN_DISCARDED] += s.bran[i]
        self.flows[Flow.FRASS_DISCARDED] += s.frass[i]
        self.flows[Flow.WATER_DISCARDED] += s.moisture[i]
        for name in ("bran", "frass", "moisture", "skins", "visible_skins", "skin_mass"):
            getattr(s, name)[i] = 0
        s.dead_adults[i] = 0
        return float(grams)

    def bins_in_use(self) -> int:
        """Bins that are breeding or growing."""
        return sum(b.phase is not Phase.FREE for b in self.bins)
