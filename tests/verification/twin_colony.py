"""The slow twin of the colony: a Mesa model with one agent per insect."""

from __future__ import annotations

import math
from collections import Counter
from types import SimpleNamespace

import mesa
from numpy import float32

from . import twin_biology as bio
from .philox import normals, unit, words
from .twin_growth import LAWS
from .twin_insect import EMERGED, HATCHED, Insect
from .twin_keeper import TwinKeeper

FOUNDER, PLACE = 10, 17
STAGES = ("egg", "larva", "pupa", "adult")


class Stocks:
    """One bin: stocks in ng, counts, and the limits and hazards of the day."""

    def __init__(self, is_tray: bool) -> None:
        self.is_tray = is_tray
        self.bran = self.frass = self.moisture = 0
        self.skins = self.visible_skins = 0
        self.phase = "free"
        self.date_in: int | None = None
        self.date_out: int | None = None
        self.moist = self.harvested = False
        self.counts = dict.fromkeys(STAGES, 0)
        self.larvae_ng = self.predators_ng = self.adults_ng = 0
        self.males = 0
        self.feeding = 1.0

    def morning(self, p, room: float, law, exponent: float) -> None:
        """Temperature and limits from the census and the stocks of the morning."""
        grams, beetles = self.larvae_ng / 1e9, self.counts["adult"]
        if not self.is_tray:
            room = bio.own_heat(p, room, grams, beetles, self.feeding)
        self.rates = rates = rates_at(p, room)
        need = p["feed.water_need_per_day"] * (self.larvae_ng + self.adults_ng)
        supply = min(1.0, self.moisture / need) if need > 0 else float(self.moisture > 0)
        self.wetness = supply
        dry = p["growth.dry_share"]
        wet = dry + (1.0 - dry) * supply
        area = p["rack.bin_area_dm2"]
        cm3 = bio.substrate_cm3(p, self.bran, self.frass)
        usable = min(cm3, area * 100.0 * p["growth.usable_depth_cm"])
        if p["growth.crowding"] == "per_volume":
            crowding = math.exp(-p["growth.crowding_slope"] * (grams * 1000.0 / usable))
        else:
            crowding = math.exp(-p["growth.crowding_slope_area"] * (grams / area))
        limit = self.feeding = wet * crowding
        self.growth_share = float32(law.way(exponent, rates.larva * limit))
        self.clock_pace = rates.larva * (1.0 - p["larva.clock_sensitivity"] * (1.0 - limit))
        self.pupation = math.exp(-p["larva.contact_slope"] * self.counts["larva"] / usable)
        self.hidden = bio.hidden_share(p, beetles, cm3)
        self.asked = int(p["adult.feed_share_per_day"] * self.adults_ng)
        self.eaten = self.grown = 0

    def noon(self, p) -> None:
        """Shortage of bran, hazards and laying, once every larva has asked for its feed."""
        self.food, self.laying = 1.0, 0.0
        self.egg_by_adults = self.egg_by_larvae = 0.0
        self.pupa_by_adults = self.pupa_by_larvae = 0.0
        if self.is_tray:
            return
        if self.asked > 0:
            self.food = min(1.0, self.bran / (p["growth.bran_days"] * self.asked))
        self.feeding *= self.food
        hunger = 1.0 + p["predation.shortage_rise"] * (1.0 - self.food)
        thirst = hunger + p["predation.thirst_rise"] * (1.0 - self.wetness)
        area, adults = p["rack.bin_area_dm2"], self.counts["adult"]
        grams = self.predators_ng / 1e9
        kg = max((self.bran + self.frass) / 1e12, 0.01)
        self.egg_by_adults = thirst * (p["predation.adult_egg"] * adults / area)
        self.egg_by_larvae = hunger * (p["predation.larva_egg"] * grams / kg)
        self.pupa_by_adults = thirst * (p["predation.adult_pupa"] * adults / area)
        self.pupa_by_larvae = hunger * (p["predation.larva_pupa"] * grams / kg)
        if p["fecundity.needs_male"] and not self.males:
            return
        dry = p["fecundity.dry_share"] + (1.0 - p["fecundity.dry_share"]) * self.wetness
        crowd = math.exp(-p["fecundity.density_slope"] * adults / area)
        peak = p["fecundity.peak_eggs_per_day"]
        self.laying = peak * self.rates.laying * dry * crowd * self.food


