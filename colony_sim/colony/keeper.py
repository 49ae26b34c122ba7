"""The keeper: carries out the handling rules of a policy, one day at a time.

Order of a day's work: beetles from the tray join the breeders; pupae are inspected;
emerged beetles are picked out; beetles are moved when due; larvae are harvested; spent bins
are cleared; moisture and bran are given. Each choice about an insect is a keyed draw.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import mesa
import numpy as np

from colony_sim.biology.rates import NG_PER_G, NG_PER_MG
from colony_sim.colony.bins import Bin, Phase
from colony_sim.population import census
from colony_sim.population.draws import Block, uniforms
from colony_sim.population.insects import Flag, Stage
from colony_sim.population.ledger import Event, Flow

if TYPE_CHECKING:
    from colony_sim.colony.model import Colony

_DEATH_MASS = {
    Event.LARVA_HARVESTED: Flow.HARVEST_MASS,
    Event.ADULT_REMOVED_SURPLUS: Flow.SURPLUS_MASS,
}


class Keeper(mesa.Agent):
    """Applies the handling keys of the run's parameters to the colony.

    Attributes
    ----------
    minutes : float
        Work done today (min).
    last_move : int
        Day of the last move of beetles.
    """

    def __init__(self, model: Colony) -> None:
        super().__init__(model)
        self.minutes = 0.0
        self.last_move = 0

    def work(self) -> None:
        """Do the day's work."""
        self.minutes = 0.0
        p, day = self.model.parameters, self.model.day
        self._bring_tray_beetles()
        if p["pupae.isolate"] and day % p["pupae.inspection_days"] == 0:
            self._inspect()
        if day % p["rotation.collect_days"] == 0:
            self._collect()
        if day - self.last_move >= p["rotation.interval_days"]:
            self._move()
        if day % p["harvest.interval_days"] == 0:
            for bin_ in self._bins(Phase.GROWING):
                self._harvest(bin_)
        self._clear_spent()
        self._give_moisture()
        self._top_up()

    # -- small helpers ------------------------------------------------------------------

    def _bins(self, phase: Phase) -> list[Bin]:
        return [b for b in self.model.bins if b.phase is phase]

    def _where(self, bins: list[Bin]) -> np.ndarray:
        """Boolean per slot (bins and tray) that is true for the bins given."""
        chosen = np.zeros(self.model.tray + 1, bool)
        chosen[[b.index for b in bins]] = True
        return chosen

    def _draw(self, block: Block, lane: int, rows: np.ndarray, day: int | None = None):
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

    def _log(self, bin_: Bin | None, action: str, minutes: float = 0.0, **counts) -> None:
        self.minutes += minutes
        self.model.binlog.add(self.model.day, bin_, action, minutes=minutes, **counts)

    def _picking(self, count: int) -> float:
        return count * self.model.parameters["labour.pick_seconds"] / 60.0

    # -- beetles ------------------------------------------------------------------------

    def _bring_tray_beetles(self) -> None:
        rows = self.model.insects.rows(Stage.ADULT, self.model.tray)
        if rows.size:
            self._join(rows, None, "beetles from tray to breeders", self._picking(rows.size))

    def _collect(self) -> None:
        missed = self.model.parameters["rotation.missed_share"]
        for bin_ in self._bins(Phase.GROWING):
            rows = self.model.insects.rows(Stage.ADULT, bin_.index)
            rows = rows[self._draw(Block.COLLECT, 0, rows) >= missed]
            if rows.size:
                self._join(rows, bin_, "emerged beetles to breeders", self._picking(rows.size))

    def _join(self, rows: np.ndarray, source: Bin | None, action: str, minutes: float) -> None:
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
        order = np.argsort(self._draw(Block.SURPLUS, 0, rows), kind="stable")
        joining, surplus = rows[order[:room]], rows[order[room:]]
        self._spread(joining, breeding)
        self._log(source, action, minutes, adults=int(joining.size))
        if surplus.size:
            grams = self._remove(surplus, Event.ADULT_REMOVED_SURPLUS)
            self._log(source, "surplus beetles removed", adults=int(surplus.size), grams=grams)

    def _spread(self, rows: np.ndarray, targets: list[Bin]) -> None:
        """Deal insects out to bins, as evenly as numbers allow, in the order of their draws."""
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
            self._log(bin_, "surplus beetles removed", adults=int(extra), grams=grams)

    def _move(self) -> None:
        """Strain the breeders out of their bins and put them into fresh ones."""
        model, p = self.model, self.model.parameters
        old = self._bins(Phase.BREEDING)
        where = self._where(old)
        count = model.insects.rows(Stage.ADULT, where).size
        if count == 0:
            return
        wanted = 1
        if p["rotation.surplus"] == "split":
            wanted = -(-count // p["rotation.most_breeders_per_bin"])
        fresh = self._fresh_bins(wanted)
        if not fresh:
            return
        self.last_move = model.day
        # Making room may have added beetles to the breeders, or removed some: look again.
        rows = model.insects.rows(Stage.ADULT, where)
        draws = [self._draw(Block.MOVE, lane, rows) for lane in range(3)]
        caught = draws[0] >= p["rotation.missed_share"]
        killed = caught & (draws[2] < p["rotation.killed_share"])
        injured = caught & ~killed & (draws[1] < p["rotation.injured_share"])
        model.insects.set(rows[injured], Flag.INJURED)
        home = model.insects.bin[rows].copy()
        self._remove(rows[killed], Event.ADULT_DIED_HANDLING)
        moved = rows[caught & ~killed]
        self._spread(moved, fresh)
        for bin_ in old:
            self._leave(bin_, int(np.count_nonzero(caught & ~killed & (home == bin_.index))))
        for bin_ in fresh:
            self._fill(bin_, Phase.BREEDING)
            here = int(np.count_nonzero(model.insects.bin[moved] == bin_.index))
            self._log(bin_, "beetles in", adults=here)
        self._trim(fresh)

    def _leave(self, bin_: Bin, moved: int) -> None:
        """Close the books on a bin that the beetles have left."""
        model, p = self.model, self.model.parameters
        eggs = model.insects.rows(Stage.EGG, bin_.index)
        lost = eggs[self._draw(Block.GEAR, 0, eggs) < p["rotation.eggs_lost_share"]]
        self._remove(lost, Event.EGG_LOST_HANDLING)
        bin_.phase = Phase.GROWING
        bin_.date_out = model.day
        note = ""
        if p["rotation.remove_dead"]:
            note = f"{bin_.dead_adults} dead beetles taken out"
            model.substrate.dead_adults[bin_.index] = 0
        self._log(
            bin_,
            "beetles out",
            p["labour.move_minutes"],
            eggs=int(lost.size),
            adults=moved,
            note=f"{note}; eggs: lost on the gear".lstrip("; "),
        )

    def _fresh_bins(self, wanted: int) -> list[Bin]:
        """Up to `wanted` free bins; clears the oldest growing bin for the first if need be."""
        free = self._bins(Phase.FREE)
        if not free and self.model.parameters["rotation.when_no_bin_free"] == "clear_oldest":
            growing = self._by_age()
            if growing:
                self._clear(growing[0], "cleared to make room")
                free = self._bins(Phase.FREE)
        return free[:wanted]

    def _fill(self, bin_: Bin, phase: Phase) -> None:
        bin_.phase = phase
        bin_.date_in, bin_.date_out, bin_.moist = self.model.day, None, False
        self.model.give_bran(bin_, self.model.parameters["bran.start_g"])

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
            "pupae to tray",
            minutes + self._picking(found.size),
            pupae=int(found.size),
        )

    # -- larvae -------------------------------------------------------------------------

    def _harvest(self, bin_: Bin) -> None:
        model, p = self.model, self.model.parameters
        insects = model.insects
        rows = insects.rows(Stage.LARVA, bin_.index)
        rows = rows[insects.mass[rows] >= round(p["harvest.smallest_mg"] * NG_PER_MG)]
        once = p["harvest.set_apart"]
        if once:
            rows = rows[~insects.has(rows, Flag.KEPT)]
        if rows.size == 0:
            return
        taken = self._draw(Block.SORT, 0, rows, 0 if once else None) < p["harvest.fraction"]
        if once:
            insects.set(rows[~taken], Flag.KEPT)
        grams = self._remove(rows[taken], Event.LARVA_HARVESTED)
        self._log(
            bin_,
            "harvest",
            p["labour.harvest_minutes"],
            larvae=int(np.count_nonzero(taken)),
            grams=grams,
            note=f"{int(np.count_nonzero(~taken))} kept back",
        )

    # -- bins ---------------------------------------------------------------------------

    def _by_age(self) -> list[Bin]:
        """Growing bins, the one that the beetles left first in front."""
        return sorted(self._bins(Phase.GROWING), key=lambda b: (b.date_out, b.index))

    def _clear_spent(self) -> None:
        p, day = self.model.parameters, self.model.day
        waiting = p["egg.lifetime_days"]
        few = p["rack.clear_below_insects"]
        table = None
        for bin_ in self._by_age():
            age = day - bin_.date_out
            if age >= p["rack.clear_after_days"]:
                self._clear(bin_, "cleared as old")
            elif age > waiting:
                table = self.model.take_census() if table is None else table
                if int(table[bin_.index, :4].sum()) <= few:
                    self._clear(bin_, "cleared as spent")

    def _clear(self, bin_: Bin, action: str) -> None:
        """Empty and wash a bin: harvest what is due, move the rest on, discard the substrate."""
        model, p = self.model, self.model.parameters
        insects = model.insects
        self._harvest(bin_)
        if p["pupae.isolate"]:
            self._pick_pupae(bin_, 1.0, 0.0)
        eggs = insects.rows(Stage.EGG, bin_.index)
        self._remove(eggs, Event.EGG_LOST_HANDLING)
        breeding = self._bins(Phase.BREEDING)
        rows = insects.rows(Stage.ADULT, bin_.index)
        if rows.size:
            self._join(rows, bin_, "emerged beetles to breeders", self._picking(rows.size))
        heirs = [b for b in self._by_age() if b is not bin_] or breeding
        larvae = insects.rows(Stage.LARVA, bin_.index)
        pupae = insects.rows(Stage.PUPA, bin_.index)
        insects.bin[larvae] = heirs[0].index
        insects.bin[pupae] = heirs[0].index
        grams = model.discard_substrate(bin_)
        self._log(
            bin_,
            action,
            p["labour.clear_minutes"],
            eggs=int(eggs.size),
            larvae=int(larvae.size),
            pupae=int(pupae.size),
            grams=grams,
            note=f"larvae and pupae to bin {heirs[0].label}; grams: substrate thrown out",
        )
        bin_.phase = Phase.FREE
        bin_.date_in = bin_.date_out = None
        bin_.moist = False

    # -- feed ---------------------------------------------------------------------------

    def _give_moisture(self) -> None:
        model, p = self.model, self.model.parameters
        start = p["moisture.start"]
        seen_from = p["moisture.visible_skins_per_dm2"] * p["rack.bin_area_dm2"]
        for bin_ in model.bins:
            if bin_.phase is Phase.GROWING and p["moisture.growing_g_per_day"] > 0:
                due = start == "always" or (start == "skins" and bin_.visible_skins >= seen_from)
                if due and not bin_.moist:
                    bin_.moist = True
                    self._log(bin_, "moisture started", note=f"{bin_.visible_skins} skins seen")
                if bin_.moist:
                    model.give_moisture(bin_, p["moisture.growing_g_per_day"])
                    self.minutes += p["labour.moisture_minutes"]
            elif bin_.phase is Phase.BREEDING and p["moisture.breeding_g_per_day"] > 0:
                model.give_moisture(bin_, p["moisture.breeding_g_per_day"])
                self.minutes += p["labour.moisture_minutes"]

    def _top_up(self) -> None:
        model, p = self.model, self.model.parameters
        if p["bran.top_up_g"] <= 0:
            return
        for bin_ in model.bins:
            eaters = model.table[bin_.index, [census.LARVAE, census.ADULTS]].sum()
            if bin_.phase is not Phase.FREE and eaters and bin_.bran_g < p["bran.top_up_below_g"]:
                model.give_bran(bin_, p["bran.top_up_g"])
                self._log(bin_, "bran added", p["labour.top_up_minutes"], grams=p["bran.top_up_g"])
