"""What every rule of the keeper needs: bins by phase, draws, books and the log."""

from __future__ import annotations

from typing import Any

import numpy as np

from colony_sim.biology.rates import NG_PER_G
from colony_sim.colony.binlog import Action
from colony_sim.colony.bins import Bin, Phase
from colony_sim.colony.framework import mesa
from colony_sim.colony.rack import Rack
from colony_sim.population.draws import Block, uniforms
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event, Flow

_DEATH_MASS = {
    Event.LARVA_HARVESTED: Flow.HARVEST_MASS,
    Event.ADULT_REMOVED_SURPLUS: Flow.SURPLUS_MASS,
}


class Hands(mesa.Agent):
    """A pair of hands at work in a colony.

    Attributes
    ----------
    minutes : float
        Work done today (min).
    """

    model: Rack

    def __init__(self, model: Rack) -> None:
        super().__init__(model)
        self.minutes = 0.0

    def _bins(self, phase: Phase) -> list[Bin]:
        return [b for b in self.model.bins if b.phase is phase]

    def _by_age(self) -> list[Bin]:
        """Growing bins, the one that the beetles left first in front."""
        return sorted(self._bins(Phase.GROWING), key=lambda b: (b.date_out, b.index))

    def _where(self, bins: list[Bin]) -> np.ndarray:
        """Boolean per slot (bins and tray) that is true for the bins given."""
        chosen = np.zeros(self.model.tray + 1, bool)
        chosen[[b.index for b in bins]] = True
        return chosen

    def _draw(
        self, block: Block, lane: int, rows: np.ndarray, day: int | None = None
    ) -> np.ndarray:
        if rows.size == 0:
            return np.empty(0)
        when = self.model.day if day is None else day
        return uniforms(self.model.run_seed, block, lane, self.model.insects.ident[rows], when)

    def _remove(self, rows: np.ndarray, event: Event) -> float:
        """Take insects out of the colony; return their live mass (g)."""
        insects, model = self.model.insects, self.model
        if rows.size == 0:
            return 0.0
        mass = int(insects.mass[rows].sum(dtype=np.int64))
        np.add.at(model.events, (insects.bin[rows], int(event)), 1)
        model.flows[_DEATH_MASS.get(event, Flow.DEAD_MASS)] += mass
        insects.stage[rows] = Stage.DEAD
        return mass / NG_PER_G

    def _log(self, bin_: Bin | None, action: Action, minutes: float = 0.0, **counts: Any) -> None:
        self.minutes += minutes
        self.model.binlog.add(self.model.day, bin_, action, minutes=minutes, **counts)

    def _picking(self, count: int) -> float:
        return count * self.model.parameters["labour.pick_seconds"] / 60.0
