"""The simple colony in this engine: its own day, with every process that is not wanted at rest."""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.development import briere
from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import constants, rates_at
from colony_sim.population import census, kernels
from colony_sim.population.insects import IS_ADULT, IS_DEAD, Flag, Insects
from colony_sim.population.ledger import Event, Flow
from colony_sim.population.substrate import Substrate

_T = 25.0
_PLENTY = 10**17
#: Of the invented insect, at 25 C (d).
_DAYS = {"egg": 5.0, "larva": 20.0, "pupa": 5.0, "teneral": 1e-6}
_LIFE_DAYS = 15.0
#: Adults in a settled colony of one insect.
_ADULTS = 0.29
_LOST = [e for e in Event if e.name.startswith(("EGG_EATEN", "EGG_UNH", "LARVA_D", "PUPA_D"))]
_LOST += [Event.ADULT_DIED_AGE, Event.ADULT_DIED_BACKGROUND]
#: Rows that may be dead before they are dropped, as in a colony.
_DEAD_SHARE = 0.15


def simple(size: int):
    """Constants of the simple colony that settles near `size` insects."""
    c = constants(Parameters.default())
    temper = c.temper
    for stage, days in _DAYS.items():
        pace = getattr(temper, stage)
        scale = 1.0 / (days * briere(_T, pace.lower_c, pace.upper_c))
        temper = temper._replace(**{stage: pace._replace(scale=scale)})
    life = _LIFE_DAYS / math.gamma(1.0 + 1.0 / c.life_shape)
    return c._replace(
        temper=temper._replace(life_scale=life, life_q10=1.0),
        heat=c.heat._replace(own=False),
        egg_wear=np.zeros(1), age_profile=np.ones(1, np.float32),
        critical_mass=0, contact_slope=0.0, clock_sensitivity=0.0, crowding_slope=0.0,
        young_hazard=0.01, larva_hazard=0.01, pupa_hazard=0.02, adult_hazard=0.02,
        starvation_hazard=0.0, peak_eggs=0.5, density_slope=0.0, needs_male=False,
        water_need=0.0, water_share_of_gain=0.0, evaporation_share=0.0,
        adult_egg=0.15, adult_pupa=0.0, larva_egg=0.0, larva_pupa=0.0,
        shortage_rise=0.0, thirst_rise=0.0, refuge=0, area_dm2=_ADULTS * size,
    )  # fmt: skip


def rules(size: int) -> dict[str, float]:
    """The same as numbers for a peer (rates and hazards a day)."""
    c = simple(size)
    today = rates_at(c.temper, _T)
    return {
        "egg_rate": today.egg, "larva_rate": today.larva, "pupa_rate": today.pupa,
        "age_rate": today.ageing, "egg_hazard": today.egg_thermal,
        "eaten": c.adult_egg / c.area_dm2, "larva_hazard": c.larva_hazard + today.larva_thermal,
        "pupa_hazard": c.pupa_hazard + today.pupa_thermal,
        "adult_hazard": c.adult_hazard + today.adult_thermal, "viable": today.viability,
        "eggs": c.peak_eggs * today.laying, "egg_cv": c.egg_cv, "larva_cv": c.larva_cv,
        "pupa_cv": c.pupa_cv, "life_shape": c.life_shape, "female_share": c.female_share,
        "size": size,
    }  # fmt: skip


class Colony:
    """Insects and the one bin they live in."""

    def __init__(self, state, rules, seed):
        size = len(state["stage"])
        self.c = simple(rules["size"])
        if "eaten_times" in rules:
            self.c = self.c._replace(adult_egg=self.c.adult_egg * rules["eaten_times"])
        rng = np.random.default_rng(seed)
        self.insects = Insects(size + 1024)
        self.insects.append(
            size,
            ident=rng.integers(0, 2**64, size, np.uint64),
            tolerance=rng.standard_exponential(size, np.float32),
            flags=Flag.FEMALE * state["female"].astype(np.uint8)
            | Flag.VIABLE * (rng.random(size) < rules["viable"]).astype(np.uint8),
            mass=np.full(size, self.c.hatchling_mass),
            size=np.ones(size, np.float32),
            tally=(state["stage"] == 2).astype(np.uint16),
            **{name: state[name] for name in ("stage", "progress", "factor")},
        )
        self.substrate = Substrate(1)
        self.substrate.bran[0] = self.substrate.moisture[0] = _PLENTY
        self.seed, self.day = seed, 0
        self.events = np.zeros((2, len(Event)), np.int64)
        self.flows = np.zeros(len(Flow), np.int64)

    def step(self):
        """A day, its census and the room of the dead as in a colony."""
        self.day += 1
        table = census.count(self.insects, 2, self.c.predator_mass)
        kernels.step(
            self.c, _T, self.seed, self.day, self.insects, self.substrate, table, self.events,
            self.flows,
        )  # fmt: skip
        living = int(table[:, :4].sum())
        if self.insects.n - living > _DEAD_SHARE * self.insects.n:
            self.insects.compact()

    def counts(self):
        """Insects by stage."""
        return np.bincount(self.insects.view("stage"), minlength=5)[1:].tolist()

    @property
    def births(self):
        """Eggs laid so far."""
        return self.events[:, Event.EGG_LAID].sum()

    @property
    def deaths(self):
        """Insects lost so far."""
        return self.events[:, _LOST].sum()


def build(state, rules, seed, days):
    """A colony as `part` wants it."""
    return Colony(state, rules, seed)


def settled(size: int, path: str) -> list[int]:
    """Write what lives in the colony of a size after some generations; its counts."""
    rng = np.random.default_rng(1)
    adults = int(_ADULTS * size)
    founders = {
        "stage": np.full(adults, IS_ADULT, np.uint8), "progress": np.zeros(adults, np.float32),
        "factor": rng.weibull(simple(size).life_shape, adults).astype(np.float32),
        "female": rng.random(adults) < 0.5,
    }  # fmt: skip
    colony = Colony(founders, rules(size), 1)
    for _ in range(400):
        colony.step()
    living = colony.insects.view("stage") != IS_DEAD
    columns = {name: colony.insects.view(name)[living] for name in ("stage", "progress", "factor")}
    np.savez(path, **columns, female=(colony.insects.view("flags")[living] & Flag.FEMALE) != 0)
    return colony.counts()
