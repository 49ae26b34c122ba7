"""Feed and water of the slow twin's keeper."""

from __future__ import annotations

import math


class TwinFeeding:
    """Fills, feeds, waters and empties the bins of a `TwinColony`.

    Attributes
    ----------
    minutes : float
        Work of the day.
    last_look : dict
        By bin: day of the last look, bran (ng) that was in it then, bran eaten a day (g).
    """

    def __init__(self, model) -> None:
        self.model = model
        self.last_move = 0
        self.minutes = 0.0
        start = round(model.p["bran.start_g"] * 1e9)
        self.last_look = {k: (0, start, 0.0) for k in range(model.tray)}
        self.to_feed: set[int] = set()

    def bins(self, phase: str) -> list[int]:
        """Places of the bins in a phase."""
        return [k for k, b in enumerate(self.model.stocks[:-1]) if b.phase == phase]

    def growing_by_age(self) -> list[int]:
        """Growing bins, the one left first in front."""
        return sorted(self.bins("growing"), key=lambda k: (self.model.stocks[k].date_out, k))

    def fill(self, k: int, phase: str) -> None:
        """Fresh bran for a new use of a bin."""
        bin_ = self.model.stocks[k]
        bin_.phase, bin_.date_in, bin_.date_out = phase, self.model.day, None
        bin_.moist = bin_.harvested = False
        self.give_bran(k, self.model.p["bran.start_g"])
        self.last_look[k] = (self.model.day, bin_.bran, 0.0)

    def throw_out(self, k: int) -> None:
        """Empty a bin of its substrate; it is free."""
        bin_ = self.model.stocks[k]
        self.model.flow("BRAN_DISCARDED", bin_.bran)
        self.model.flow("FRASS_DISCARDED", bin_.frass)
        self.model.flow("WATER_DISCARDED", bin_.moisture)
        bin_.bran = bin_.frass = bin_.moisture = bin_.skins = bin_.visible_skins = 0
        bin_.phase, bin_.date_in, bin_.date_out = "free", None, None
        bin_.moist = bin_.harvested = False

    def give_bran(self, k: int, grams: float) -> None:
        amount = round(grams * 1e9)
        self.model.stocks[k].bran += amount
        self.model.flow("BRAN_GIVEN", amount)

    def give_water(self, k: int, grams: float) -> None:
        amount = round(grams * 1e9)
        self.model.stocks[k].moisture += amount
        self.model.flow("WATER_GIVEN", amount)
        self.minutes += self.model.p["labour.moisture_minutes"]

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
        """Bran as it is eaten, or a fixed amount for bins that run short."""
        p, day = self.model.p, self.model.day
        for k, bin_ in enumerate(self.model.stocks[:-1]):
            if bin_.phase == "free":
                continue
            grams = 0.0
            if p["bran.supply"] == "fixed":
                # For bins that held eaters this morning.
                eaters = bin_.counts["larva"] + bin_.counts["adult"]
                if eaters and bin_.bran / 1e9 < p["bran.top_up_below_g"]:
                    grams = p["bran.top_up_g"]
            elif day % p["bran.round_days"] == 0 or k in self.to_feed:
                grams = self.portion(k)
            if grams > 0:
                self.give_bran(k, grams)
                self.minutes += p["labour.top_up_minutes"]
                self.last_look[k] = (self.last_look[k][0], bin_.bran, self.last_look[k][2])
        self.to_feed.clear()

    def look(self, k: int) -> float:
        """Bran eaten a day (g) since the last look, which may have been earlier today."""
        when, left, pace = self.last_look[k]
        here = self.model.stocks[k].bran
        if self.model.day > when:
            pace = max(0, left - here) / 1e9 / (self.model.day - when)
            self.last_look[k] = (self.model.day, here, pace)
        return pace

    def pass_on_pace(self, k: int, heir: int) -> None:
        """What one bin ate is eaten in another from today on, so look there today."""
        pace = self.look(k) + self.look(heir)
        self.last_look[heir] = (*self.last_look[heir][:2], pace)
        self.to_feed.add(heir)

    def portion(self, k: int) -> float:
        """Whole scoops for what will be eaten until the next round and some days beyond."""
        p = self.model.p
        pace = self.look(k)
        days = p["bran.round_days"] - self.model.day % p["bran.round_days"]
        days = min(days + p["bran.reserve_days"], self.days_to_clearing(k))
        lacking = pace * days - self.model.stocks[k].bran / 1e9
        return max(0, math.ceil(lacking / p["bran.scoop_g"])) * p["bran.scoop_g"]

    def days_to_clearing(self, k: int) -> float:
        """Days until the bin is due to be emptied, infinite if that is not known."""
        p, day, bin_ = self.model.p, self.model.day, self.model.stocks[k]
        dates = [math.inf]
        if bin_.phase == "growing":
            if p["rack.clear_when"] == "by_date":
                dates.append(bin_.date_out + p["rack.clear_after_days"])
            no_room = not self.bins("free") and p["rotation.when_no_bin_free"] == "clear_oldest"
            if no_room and p["rotation.when"] == "by_date" and k == self.growing_by_age()[0]:
                dates.append(self.last_move + p["rotation.interval_days"])
        return max(1, min(dates) - day)
