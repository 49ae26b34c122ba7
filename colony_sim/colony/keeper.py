"""The keeper: carries out the handling rules of a policy, one day at a time.

Order of a day's work: bins lost to mites or mould are thrown out; beetles from the tray join
the breeders; pupae are inspected; emerged beetles are picked out; breeding bins in which no
beetle is left count as left by the beetles; beetles are moved when due; larvae are harvested;
spent bins are cleared; moisture and bran are given. Each choice about an insect is a keyed draw.
"""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.rates import NG_PER_G, NG_PER_MG
from colony_sim.colony.binlog import Action, Reason
from colony_sim.colony.bins import Bin, Phase
from colony_sim.colony.sorting import Sorter
from colony_sim.population import census
from colony_sim.population.draws import Block, uniforms
from colony_sim.population.insects import Flag, Stage
from colony_sim.population.ledger import EXITS, Event

#: Ways out of the eggs and larvae of a bin.
_LEAVES = [*(e for e in EXITS[Stage.EGG] if e is not Event.EGG_HATCHED), *EXITS[Stage.LARVA]]
#: What dies with a lost bin, and how it is booked.
_LOST = {
    "eggs": (Stage.EGG, Event.EGG_LOST_HANDLING),
    "larvae": (Stage.LARVA, Event.LARVA_LOST_HANDLING),
    "pupae": (Stage.PUPA, Event.PUPA_LOST_HANDLING),
    "adults": (Stage.ADULT, Event.ADULT_DIED_HANDLING),
}


