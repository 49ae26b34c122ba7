"""A rule of one's own: a keeper who looks into the bins. For `own_study.py`."""

from __future__ import annotations

from colony_sim.colony.bins import Phase
from colony_sim.colony.keeper import Keeper


class TopUp(Keeper):
    """Adds 20 g of bran to a growing bin that holds more than 2,000 larvae, once a week."""

    def work(self) -> None:
        """The rules of the parameters, then the look at every bin."""
        super().work()
        if self.model.day % 7:
            return
        for bin_ in self.model.bins:
            if bin_.phase is Phase.GROWING and bin_.counts[1] > 2000:
                self.model.give_bran(bin_, 20.0)
                self.minutes += 1.0
