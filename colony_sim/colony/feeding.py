"""Moisture and bran: when a bin gets them, and how much."""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.rates import NG_PER_G
from colony_sim.colony.binlog import Action
from colony_sim.colony.bins import Bin, Phase
from colony_sim.colony.hands import Hands
from colony_sim.colony.rack import Rack
from colony_sim.population import census


class Feeder(Hands):
    """Feeds by what can be seen: shed skins, and how far the bran fell since the last look.

    Attributes
    ----------
    last_move : int
        Day of the last move of beetles.
    """

    def __init__(self, model: Rack) -> None:
        super().__init__(model)
        self.last_move = 0
        bins = model.parameters["rack.bins"]
        start = round(model.parameters["bran.start_g"] * NG_PER_G)
        # At the last look at each bin: day, bran (ng) left in it, and g of bran eaten a day.
        self._looked = np.zeros(bins, np.int64)
        self._left = np.full(bins, start, np.int64)
        self._pace = np.zeros(bins, np.float64)
        self._look_today: set[int] = set()

    # -- moisture -----------------------------------------------------------------------

    def _give_moisture(self) -> None:
        model, p = self.model, self.model.parameters
        start = p["moisture.start"]
        seen_from = p["moisture.visible_skins_per_dm2"] * p["rack.bin_area_dm2"]
        for bin_ in model.bins:
            if bin_.phase is Phase.GROWING and p["moisture.growing_g_per_day"] > 0:
                due = start == "always" or (start == "skins" and bin_.visible_skins >= seen_from)
                if due and not bin_.moist:
                    bin_.moist = True
                    seen = f"{bin_.visible_skins} skins seen"
                    self._log(bin_, Action.MOISTURE_STARTED, note=seen)
                if bin_.moist:
                    model.give_moisture(bin_, p["moisture.growing_g_per_day"])
                    self.minutes += p["labour.moisture_minutes"]
            elif bin_.phase is Phase.BREEDING and p["moisture.breeding_g_per_day"] > 0:
                model.give_moisture(bin_, p["moisture.breeding_g_per_day"])
                self.minutes += p["labour.moisture_minutes"]

    # -- bran ---------------------------------------------------------------------------

    def _fill(self, bin_: Bin, phase: Phase) -> None:
        """Put fresh bran into a bin for its next use."""
        model, i = self.model, bin_.index
        bin_.phase = phase
        bin_.date_in, bin_.date_out = model.day, None
        bin_.moist = bin_.harvested = False
        model.give_bran(bin_, model.parameters["bran.start_g"])
        self._looked[i], self._left[i] = model.day, model.substrate.bran[i]
        self._pace[i] = 0.0

    def _top_up(self) -> None:
        """Give bran by `bran.supply`."""
        model, p = self.model, self.model.parameters
        today, self._look_today = self._look_today, set()
        as_eaten = p["bran.supply"] == "as_eaten"
        everywhere = not as_eaten or model.day % p["bran.round_days"] == 0
        for bin_ in model.bins:
            if bin_.phase is Phase.FREE or not (everywhere or bin_.index in today):
                continue
            grams = self._as_eaten_g(bin_) if as_eaten else self._fixed_g(bin_)
            if grams > 0:
                model.give_bran(bin_, grams)
                self._left[bin_.index] = model.substrate.bran[bin_.index]
                self._log(bin_, Action.BRAN_ADDED, p["labour.top_up_minutes"], grams=grams)

    def _fixed_g(self, bin_: Bin) -> float:
        """One and the same amount (g) for a bin with eaters that runs low."""
        p = self.model.parameters
        if bin_.bran_g >= p["bran.top_up_below_g"]:
            return 0.0
        eaters = self.model.table[bin_.index, [census.LARVAE, census.ADULTS]].sum()
        return p["bran.top_up_g"] if eaters else 0.0

    def _as_eaten_g(self, bin_: Bin) -> float:
        """Whole scoops (g) for what the bin will eat until the next round, with a reserve.

        Reckoned at what it ate a day since the last look. A bin that is cleared before gets no
        more than it will eat until then.
        """
        p, i = self.model.parameters, bin_.index
        self._look(bin_)
        days = p["bran.round_days"] - self.model.day % p["bran.round_days"]
        days = min(days + p["bran.reserve_days"], self._days_left(bin_))
        lacking = float(self._pace[i]) * days - bin_.bran_g
        return max(0, math.ceil(lacking / p["bran.scoop_g"])) * p["bran.scoop_g"]

    def _look(self, bin_: Bin) -> None:
        """See how far the bran has fallen since the last look, once a day."""
        day, i = self.model.day, bin_.index
        here = int(self.model.substrate.bran[i])
        if day > self._looked[i]:
            eaten = max(0, int(self._left[i]) - here)
            self._pace[i] = eaten / NG_PER_G / int(day - self._looked[i])
            self._looked[i], self._left[i] = day, here

    def _join_pace(self, source: Bin, heir: Bin) -> None:
        """The insects of one bin go on in another, which will eat faster from today on."""
        self._look(source)
        self._look(heir)
        self._pace[heir.index] += self._pace[source.index]
        self._look_today.add(heir.index)

    def _days_left(self, bin_: Bin) -> float:
        """Days until a bin is cleared by its date, as far as the keeper knows it."""
        p, day = self.model.parameters, self.model.day
        left = math.inf
        if bin_.phase is not Phase.GROWING:
            return left
        if p["rack.clear_when"] == "by_date":
            left = p["rack.clear_after_days"] - bin_.age
        makes_room = (
            p["rotation.when"] == "by_date"
            and p["rotation.when_no_bin_free"] == "clear_oldest"
            and not self._bins(Phase.FREE)
            and self._by_age()[0] is bin_
        )
        if makes_room:
            left = min(left, self.last_move + p["rotation.interval_days"] - day)
        return max(1, left)