class Keeper(Sorter):
    """Applies the handling keys of the run's parameters to the colony."""

    def work(self) -> None:
        """Do the day's work."""
        self.minutes = 0.0
        p, day = self.model.parameters, self.model.day
        if p["rack.bin_loss_per_year"] > 0:
            self._throw_out_lost()
        self._bring_tray_beetles()
        if p["pupae.isolate"] and day % p["pupae.inspection_days"] == 0:
            self._inspect()
        if day % p["rotation.collect_days"] == 0:
            self._collect()
        self._retire()
        if self._move_is_due():
            self._move()
        if day % p["harvest.interval_days"] == 0:
            for bin_ in self._bins(Phase.GROWING):
                if self._is_ready(bin_):
                    self._harvest(bin_)
        self._clear_spent()
        self._give_moisture()
        self._top_up()

    # -- beetles ------------------------------------------------------------------------

    def _bring_tray_beetles(self) -> None:
        rows = self.model.insects.rows(Stage.ADULT, self.model.tray)
        if rows.size and self._open_breeding():
            self._join(rows, None, Action.FROM_TRAY, self._picking(rows.size))

    def _collect(self) -> None:
        found = any(self._seen(b).size for b in self._bins(Phase.GROWING))
        if not found or not self._open_breeding():
            return
        for bin_ in self._bins(Phase.GROWING):
            rows = self._seen(bin_)
            if rows.size:
                self._join(rows, bin_, Action.COLLECTED, self._picking(rows.size))

    def _seen(self, bin_: Bin) -> np.ndarray:
        """Beetles among larvae that are not overlooked today."""
        rows = self.model.insects.rows(Stage.ADULT, bin_.index)
        missed = self.model.parameters["rotation.missed_share"]
        return rows[self._draw(Block.COLLECT, 0, rows) >= missed]

    def _open_breeding(self) -> bool:
        """Whether newcomers have a breeding bin; where there is none a fresh one is filled."""
        if self._bins(Phase.BREEDING):
            return True
        fresh = self._fresh_bins(1)
        for bin_ in fresh:
            self._fill(bin_, Phase.BREEDING)
            self._log(bin_, Action.BEETLES_IN, adults=0, reason=Reason.NEW_BREEDERS)
            self.last_move = self.model.day
        return bool(fresh)

    def _retire(self) -> None:
        """A breeding bin in which no beetle is left is a growing bin from now on."""
        breeding = self._bins(Phase.BREEDING)
        insects = self.model.insects
        beetles = np.bincount(insects.bin[insects.rows(Stage.ADULT)], minlength=self.model.tray)
        for bin_ in breeding:
            if beetles[bin_.index] == 0:
                bin_.phase, bin_.date_out = Phase.GROWING, self.model.day
                self._log(bin_, Action.BEETLES_OUT, adults=0, reason=Reason.NO_BEETLE)

    def _move_is_due(self) -> bool:
        """By `rotation.when`: by the date, or by the eggs or larvae in the breeding bins."""
        p, when = self.model.parameters, self.model.parameters["rotation.when"]
        if when == "by_date":
            return self.model.day - self.last_move >= p["rotation.interval_days"]
        breeding = self._bins(Phase.BREEDING)
        stage = Stage.EGG if when == "eggs" else Stage.LARVA
        here = self.model.insects.rows(stage, self._where(breeding)).size
        limit = p[f"rotation.{when}_per_dm2"] * p["rack.bin_area_dm2"]
        return here >= limit * len(breeding)

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
            self._log(bin_, Action.BEETLES_IN, adults=here)
        self._trim(fresh)

    def _leave(self, bin_: Bin, moved: int) -> None:
        """Close the books on a bin that the beetles have left."""
        model, p = self.model, self.model.parameters
        eggs = model.insects.rows(Stage.EGG, bin_.index)
        lost = eggs[self._draw(Block.GEAR, 0, eggs) < p["rotation.eggs_lost_share"]]
        self._remove(lost, Event.EGG_LOST_HANDLING)
        bin_.phase = Phase.GROWING
        bin_.date_out = model.day
        dead = None
        if p["rotation.remove_dead"]:
            dead = bin_.dead_adults
            model.substrate.dead_adults[bin_.index] = 0
        self._log(
            bin_,
            Action.BEETLES_OUT,
            p["labour.move_minutes"],
            eggs=int(lost.size),
            adults=moved,
            dead=dead,
            note="eggs: lost on the gear",
        )

    def _fresh_bins(self, wanted: int) -> list[Bin]:
        """Up to `wanted` free bins; clears the oldest growing bin for the first if need be."""
        free = self._bins(Phase.FREE)
        if not free and self.model.parameters["rotation.when_no_bin_free"] == "clear_oldest":
            growing = self._by_age()
            if growing and self._may_move_on(growing[0]):
                self._clear(growing[0], Reason.ROOM)
                free = self._bins(Phase.FREE)
        return free[:wanted]

    # -- bins ---------------------------------------------------------------------------

    def _throw_out_lost(self) -> None:
        """Mites, mould or an accident: all insects of a bin die, the substrate is thrown out."""
        model, p = self.model, self.model.parameters
        used = [b for b in model.bins if b.phase is not Phase.FREE]
        idents = np.array([b.index for b in used], np.uint64)
        draws = uniforms(model.run_seed, Block.BIN_LOSS, 0, idents, model.day)
        chance = -math.expm1(-p["rack.bin_loss_per_year"] / 365.0)
        for bin_, draw in zip(used, draws, strict=True):
            if draw >= chance:
                continue
            counts = {}
            for name, (stage, event) in _LOST.items():
                rows = model.insects.rows(stage, bin_.index)
                self._remove(rows, event)
                counts[name] = int(rows.size)
            grams = model.discard_substrate(bin_)
            note = "all insects died; grams: substrate thrown out"
            minutes = p["labour.clear_minutes"]
            self._log(
                bin_,
                Action.CLEARED,
                minutes,
                reason=Reason.LOST,
                grams=grams,
                note=note,
                **counts,
            )
            bin_.make_free()

    def _clear_spent(self) -> None:
        p = self.model.parameters
        by_date = p["rack.clear_when"] == "by_date"
        few, little = p["rack.clear_below_insects"], round(p["rack.little_left_g"] * NG_PER_G)
        # No census is needed where those of yesterday that cannot have left are too many.
        least = self.model.table[:, :2].sum(axis=1) - self.model.events[:, _LEAVES].sum(axis=1)
        table = None
        for bin_ in self._by_age():
            age = bin_.age
            if by_date and age >= p["rack.clear_after_days"]:
                self._clear(bin_, Reason.OLD)
                table = None
            elif age > p["egg.lifetime_days"]:
                weighed = not by_date and bin_.harvested
                if least[bin_.index] > few and not weighed:
                    continue
                table = self.model.take_census() if table is None else table
                insects = int(table[bin_.index, :4].sum())
                spent = insects <= few
                if weighed:
                    spent |= table[bin_.index, census.LARVA_MASS] <= little
                if spent and (insects == 0 or self._heirs(bin_)):
                    self._clear(bin_, Reason.SPENT)
                    table = None

    def _heirs(self, bin_: Bin) -> list[Bin]:
        """Bins that larvae and pupae of a bin can go to, the oldest growing bin first."""
        return [b for b in self._by_age() if b is not bin_] or self._bins(Phase.BREEDING)

    def _small(self, bin_: Bin) -> tuple[np.ndarray, np.ndarray]:
        """Larvae of a bin, and whether each is so small that it falls through the sieve."""
        larvae = self.model.insects.rows(Stage.LARVA, bin_.index)
        least = round(self.model.parameters["rack.small_mg"] * NG_PER_MG)
        return larvae, self.model.insects.mass[larvae] < least

    def _may_move_on(self, bin_: Bin) -> bool:
        """Whether a bin may be cleared to make room, by `rack.small_larvae`."""
        p = self.model.parameters
        if p["rack.small_larvae"] != "wait":
            return True
        larvae, small = self._small(bin_)
        return np.count_nonzero(small) <= p["rack.small_share"] * larvae.size

    def _clear(self, bin_: Bin, reason: Reason) -> None:
        """Empty and wash a bin: harvest what is due, move the rest on, discard the substrate.

        Where no other bin is in use, what is left goes back into the washed bin.
        """
        model, p = self.model, self.model.parameters
        insects = model.insects
        self._harvest(bin_)
        if p["pupae.isolate"]:
            self._pick_pupae(bin_, 1.0, 0.0)
        eggs = insects.rows(Stage.EGG, bin_.index)
        self._remove(eggs, Event.EGG_LOST_HANDLING)
        beetles = insects.rows(Stage.ADULT, bin_.index)
        if beetles.size and self._bins(Phase.BREEDING):
            self._join(beetles, bin_, Action.COLLECTED, self._picking(beetles.size))
            beetles = beetles[:0]
        heirs = self._heirs(bin_)
        heir = heirs[0] if heirs else bin_
        larvae, small = self._small(bin_)
        sift = reason is Reason.ROOM and p["rack.small_larvae"] == "sift"
        sifted, larvae = larvae[small & sift], larvae[~(small & sift)]
        pupae = insects.rows(Stage.PUPA, bin_.index)
        stay = np.concatenate([larvae, pupae, beetles])
        insects.bin[stay] = heir.index
        self._join_pace(bin_, heir)
        grams = model.discard_substrate(bin_)
        self._log(
            bin_,
            Action.CLEARED,
            p["labour.clear_minutes"],
            eggs=int(eggs.size),
            larvae=int(larvae.size),
            pupae=int(pupae.size),
            grams=grams,
            reason=reason,
            heir=heir,
            note="grams: substrate thrown out",
        )
        if sifted.size:
            insects.bin[sifted] = heirs[-1].index
            self._log(heirs[-1], Action.SMALL_LARVAE_IN, larvae=int(sifted.size))
        bin_.make_free()
        if not heirs and stay.size:
            self._fill(bin_, Phase.GROWING)
            bin_.date_out = model.day
            grams = p["bran.start_g"]
            self._log(bin_, Action.BRAN_ADDED, p["labour.top_up_minutes"], grams=grams)
