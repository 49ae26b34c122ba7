"""One insect of the slow twin: a plain Mesa agent that lives its day in readable steps.

Fields that the fast engine keeps in single precision are rounded to single precision here
as well, at the same points; everything else is Python's double precision. Masses are whole
nanograms.
"""

from __future__ import annotations

import math

import mesa
from numpy import float32

from . import twin_biology as bio
from .philox import normals, poisson, unit, words

# Blocks of keyed draws, by the table in the documentation of the model.
EGG_FATE, LARVA_FATE, PUPA_FATE, ADULT_FATE, LAID, HATCHED, PUPATED, EMERGED, LINEAGE = range(1, 10)
ONE = float32(1.0)
OLDEST_AGE_OF_LAYING = 1000
MOST_INSTARS = 60
MOST_EGGS = 65535


class Insect(mesa.Agent):
    """An egg, larva, pupa or adult."""

    def __init__(self, model, ident: int, stage: str, place: int, mass: int) -> None:
        super().__init__(model)
        self.ident = ident
        self.stage = stage
        self.place = place
        self.mass = mass
        self.progress = float32(0.0)
        self.factor = float32(1.0)
        self.size = float32(0.0)
        self.tolerance = float32(0.0)
        self.age = 0
        self.eggs = 0
        self.instar = 0
        self.female = False
        self.viable = False
        self.out_of_reach = False
        self.injured = False
        self.kept = False
        self.planned_gain = 0

    @property
    def rates(self):
        """Rates at the temperature of its bin today."""
        return self.bin.rates

    @property
    def bin(self):
        """Stocks and limits of the bin it is in."""
        return self.model.stocks[self.place]

    def draw(self, block: int, day: int | None = None) -> tuple[int, ...]:
        """The four words of this insect for a process, today or on a given day."""
        return words(self.model.run_seed, block, self.ident, self.model.day if day is None else day)

    def new_tolerance(self, block: int, lane: int) -> float:
        """Hazard that it withstands from now on: exponential with mean 1."""
        return -math.log(unit(self.draw(block, day=0)[lane]))

    def die(self, event: str, flow: str = "DEAD_MASS") -> None:
        """Leave the model and the books."""
        self.model.count(event, flow, self.mass)
        self.remove()

    def live(self) -> None:
        """One day."""
        self.age = min(self.age + 1, 65535)
        getattr(self, f"live_as_{self.stage}")()

    # -- egg ------------------------------------------------------------------------------

    def live_as_egg(self) -> None:
        pace = float32(self.rates.egg) * self.factor
        done, now = math.inf, self.progress + pace
        if now >= ONE:
            done = min(max(0.0, (1.0 - float(self.progress)) / float(pace)), 1.0)
        hazard = float32(sum(self.egg_threats().values()))
        if self.tolerance < hazard and float(self.tolerance) / float(hazard) < done:
            self.die(self.egg_fate())
        elif now < ONE:
            self.tolerance -= hazard
            self.progress = now
        elif not self.viable:
            self.die("eggs_unhatched")
        else:
            self.hatch(1.0 - done)

    def egg_threats(self) -> dict[str, float]:
        """Hazard by the event of each death an egg may meet today."""
        own = self.rates.egg_thermal + bio.egg_wear(self.model.p, self.age)
        by_adults = 0.0 if self.out_of_reach else self.bin.egg_by_adults
        return {
            "eggs_unhatched": own,
            "eggs_eaten_larvae": self.bin.egg_by_larvae,
            "eggs_eaten_adults": by_adults,
        }

    def egg_fate(self) -> str:
        """The cause of death of an egg that falls today, in proportion to the hazards."""
        threats = self.egg_threats()
        own, adults = threats["eggs_unhatched"], threats["eggs_eaten_adults"]
        u = unit(self.draw(EGG_FATE, day=0)[1]) * (own + adults + threats["eggs_eaten_larvae"])
        if u < own:
            return "eggs_unhatched"
        return "eggs_eaten_adults" if u < own + adults else "eggs_eaten_larvae"

    def hatch(self, rest_of_day: float) -> None:
        p = self.model.p
        hatchling = min(round(p["larva.hatchling_mass_mg"] * 1e6), self.mass)
        self.model.count("eggs_hatched", "HATCHING_LOSS", self.mass - hatchling)
        self.stage, self.age, self.instar, self.mass = "larva", 0, 1, hatchling
        w = self.draw(HATCHED, day=0)
        one, other = normals(w[0], w[1])
        self.factor = float32(1.0 / bio.lognormal(one, p["larva.duration_cv"]))
        self.size = float32(bio.size_factor(p, other))
        pace = self.bin.clock_pace * self.bin.food
        self.progress = float32(rest_of_day * pace) * self.factor
        self.tolerance = float32(self.new_tolerance(HATCHED, 2))

    # -- larva ----------------------------------------------------------------------------

    def plan_growth(self) -> None:
        """What it would gain today with bran in plenty, and the bran it asks for."""
        top = float32(self.model.p["larva.asymptotic_mass_mg"] * 1e6) * self.size
        gain = self.model.law.gain(self.mass, top, self.bin.growth_share * self.factor)
        gain = max(float32(0.0), gain)
        self.planned_gain = int(gain)
        self.bin.asked += self.model.bran_for(self.rates, gain, float32(self.mass))

    def live_as_larva(self) -> None:
        p, today, home = self.model.p, self.rates, self.bin
        hazard = p["larva.starvation_hazard_per_day"] * (1.0 - home.food) + today.larva_thermal
        young = self.mass < round(p["larva.young_below_mg"] * 1e6)
        own = p["larva.young_hazard_per_day"] if young else p["larva.hazard_per_day"]
        self.tolerance -= float32(own + hazard)
        if self.tolerance < 0:
            self.die("larvae_died")
            return
        self.eat_and_grow()
        self.molt()
        pace = float32(home.clock_pace * home.food) * self.factor
        before = self.progress
        self.progress = before + pace
        ripe = self.progress >= ONE and self.mass >= round(p["larva.critical_mass_mg"] * 1e6)
        if ripe and self.draw(LARVA_FATE)[0] < int(home.pupation * 2.0**32):
            self.pupate(float(self.progress - ONE) / float(pace) if before < ONE else 0.0)

    def eat_and_grow(self) -> None:
        home = self.bin
        gain = self.planned_gain
        bran = self.model.bran_for(self.rates, float32(gain), float32(self.mass))
        if home.food < 1.0:
            gain = int(gain * home.food)
            bran = int(bran * home.food)
        self.mass += gain
        home.eaten += bran
        home.grown += gain
        self.model.flow("GAIN", gain)

    def molt(self) -> None:
        p, home = self.model.p, self.bin
        while self.instar <= MOST_INSTARS and self.mass >= self.model.molt_mass(self.instar):
            self.instar += 1
            home.skins += 1
            if self.mass >= round(p["moisture.visible_from_mg"] * 1e6):
                home.visible_skins += 1
            self.model.flow("SKIN_MASS", int(p["larva.exuvia_share"] * self.mass))

    def pupate(self, rest_of_day: float) -> None:
        p = self.model.p
        new = int(self.mass * p["pupa.mass_share"])
        self.model.count("pupae_formed", "PUPATION_LOSS", self.mass - new)
        self.stage, self.age, self.mass = "pupa", 0, new
        w = self.draw(PUPATED, day=0)
        self.factor = float32(1.0 / bio.lognormal(normals(w[0], w[1])[0], p["pupa.duration_cv"]))
        self.progress = float32(rest_of_day * self.rates.pupa) * self.factor
        self.tolerance = float32(self.new_tolerance(PUPATED, 2))

    # -- pupa -----------------------------------------------------------------------------

    def live_as_pupa(self) -> None:
        p, today = self.model.p, self.rates
        pace = today.pupa * float(self.factor)
        done = (1.0 - float(self.progress)) / pace if pace > 0 else math.inf
        fate = self.pupa_fate(p["pupa.hazard_per_day"] + today.pupa_thermal, min(done, 1.0))
        if fate:
            self.die(fate)
        elif done > 1.0:
            self.progress = float32(float(self.progress) + pace)
        else:
            self.emerge(1.0 - done)

    def pupa_fate(self, own: float, until: float) -> str:
        """The death that a pupa meets before a time of the day; an attack may only hurt it."""
        home, now = self.bin, 0.0
        hazard = own + home.pupa_by_adults + home.pupa_by_larvae
        while float(self.tolerance) < hazard * (until - now):
            w = self.draw(PUPA_FATE, day=int(self.injured))
            u = unit(w[1]) * hazard
            if u < own:
                return "pupae_died"
            if self.injured or unit(w[2]) >= self.model.p["predation.injured_share"]:
                by_adults = u < own + home.pupa_by_adults
                return "pupae_eaten_adults" if by_adults else "pupae_eaten_larvae"
            now += float(self.tolerance) / hazard
            self.injured = True
            self.tolerance = float32(self.new_tolerance(PUPA_FATE, 0))
        self.tolerance = float32(float(self.tolerance) - hazard * (until - now))
        return ""

    def emerge(self, rest_of_day: float) -> None:
        p, today = self.model.p, self.rates
        new = int(self.mass * p["adult.mass_share"])
        event = "pupae_injured" if self.injured else "adults_emerged"
        self.model.count(event, "EMERGENCE_LOSS", self.mass - new)
        self.stage, self.age, self.eggs, self.mass = "adult", 0, 0, new
        u = unit(self.draw(EMERGED, day=0)[0])
        self.factor = float32(bio.weibull(u, p["adult.life_shape"]))
        self.progress = float32(rest_of_day * today.ageing)
        self.size = float32(rest_of_day * today.teneral)
        self.tolerance = float32(self.new_tolerance(EMERGED, 1))

    # -- adult ----------------------------------------------------------------------------

    def live_as_adult(self) -> None:
        p, today, home = self.model.p, self.rates, self.bin
        self.progress = self.progress + float32(today.ageing)
        old = self.progress >= self.factor
        hazard = float32(p["adult.hazard_per_day"] + today.adult_thermal)
        if old or self.tolerance < hazard:
            self.die("adults_died_age" if old else "adults_died_background")
            return
        self.tolerance -= hazard
        if not home.is_tray:
            home.eaten += int(p["adult.feed_share_per_day"] * self.mass * home.food)
        if self.size < ONE:
            self.size = self.size + float32(today.teneral)
        elif self.female and not self.injured and home.laying > 0:
            age = min(int(float(self.progress) * bio.life_scale(p)), OLDEST_AGE_OF_LAYING)
            mean = home.laying * float(float32(bio.laying_by_age(p, age)))
            u = unit(self.draw(ADULT_FATE)[0])
            for _ in range(min(poisson(u, mean), MOST_EGGS - self.eggs)):
                self.lay()

    def lay(self) -> None:
        p, model = self.model.p, self.model
        a, b, _, _ = words(model.run_seed, LINEAGE, self.ident, self.eggs)
        self.eggs += 1
        egg = Insect(model, (a << 32) | b, "egg", self.place, round(p["egg.mass_mg"] * 1e6))
        w = egg.draw(LAID, day=0)
        egg.female = unit(w[0]) < p["adult.female_share"]
        egg.viable = unit(w[1]) < self.rates.viability
        egg.factor = float32(1.0 / bio.lognormal(normals(w[2], w[3])[0], p["egg.duration_cv"]))
        model.count("eggs_laid", "EGG_MASS", egg.mass)
        # Laid at its own time; for the rest of the day it develops and is exposed.
        w = egg.draw(EGG_FATE, day=0)
        rest = unit(w[2])
        egg.progress = float32(rest * self.rates.egg) * egg.factor
        egg.out_of_reach = unit(w[3]) < self.bin.hidden
        hazard = float32(sum(egg.egg_threats().values()))
        left = egg.new_tolerance(EGG_FATE, 0) - rest * float(hazard)
        egg.tolerance = float32(left)
        if left < 0.0:
            egg.die(egg.egg_fate())
