"""The keeper of the slow twin: the handling rules, insect by insect."""

from __future__ import annotations

import math

from .philox import unit, words
from .twin_feeding import TwinFeeding

MOVE, GEAR, INSPECT, SORT, COLLECT, SURPLUS = range(11, 17)
BIN_LOSS = 18
LOST = {
    "egg": "eggs_lost_handling",
    "larva": "larvae_lost_handling",
    "pupa": "pupae_lost_handling",
    "adult": "adults_died_handling",
}


class TwinKeeper(TwinFeeding):
    """Carries out the handling keys of the parameters on a `TwinColony`."""

    def work(self) -> None:
        """The day's work, in the order of the model's description."""
        p, day = self.model.p, self.model.day
        self.minutes = 0.0
        self.lose_bins()
        beetles = self.model.insects_in("adult", self.model.tray)
        if beetles and self.open_breeding():
            self.join(beetles)
        if p["pupae.isolate"] and day % p["pupae.inspection_days"] == 0:
            self.inspect()
        if day % p["rotation.collect_days"] == 0:
            self.collect()
        for k in self.bins("breeding"):
            if not self.model.insects_in("adult", k):
                self.model.stocks[k].phase = "growing"
                self.model.stocks[k].date_out = day
        if self.time_to_move():
            self.move()
        if day % p["harvest.interval_days"] == 0:
            for k in self.bins("growing"):
                if self.worth_harvesting(k):
                    self.harvest(k)
        self.clear_spent()
        self.water()
        self.feed()

    @staticmethod
    def chance(insect, block: int, lane: int, day: int | None = None) -> float:
        """A uniform number of this insect for one decision."""
        return unit(insect.draw(block, day)[lane])

    # -- beetles --------------------------------------------------------------------------

    def collect(self) -> None:
        """Beetles seen among larvae are picked out; they may need a breeding bin first."""
        if any(self.seen(k) for k in self.bins("growing")) and self.open_breeding():
            for k in self.bins("growing"):
                self.join(self.seen(k))

    def seen(self, k: int) -> list:
        missed = self.model.p["rotation.missed_share"]
        beetles = self.model.insects_in("adult", k)
        return [b for b in beetles if self.chance(b, COLLECT, 0) >= missed]

    def open_breeding(self) -> bool:
        """Whether there is a breeding bin, if need be a fresh one."""
        if not self.bins("breeding"):
            for k in self.fresh_bins(1):
                self.fill(k, "breeding")
                self.last_move = self.model.day
        return bool(self.bins("breeding"))

    def join(self, beetles) -> None:
        """Beetles go to the breeding bins as far as there is room; the surplus is theirs."""
        if not beetles:
            return
        model, targets = self.model, self.bins("breeding")
        room = len(beetles)
        self.minutes += room * model.p["labour.pick_seconds"] / 60
        if model.p["rotation.surplus"] == "remove":
            here = sum(len(model.insects_in("adult", k)) for k in targets)
            most = model.p["rotation.most_breeders_per_bin"] * len(targets)
            room = max(0, most - here)
        queue = sorted(beetles, key=lambda b: self.chance(b, SURPLUS, 0))
        self.spread(queue[:room], targets)
        for beetle in queue[room:]:
            beetle.die("adults_removed_surplus", "SURPLUS_MASS")

    def spread(self, beetles, targets: list[int]) -> None:
        """Deal beetles out to bins in the order of their draws."""
        queue = sorted(beetles, key=lambda b: self.chance(b, MOVE, 3))
        for n, beetle in enumerate(queue):
            beetle.place = targets[n % len(targets)]

    def trim(self, targets: list[int]) -> None:
        most = self.model.p["rotation.most_breeders_per_bin"]
        for k in targets:
            beetles = self.model.insects_in("adult", k)
            beetles.sort(key=lambda b: self.chance(b, SURPLUS, 0))
            for beetle in beetles[most:]:
                beetle.die("adults_removed_surplus", "SURPLUS_MASS")

    def time_to_move(self) -> bool:
        """By the date, or by the eggs or larvae on an area of breeding bin."""
        model, p = self.model, self.model.p
        if p["rotation.when"] == "by_date":
            return model.day - self.last_move >= p["rotation.interval_days"]
        stage, key = ("egg", "eggs") if p["rotation.when"] == "eggs" else ("larva", "larvae")
        breeding = self.bins("breeding")
        here = sum(len(model.insects_in(stage, k)) for k in breeding)
        most = p[f"rotation.{key}_per_dm2"] * p["rack.bin_area_dm2"] * len(breeding)
        return bool(breeding) and here >= most

    def move(self) -> None:
        model, p = self.model, self.model.p
        old = self.bins("breeding")
        beetles = [b for k in old for b in model.insects_in("adult", k)]
        if not beetles:
            return
        wanted = 1
        if p["rotation.surplus"] == "split":
            wanted = -(-len(beetles) // p["rotation.most_breeders_per_bin"])
        fresh = self.fresh_bins(wanted)
        if not fresh:
            return
        self.last_move = model.day
        # Clearing a bin for room may have brought more breeders.
        beetles = [b for k in old for b in model.insects_in("adult", k)]
        moved = []
        for beetle in beetles:
            if self.chance(beetle, MOVE, 0) < p["rotation.missed_share"]:
                continue
            if self.chance(beetle, MOVE, 2) < p["rotation.killed_share"]:
                beetle.die("adults_died_handling")
                continue
            if self.chance(beetle, MOVE, 1) < p["rotation.injured_share"]:
                beetle.injured = True
            moved.append(beetle)
        self.spread(moved, fresh)
        for k in old:
            bin_ = model.stocks[k]
            bin_.phase, bin_.date_out = "growing", model.day
            self.minutes += p["labour.move_minutes"]
            for egg in model.insects_in("egg", k):
                if self.chance(egg, GEAR, 0) < p["rotation.eggs_lost_share"]:
                    egg.die("eggs_lost_handling")
        for k in fresh:
            self.fill(k, "breeding")
        self.trim(fresh)

    def fresh_bins(self, wanted: int) -> list[int]:
        p, free = self.model.p, self.bins("free")
        if free or p["rotation.when_no_bin_free"] == "wait":
            return free[:wanted]
        for oldest in self.growing_by_age()[:1]:
            larvae = self.model.insects_in("larva", oldest)
            few_small = sum(map(self.is_small, larvae)) <= p["rack.small_share"] * len(larvae)
            if few_small or p["rack.small_larvae"] != "wait":
                self.clear(oldest, sift=p["rack.small_larvae"] == "sift")
        return self.bins("free")[:wanted]

    def is_small(self, larva) -> bool:
        """Whether a larva falls through the sieve."""
        return larva.mass < round(self.model.p["rack.small_mg"] * 1e6)

    # -- pupae and larvae -----------------------------------------------------------------

    def inspect(self) -> None:
        breeding = [k for k in self.bins("breeding") if self.model.stocks[k].counts["pupa"]]
        for k in self.bins("growing") + breeding:
            self.minutes += self.model.p["labour.inspect_minutes"]
            self.pick_pupae(k, self.model.p["pupae.find_share"])

    def pick_pupae(self, k: int, find_share: float) -> None:
        for pupa in self.model.insects_in("pupa", k):
            if self.chance(pupa, INSPECT, 0) >= find_share:
                continue
            self.minutes += self.model.p["labour.pick_seconds"] / 60
            if self.chance(pupa, INSPECT, 1) < self.model.p["pupae.killed_share"]:
                pupa.die("pupae_lost_handling")
            else:
                pupa.place = self.model.tray

    def sortable(self, k: int) -> tuple[list, list]:
        """Larvae not sorted before, and those of them that are large enough for the birds."""
        p = self.model.p
        larvae = self.model.insects_in("larva", k)
        larvae = [i for i in larvae if not (p["harvest.set_apart"] and i.kept)]
        return larvae, [i for i in larvae if i.mass >= round(p["harvest.smallest_mg"] * 1e6)]

    def worth_harvesting(self, k: int) -> bool:
        larvae, large = self.sortable(k)
        least = self.model.p["harvest.ready_share"] * len(larvae)
        return self.model.p["harvest.when"] == "by_date" or len(large) >= least

    def harvest(self, k: int) -> None:
        p = self.model.p
        _, large = self.sortable(k)
        if large:
            self.model.stocks[k].harvested = True
            self.minutes += p["labour.harvest_minutes"]
        for larva in large:
            once = p["harvest.set_apart"]
            if self.chance(larva, SORT, 0, 0 if once else None) < p["harvest.fraction"]:
                larva.die("harvest_larvae", "HARVEST_MASS")
            elif once:
                larva.kept = True

    # -- bins -----------------------------------------------------------------------------

    def lose_bins(self) -> None:
        """Mites or mould: now and then all in a bin dies and is thrown out."""
        model, p = self.model, self.model.p
        chance = 1.0 - math.exp(-p["rack.bin_loss_per_year"] / 365.0)
        for k, bin_ in enumerate(model.stocks[:-1]):
            if bin_.phase == "free" or unit(words(model.run_seed, BIN_LOSS, k, model.day)[0]) >= (
                chance
            ):
                continue
            for stage, event in LOST.items():
                for insect in model.insects_in(stage, k):
                    insect.die(event)
            self.minutes += p["labour.clear_minutes"]
            self.throw_out(k)

    def clear_spent(self) -> None:
        """Old bins are emptied; so are those that hold next to nothing any more."""
        p, model = self.model.p, self.model
        by_date = p["rack.clear_when"] == "by_date"
        for k in self.growing_by_age():
            bin_ = model.stocks[k]
            age = model.day - bin_.date_out
            if by_date and age >= p["rack.clear_after_days"]:
                self.clear(k)
            elif age > p["egg.lifetime_days"]:
                here = [i for i in model.insects if i.place == k]
                larvae = sum(i.mass for i in here if i.stage == "larva")
                spent = len(here) <= p["rack.clear_below_insects"]
                little = larvae <= round(p["rack.little_left_g"] * 1e9)
                spent |= not by_date and bin_.harvested and little
                if spent and (self.heirs(k) or not here):
                    self.clear(k)

    def heirs(self, k: int) -> list[int]:
        """Bins that can take what is left of one."""
        return [g for g in self.growing_by_age() if g != k] or self.bins("breeding")

    def clear(self, k: int, sift: bool = False) -> None:
        model = self.model
        self.minutes += model.p["labour.clear_minutes"]
        self.harvest(k)
        if model.p["pupae.isolate"]:
            self.pick_pupae(k, 1.0)
        for egg in model.insects_in("egg", k):
            egg.die("eggs_lost_handling")
        if self.bins("breeding"):
            self.join(model.insects_in("adult", k))
        heirs = self.heirs(k) or [k]
        left = [i for i in model.insects if i.place == k]
        for insect in left:
            through = sift and insect.stage == "larva" and self.is_small(insect)
            insect.place = heirs[-1] if through else heirs[0]
        self.pass_on_pace(k, heirs[0])
        self.throw_out(k)
        if heirs == [k] and left:
            self.fill(k, "growing")
            self.minutes += model.p["labour.top_up_minutes"]
            model.stocks[k].date_out = model.day
