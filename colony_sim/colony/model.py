"""The colony as a Mesa model: bins and keeper are agents, insects live in arrays."""

from __future__ import annotations

import math
from numbers import Integral
from typing import Any

from numpy.typing import ArrayLike

from colony_sim.biology.parameters import Parameters
from colony_sim.colony import founders
from colony_sim.colony.bins import BIN_COLUMNS, Bin
from colony_sim.colony.daily import DailyCollector
from colony_sim.colony.keeper import Keeper
from colony_sim.colony.own_keeper import MakeKeeper
from colony_sim.colony.rack import Rack
from colony_sim.errors import InputError


def check_whole(name: str, value: Any, most: float = math.inf) -> None:
    """Raise `InputError` unless the argument is a whole number from 0 to `most`."""
    whole = isinstance(value, Integral) and not isinstance(value, bool)
    if not whole or not 0 <= value <= most:
        limits = ", 0 or more" if most == math.inf else f" from 0 to {most}"
        raise InputError("Colony", name, value, "a whole number" + limits)


class Colony(Rack):
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
    keeper : callable
        Makes who works in the colony (see `own_keeper.KeeperLike`); what it does to the colony
        as it is made counts as there from the start.

    Attributes
    ----------
    running : bool
        False when no insect is left, or no temperature: Mesa's runners stop by it.

    Raises
    ------
    InputError
        Founders that are no whole number or negative, or a seed out of range.
    """

    def __init__(
        self,
        parameters: Parameters,
        temperatures: ArrayLike,
        seed: int,
        breeders: int,
        larvae: int = 0,
        record_bins: bool = False,
        keeper: MakeKeeper = Keeper,
    ) -> None:
        check_whole("seed", seed, 2**64 - 1)
        check_whole("breeders", breeders)
        check_whole("larvae", larvae)
        super().__init__(parameters, temperatures, seed)
        founders.add_breeders(self, breeders, float(self.temperatures[0]))
        founders.add_larvae(self, larvae)
        agents = {Bin: {"day": lambda b: b.model.day, **BIN_COLUMNS}} if record_bins else None
        self.datacollector = DailyCollector(agents)
        self.restart_books()
        self.keeper = keeper(self)
        self.restart_books()

    def step(self) -> None:
        """One day: insects live, the keeper works, the books are made up."""
        self.live_day()
        self.keeper.work()
        self.close_day()
        self.datacollector.collect(self)
        self.running = self.alive > 0 and self.day < len(self.temperatures)
