"""A colony in its rack of bins, and what anyone who works in it can do to a bin."""

from __future__ import annotations

from numpy.typing import ArrayLike

from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_G
from colony_sim.colony.binlog import BinLog
from colony_sim.colony.bins import Bin, Phase
from colony_sim.colony.own_keeper import KeeperLike
from colony_sim.colony.state import State
from colony_sim.population.ledger import Flow


class Rack(State):
    """Bins over the arrays of a colony.

    Attributes
    ----------
    bins : list of Bin
    binlog : BinLog
    keeper : KeeperLike
    """

    keeper: KeeperLike

    def __init__(self, parameters: Parameters, temperatures: ArrayLike, seed: int) -> None:
        super().__init__(parameters, temperatures, seed)
        self.bins = [Bin(self, i) for i in range(self.tray)]
        self.binlog = BinLog()

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
