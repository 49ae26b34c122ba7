"""Sorting insects by hand: beetles to breeding bins, pupae to the tray, larvae to the birds."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.rates import NG_PER_MG
from colony_sim.colony.binlog import Action
from colony_sim.colony.bins import Bin, Phase
from colony_sim.colony.feeding import Feeder
from colony_sim.population.draws import Block
from colony_sim.population.insects import Flag, Stage
from colony_sim.population.ledger import Event


class Sorter(Feeder):
    """Picks insects out and puts them where they belong; each choice is a keyed draw."""

    # -- beetles ------------------------------------------------------------------------

    def _join(self, rows: np.ndarray, source: Bin | None, action: Action, minutes: float) -> None:
        """Let beetles join the breeding bins as far as there is room.

        The keeper has the newcomers in hand, so the surplus is theirs: proven breeders stay.
        Where surplus is split, all join and the next move takes more bins.
        """
        model = self.model
        breeding = self._bins(Phase.BREEDING)
        room = rows.size
        if model.parameters["rotation.surplus"] == "remove":
            here = model.insects.rows(Stage.ADULT, self._where(breeding)).size
            most = model.parameters["rotation.most_breeders_per_bin"] * len(breeding)
            room = max(0, most - here)
        joining, surplus = rows, rows[:0]
        if room < rows.size:
            order = np.argsort(self._draw(Block.SURPLUS, 0, rows), kind="stable")
            joining, surplus = rows[order[:room]], rows[order[room:]]
        self._spread(joining, breeding)
        self._log(source, action, minutes, adults=int(joining.size))
        if surplus.size:
            grams = self._remove(surplus, Event.ADULT_REMOVED_SURPLUS)
            self._log(source, Action.SURPLUS_REMOVED, adults=int(surplus.size), grams=grams)

    def _spread(self, rows: np.ndarray, targets: list[Bin]) -> None:
        """Deal insects out to bins, as evenly as numbers allow, in the order of their draws."""
        if len(targets) == 1:
            self.model.insects.bin[rows] = targets[0].index
            return
        order = np.argsort(self._draw(Block.MOVE, 3, rows), kind="stable")
        slots = np.array([b.index for b in targets], np.uint16)
        self.model.insects.bin[rows[order]] = slots[np.arange(rows.size) % len(targets)]

    def _trim(self, breeding: list[Bin]) -> None:
        """Remove beetles beyond the limit per breeding bin, drawn without regard to age."""
        most = self.model.parameters["rotation.most_breeders_per_bin"]
        for bin_ in breeding:
            rows = self.model.insects.rows(Stage.ADULT, bin_.index)
            extra = rows.size - most
            if extra <= 0:
                continue
            order = np.argsort(self._draw(Block.SURPLUS, 0, rows), kind="stable")
            grams = self._remove(rows[order[most:]], Event.ADULT_REMOVED_SURPLUS)
            self._log(bin_, Action.SURPLUS_REMOVED, adults=int(extra), grams=grams)

    # -- pupae --------------------------------------------------------------------------

    def _inspect(self) -> None:
        p = self.model.parameters
        for bin_ in self._bins(Phase.GROWING) + self._bins(Phase.BREEDING):
            if bin_.phase is Phase.BREEDING and bin_.counts[2] == 0:
                continue
            self._pick_pupae(bin_, p["pupae.find_share"], p["labour.inspect_minutes"])

    def _pick_pupae(self, bin_: Bin, find_share: float, minutes: float) -> None:
        rows = self.model.insects.rows(Stage.PUPA, bin_.index)
        found = rows[self._draw(Block.INSPECT, 0, rows) < find_share]
        hurt = self._draw(Block.INSPECT, 1, found) < self.model.parameters["pupae.killed_share"]
        self._remove(found[hurt], Event.PUPA_LOST_HANDLING)
        self.model.insects.bin[found[~hurt]] = self.model.tray
        self._log(
            bin_,
            Action.PUPAE_TO_TRAY,
            minutes + self._picking(found.size),
            pupae=int(found.size),
        )

    # -- larvae -------------------------------------------------------------------------

    def _unsorted(self, bin_: Bin) -> np.ndarray:
        """Larvae of a bin but those kept back at an earlier harvest."""
        insects = self.model.insects
        rows = insects.rows(Stage.LARVA, bin_.index)
        if self.model.parameters["harvest.set_apart"]:
            rows = rows[~insects.has(rows, Flag.KEPT)]
        return rows

    def _of_size(self, rows: np.ndarray) -> np.ndarray:
        """Those of some larvae that are large enough to be harvested."""
        smallest = round(self.model.parameters["harvest.smallest_mg"] * NG_PER_MG)
        return rows[self.model.insects.mass[rows] >= smallest]

    def _is_ready(self, bin_: Bin) -> bool:
        """Whether a bin is harvested on a harvest day, by `harvest.when`."""
        p = self.model.parameters
        if p["harvest.when"] == "by_date":
            return True
        rows = self._unsorted(bin_)
        return self._of_size(rows).size >= p["harvest.ready_share"] * rows.size

    def _harvest(self, bin_: Bin) -> None:
        model, p = self.model, self.model.parameters
        insects = model.insects
        once = p["harvest.set_apart"]
        rows = self._of_size(self._unsorted(bin_))
        if rows.size == 0:
            return
        bin_.harvested = True
        taken = self._draw(Block.SORT, 0, rows, 0 if once else None) < p["harvest.fraction"]
        if once:
            insects.set(rows[~taken], Flag.KEPT)
        grams = self._remove(rows[taken], Event.LARVA_HARVESTED)
        self._log(
            bin_,
            Action.HARVEST,
            p["labour.harvest_minutes"],
            larvae=int(np.count_nonzero(taken)),
            grams=grams,
            note=f"{int(np.count_nonzero(~taken))} kept back",
        )
