"""Keepers of one's own, in a module that worker processes can import."""

from __future__ import annotations

from colony_sim.colony.bins import Phase
from colony_sim.colony.keeper import Keeper


class Generous(Keeper):
    """Gives every growing bin with many larvae some more bran on top of the rules."""

    def work(self) -> None:
        """The rules, then a look at every bin."""
        super().work()
        for bin_ in self.model.bins:
            if bin_.phase is Phase.GROWING and bin_.counts[1] > 200:
                self.model.give_bran(bin_, 1.0)
                self.minutes += 0.5


class Idle:
    """Does nothing at all; no agent of Mesa either."""

    def __init__(self, rack) -> None:
        self.rack, self.minutes, self.days = rack, 0.0, []

    def work(self) -> None:
        """Only notes the day."""
        self.days.append(self.rack.day)


class Careless(Keeper):
    """Loses bran without booking it."""

    def work(self) -> None:
        """Take bran that no book knows of."""
        super().work()
        self.model.substrate.bran[0] += 1


def lively(rack) -> Keeper:
    """A function makes a keeper as well."""
    return Generous(rack)


class NoKeeper:
    """Cannot work."""