def rates_at(p, t: float) -> SimpleNamespace:
    """What a temperature makes of every rate."""
    larva = bio.development(p, "larva", t)
    return SimpleNamespace(
        egg=bio.development(p, "egg", t),
        larva=larva,
        larva_relative=larva * p["larva.duration_days"],
        pupa=bio.development(p, "pupa", t),
        teneral=bio.ripening(p, t),
        ageing=bio.ageing(p, t),
        laying=bio.laying_by_temperature(p, t),
        viability=bio.viable_share(p, t),
        **{f"{s}_thermal": bio.thermal_death(p, s, t) for s in STAGES},
    )


class TwinColony(mesa.Model):
    """The colony once more, one object per insect.

    Parameters
    ----------
    p : Parameters
    temperatures : sequence of float
        Daily means (C).
    seed, breeders, larvae : int
    keeper : bool
        False leaves the bins to themselves.

    Attributes
    ----------
    events, flows : Counter
        Today's counts by column of the daily series, and masses (ng) by flow.
    """

    def __init__(self, p, temperatures, seed, breeders, larvae=0, keeper=True) -> None:
        super().__init__(rng=seed % 2**32)
        self.p, self.run_seed, self.day = p, seed, 0
        self.temperatures = [float(t) for t in temperatures]
        self.stocks = [Stocks(False) for _ in range(p["rack.bins"])] + [Stocks(True)]
        self.tray = p["rack.bins"]
        self.law = LAWS[p["growth.law"]]
        self.exponent = self.law.exponent(p)
        self._molts: dict[int, int] = {}
        self.events: Counter = Counter()
        self.flows: Counter = Counter()
        self.keeper = TwinKeeper(self) if keeper else None
        self._found_breeders(breeders)
        if larvae:
            self._found_larvae(larvae)
        self.census()

    @property
    def insects(self) -> list[Insect]:
        """All the living."""
        return list(self.agents_by_type.get(Insect, ()))

    def insects_in(self, stage: str, place: int) -> list[Insect]:
        """The living of one stage in one bin."""
        return [i for i in self.insects if i.stage == stage and i.place == place]

    def flow(self, name: str, ng: int) -> None:
        """Enter a mass into the books."""
        self.flows[name] += ng

    def count(self, event: str, flow: str, ng: int) -> None:
        """Enter an event and its mass into the books."""
        self.events[event] += 1
        self.flows[flow] += ng

    def bran_for(self, rates, gain, mass) -> int:
        """Bran (ng) for a gain and for the upkeep of a mass, both float32 ng."""
        p = self.p
        upkeep = p["feed.maintenance_per_day"] * rates.larva_relative
        return int(float32(p["feed.per_gain"]) * gain) + int(float32(upkeep) * mass)

    def molt_mass(self, instar: int) -> int:
        """Mass (ng) at which a larva leaves an instar."""
        if instar not in self._molts:
            self._molts[instar] = bio.molt_mass_ng(self.p, instar)
        return self._molts[instar]

    def step(self) -> None:
        """One day in the order of the model's description."""
        self.day += 1
        self.events.clear()
        self.flows.clear()
        p = self.p
        room = self.temperatures[self.day - 1]
        for bin_ in self.stocks:
            bin_.morning(p, room, self.law, self.exponent)
        today = self.insects
        for insect in today:
            if insect.stage == "larva":
                insect.plan_growth()
        for bin_ in self.stocks:
            bin_.noon(p)
        for insect in today:
            insect.live()
        for bin_ in self.stocks[:-1]:
            self._evening(bin_)
        if self.keeper is not None:
            self.keeper.work()
        self.census()

    def _evening(self, bin_: Stocks) -> None:
        """Feed and water leave the bin, frass is added."""
        p = self.p
        frass = int(p["feed.frass_share"] * bin_.eaten)
        need = p["feed.water_need_per_day"] * (bin_.larvae_ng + bin_.adults_ng)
        wanted = int(need + p["feed.water_share_of_gain"] * bin_.grown)
        drunk = min(bin_.moisture, wanted)
        dried = int(p["feed.evaporation_share"] * (bin_.moisture - drunk))
        bin_.bran -= bin_.eaten
        bin_.frass += frass
        bin_.moisture -= drunk + dried
        self.flow("BRAN_EATEN", bin_.eaten)
        self.flow("FRASS_MADE", frass)
        self.flow("WATER_DRUNK", drunk)
        self.flow("WATER_EVAPORATED", dried)

    def census(self) -> None:
        """Count the living into their bins."""
        predator = round(self.p["predation.larva_from_mg"] * 1e6)
        for bin_ in self.stocks:
            bin_.counts = dict.fromkeys(STAGES, 0)
            bin_.larvae_ng = bin_.predators_ng = bin_.adults_ng = bin_.males = 0
        for insect in self.insects:
            bin_ = insect.bin
            bin_.counts[insect.stage] += 1
            if insect.stage == "larva":
                bin_.larvae_ng += insect.mass
                bin_.predators_ng += insect.mass if insect.mass >= predator else 0
            elif insect.stage == "adult":
                bin_.adults_ng += insect.mass
                fertile = insect.size >= 1.0 and not insect.injured
                bin_.males += fertile and not insect.female

    # -- day 0 ----------------------------------------------------------------------------

    def _found_breeders(self, count: int) -> None:
        p = self.p
        home = self.stocks[0]
        home.phase, home.date_in, home.bran = "breeding", 0, round(p["bran.start_g"] * 1e9)
        mg = p["larva.mature_mass_mg"] * p["pupa.mass_share"] * p["adult.mass_share"]
        shape = p["adult.life_shape"]
        for k in range(count):
            w = words(self.run_seed, FOUNDER, k, 0)
            beetle = Insect(self, (w[0] << 32) | w[1], "adult", 0, round(mg * 1e6))
            beetle.age = 1 + math.floor(unit(w[2]) * 30)
            beetle.female = unit(w[3]) < p["adult.female_share"]
            lived = beetle.age * bio.ageing(p, self.temperatures[0])
            u = unit(beetle.draw(EMERGED, day=0)[0])
            beetle.progress = float32(lived)
            beetle.factor = float32((lived**shape - math.log(u)) ** (1.0 / shape))
            beetle.size = float32(1.0)
            beetle.tolerance = float32(beetle.new_tolerance(EMERGED, 1))

    def _found_larvae(self, count: int) -> None:
        p = self.p
        # Bins are dated by the first year, and none starts as due to be cleared.
        year = self.temperatures[:365]
        rate = sum(bio.development(p, "larva", t) for t in year) / len(year)
        longest = 0.9 * p["rack.clear_after_days"]
        period = min(1.0 / rate, longest) if rate > 0 else longest
        rungs = max(1, min(10, self.tray - 2))
        for k in range(rungs):
            bin_ = self.stocks[1 + k]
            bin_.phase, bin_.bran = "growing", round(p["bran.start_g"] * 1e9)
            bin_.date_out = -round(k * period / rungs)
            bin_.date_in = bin_.date_out - round(period / rungs)
        for k in range(count):
            w = words(self.run_seed, FOUNDER, k, 1)
            larva = Insect(self, (w[0] << 32) | w[1], "larva", 0, 0)
            clock = unit(larva.draw(PLACE, day=0)[0])
            h = larva.draw(HATCHED, day=0)
            one, other = normals(h[0], h[1])
            size = bio.size_factor(p, other)
            mg = self.law.mass(p, clock, p["larva.asymptotic_mass_mg"] * size)
            larva.mass = round(mg * 1e6)
            larva.place = 1 + min(int(clock * rungs), rungs - 1)
            larva.progress = float32(clock)
            larva.factor = float32(1.0 / bio.lognormal(one, p["larva.duration_cv"]))
            larva.size = float32(size)
            larva.tolerance = float32(larva.new_tolerance(HATCHED, 2))
            larva.age = min(int(clock * period), 65535)
            larva.female = unit(w[3]) < p["adult.female_share"]
            larva.instar = 1
            ratio, first = p["larva.molt_mass_ratio"], p["larva.hatchling_mass_mg"]
            while larva.instar <= 60 and mg >= first * ratio**larva.instar:
                larva.instar += 1
