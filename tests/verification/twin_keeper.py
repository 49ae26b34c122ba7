"""The keeper of the slow twin: the handling rules, insect by insect."""

from __future__ import annotations

from .philox import unit

MOVE, GEAR, INSPECT, SORT, COLLECT, SURPLUS = range(11, 17)


class TwinKeeper:
    """Carries out the handling keys of the parameters on a `TwinColony`."""

    def __init__(self, model) -> None:
        self.model = model
        self.last_move = 0

    def work(self) -> None:
        """The day's work, in the order of the model's description."""
        p, day = self.model.p, self.model.day
        self.join(self.model.insects_in("adult", self.model.tray))
        if p["pupae.isolate"] and day % p["pupae.inspection_days"] == 0:
            self.inspect()
        if day % p["rotation.collect_days"] == 0:
            for k in self.bins("growing"):
                beetles = self.model.insects_in("adult", k)
                missed = p["rotation.missed_share"]
                self.join([b for b in beetles if self.chance(b, COLLECT, 0) >= missed])
        if day - self.last_move >= p["rotation.interval_days"]:
            self.move()
        if day % p["harvest.interval_days"] == 0:
            for k in self.bins("growing"):
                self.harvest(k)
        self.clear_spent()
        self.water()
        self.feed()

    def bins(self, phase: str) -> list[int]:
        """Places of the bins in a phase."""
        return [k for k, b in enumerate(self.model.stocks[:-1]) if b.phase == phase]

    def growing_by_age(self) -> list[int]:
        """Growing bins, the one left first in front."""
        return sorted(self.bins("growing"), key=lambda k: (self.model.stocks[k].date_out, k))

    @staticmethod
    def chance(insect, block: int, lane: int, day: int | None = None) -> float:
        """A uniform number of this insect for one decision."""
        return unit(insect.draw(block, day)[lane])

    # -- beetles --------------------------------------------------------------------------

    def join(self, beetles) -> None:
        """Beetles go to the breeding bins as far as there is room; the surplus is theirs."""
        if not beetles:
            return
        model, targets = self.model, self.bins("breeding")
        room = len(beetles)
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
            for egg in model.insects_in("egg", k):
                if self.chance(egg, GEAR, 0) < p["rotation.eggs_lost_share"]:
                    egg.die("eggs_lost_handling")
        for k in fresh:
            bin_ = model.stocks[k]
            bin_.phase, bin_.date_in, bin_.date_out = "breeding", model.day, None
            bin_.moist = False
            self.give_bran(k, p["bran.start_g"])
        self.trim(fresh)

    def fresh_bins(self, wanted: int) -> list[int]:
        free = self.bins("free")
        if not free and self.model.p["rotation.when_no_bin_free"] == "clear_oldest":
            growing = self.growing_by_age()
            if growing:
                self.clear(growing[0])
                free = self.bins("free")
        return free[:wanted]

    # -- pupae and larvae -----------------------------------------------------------------

    def inspect(self) -> None:
        breeding = [k for k in self.bins("breeding") if self.model.stocks[k].counts["pupa"]]
        for k in self.bins("growing") + breeding:
            self.pick_pupae(k, self.model.p["pupae.find_share"])

    def pick_pupae(self, k: int, find_share: float) -> None:
        for pupa in self.model.insects_in("pupa", k):
            if self.chance(pupa, INSPECT, 0) >= find_share:
                continue
            if self.chance(pupa, INSPECT, 1) < self.model.p["pupae.killed_share"]:
                pupa.die("pupae_lost_handling")
            else:
                pupa.place = self.model.tray

    def harvest(self, k: int) -> None:
        p = self.model.p
        smallest = round(p["harvest.smallest_mg"] * 1e6)
        once = p["harvest.set_apart"]
        for larva in self.model.insects_in("larva", k):
            if larva.mass < smallest or (once and larva.kept):
                continue
            if self.chance(larva, SORT, 0, 0 if once else None) < p["harvest.fraction"]:
                larva.die("harvest_larvae", "HARVEST_MASS")
            elif once:
                larva.kept = True

    # -- bins -----------------------------------------------------------------------------

    def clear_spent(self) -> None:
        """Old bins are emptied; so are those that hold next to nothing any more.

        What they hold is counted once, on the first bin that is not yet old.
        """
        p, model = self.model.p, self.model
        counted = None
        for k in self.growing_by_age():
            age = model.day - model.stocks[k].date_out
            if age >= p["rack.clear_after_days"]:
                self.clear(k)
            elif age > p["egg.lifetime_days"]:
                if counted is None:
                    counted = [0] * len(model.stocks)
                    for insect in model.insects:
                        counted[insect.place] += 1
                if counted[k] <= p["rack.clear_below_insects"]:
                    self.clear(k)

    def clear(self, k: int) -> None:
        model, bin_ = self.model, self.model.stocks[k]
        self.harvest(k)
        if model.p["pupae.isolate"]:
            self.pick_pupae(k, 1.0)
        for egg in model.insects_in("egg", k):
            egg.die("eggs_lost_handling")
        self.join(model.insects_in("adult", k))
        heirs = [g for g in self.growing_by_age() if g != k] or self.bins("breeding")
        for stage in ("larva", "pupa"):
            for insect in model.insects_in(stage, k):
                insect.place = heirs[0]
        model.flow("BRAN_DISCARDED", bin_.bran)
        model.flow("FRASS_DISCARDED", bin_.frass)
        model.flow("WATER_DISCARDED", bin_.moisture)
        bin_.bran = bin_.frass = bin_.moisture = bin_.skins = bin_.visible_skins = 0
        bin_.phase, bin_.date_in, bin_.date_out, bin_.moist = "free", None, None, False

    # -- feed and water -------------------------------------------------------------------

    def give_bran(self, k: int, grams: float) -> None:
        amount = round(grams * 1e9)
        self.model.stocks[k].bran += amount
        self.model.flow("BRAN_GIVEN", amount)

    def give_water(self, k: int, grams: float) -> None:
        amount = round(grams * 1e9)
        self.model.stocks[k].moisture += amount
        self.model.flow("WATER_GIVEN", amount)

    def water(self) -> None:
        p = self.model.p
        enough = p["moisture.visible_skins_per_dm2"] * p["rack.bin_area_dm2"]
        growing, breeding = p["moisture.growing_g_per_day"], p["moisture.breeding_g_per_day"]
        for k, bin_ in enumerate(self.model.stocks[:-1]):
            if bin_.phase == "growing" and growing > 0:
                start = p["moisture.start"]
                if start == "always" or (start == "skins" and bin_.visible_skins >= enough):
                    bin_.moist = True
                if bin_.moist:
                    self.give_water(k, growing)
            elif bin_.phase == "breeding" and breeding > 0:
                self.give_water(k, breeding)

    def feed(self) -> None:
        """Bran for bins that held eaters this morning and run short."""
        p = self.model.p
        if p["bran.top_up_g"] <= 0:
            return
        for k, bin_ in enumerate(self.model.stocks[:-1]):
            eaters = bin_.counts["larva"] + bin_.counts["adult"]
            short = bin_.bran / 1e9 < p["bran.top_up_below_g"]
            if bin_.phase != "free" and eaters and short:
                self.give_bran(k, p["bran.top_up_g"])
