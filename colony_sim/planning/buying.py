"""Beetles that are bought on days of a run: the keeper who puts them to the others, and when."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date
from typing import Any

from colony_sim.colony import founders
from colony_sim.colony.keeper import Keeper
from colony_sim.colony.model import Colony
from colony_sim.colony.own_keeper import OwnKeeper
from colony_sim.planning.measuring import day_date
from colony_sim.planning.phrases import month
from colony_sim.population.insects import Stage
from colony_sim.source import source_bytes

Buys = tuple[tuple[int, int], ...]
"""Days of the run, and how many beetles are bought on each."""
_KIND = 2000
"""Groups of bought beetles are founders of this kind and those that follow, a kind a day."""
_FEW = 2
"""Months that are named one by one."""


class Buying(Keeper):
    """Follows the rules, and brings bought beetles on their days.

    Attributes
    ----------
    buys : dict of int to int
        Beetles by the day of the colony on which they come.
    """

    model: Colony
    buys: dict[int, int]

    def work(self) -> None:
        """Put what is bought today on the tray, from where it joins the breeders; then all else."""
        count = self.buys.get(self.model.day, 0)
        if count:
            model, before = self.model, self.model.insects.n
            warm = float(model.temperatures[max(model.day - 1, 0)])
            founders.bring_breeders(model, count, warm, model.tray, _KIND + model.day)
            mass = int(model.insects.mass[before : model.insects.n].sum())
            model.balance.bring(Stage.ADULT, count, mass)
        super().work()


@dataclass(frozen=True)
class Buyer(OwnKeeper):
    """Makes a `Buying` keeper; part of what decides a run, as any keeper of one's own."""

    buys: Buys = ()

    def __call__(self, rack: Any) -> Buying:
        """The keeper of a colony that begins with the plan."""
        keeper = Buying(rack)
        keeper.buys = dict(self.buys)
        return keeper


def buyer(buys: Buys) -> Buyer | None:
    """Who buys these beetles; None where none are bought."""
    if not buys:
        return None
    digest = hashlib.sha256(source_bytes(__file__) + repr(buys).encode()).hexdigest()
    return Buyer(__name__, "Buying", digest, buys)


def in_words(buys: Buys, start: date) -> str:
    """What to buy and when: `buy 200 beetles in July 2031 and in May 2032`."""
    months = [month(day_date(start, day)) for day, _ in buys]
    if len(buys) > _FEW:
        return f"buy {buys[0][1]} beetles {len(buys)} times from {months[0]} to {months[-1]}"
    return f"buy {buys[0][1]} beetles {' and '.join(f'in {each}' for each in months)}"
