"""What the kernels need of the biology: constants of a run and rates of a day."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from colony_sim.biology import development, growth, reproduction, survival

#: Masses are whole nanograms, so that sums do not depend on order and balances are exact.
NG_PER_MG = 1_000_000
NG_PER_G = 1_000_000_000
#: Fourth root of the heaviest larva that a column of 32-bit nanograms holds (4.2 g).
HEAVIEST_ROOT = 4.2e9**0.25


class Constants(NamedTuple):
    """Numbers that hold for a whole run (masses in ng unless named otherwise)."""

    egg_mass: int
    egg_cv: float
    egg_longest_days: float
    hatchling_mass: int
    asymptote_root: float  # fourth root of asymptotic mass in ng
    growth_exponent: float
    larva_cv: float
    size_cv: float
    size_most: float  # keeps masses within their column
    critical_mass: int
    molt_mass: np.ndarray  # uint32, shape (instars,)
    exuvia_share: float
    visible_mass: int
    young_mass: int
    young_hazard: float
    larva_hazard: float
    starvation_hazard: float
    clock_sensitivity: float
    pupa_cv: float
    pupa_hazard: float
    pupa_mass_share: float
    adult_mass_share: float
    adult_hazard: float
    life_shape: float
    female_share: float
    peak_eggs: float
    age_profile: np.ndarray  # float32, shape (days,)
    density_slope: float
    laying_dry_share: float
    growth_dry_share: float
    crowding_slope: float
    bran_days: float
    per_gain: float
    maintenance: float
    adult_feed: float
    frass_share: float
    water_share_of_gain: float
    water_need: float
    evaporation_share: float
    adult_egg: float
    adult_pupa: float
    larva_egg: float
    larva_pupa: float
    predator_mass: int
    shortage_rise: float
    injured_share: float
    area_dm2: float


class DayRates(NamedTuple):
    """Numbers that hold for one day at one temperature (all per day unless shares)."""

    egg: float
    larva: float
    larva_relative: float  # larval rate over the rate at larva.reference_c
    pupa: float
    teneral: float
    ageing: float
    egg_thermal: float
    larva_thermal: float
    pupa_thermal: float
    adult_thermal: float
    laying: float
    viability: float


def constants(p: Mapping[str, float]) -> Constants:
    """Constants of a run from a full set of parameters."""

    def ng(key: str) -> int:
        return round(p[key] * NG_PER_MG)

    molts = np.array(growth.molt_masses(p)) * NG_PER_MG
    return Constants(
        egg_mass=ng("egg.mass_mg"),
        egg_cv=p["egg.duration_cv"],
        egg_longest_days=p["egg.longest_days"],
        hatchling_mass=min(ng("larva.hatchling_mass_mg"), ng("egg.mass_mg")),
        asymptote_root=development.fourth_root(p["larva.asymptotic_mass_mg"] * NG_PER_MG),
        growth_exponent=growth.growth_exponent(p),
        larva_cv=p["larva.duration_cv"],
        size_cv=p["larva.size_cv"],
        size_most=HEAVIEST_ROOT
        / development.fourth_root(p["larva.asymptotic_mass_mg"] * NG_PER_MG),
        critical_mass=ng("larva.critical_mass_mg"),
        molt_mass=np.minimum(molts, 2**32 - 1).astype(np.uint32),
        exuvia_share=p["larva.exuvia_share"],
        visible_mass=ng("moisture.visible_from_mg"),
        young_mass=ng("larva.young_below_mg"),
        young_hazard=p["larva.young_hazard_per_day"],
        larva_hazard=p["larva.hazard_per_day"],
        starvation_hazard=p["larva.starvation_hazard_per_day"],
        clock_sensitivity=p["larva.clock_sensitivity"],
        pupa_cv=p["pupa.duration_cv"],
        pupa_hazard=p["pupa.hazard_per_day"],
        pupa_mass_share=p["pupa.mass_share"],
        adult_mass_share=p["adult.mass_share"],
        adult_hazard=p["adult.hazard_per_day"],
        life_shape=p["adult.life_shape"],
        female_share=p["adult.female_share"],
        peak_eggs=p["fecundity.peak_eggs_per_day"],
        age_profile=reproduction.age_profile(p),
        density_slope=p["fecundity.density_slope"],
        laying_dry_share=p["fecundity.dry_share"],
        growth_dry_share=p["growth.dry_share"],
        crowding_slope=p["growth.crowding_slope"],
        bran_days=p["growth.bran_days"],
        per_gain=p["feed.per_gain"],
        maintenance=p["feed.maintenance_per_day"],
        adult_feed=p["adult.feed_share_per_day"],
        frass_share=p["feed.frass_share"],
        water_share_of_gain=p["feed.water_share_of_gain"],
        water_need=p["feed.water_need_per_day"],
        evaporation_share=p["feed.evaporation_share"],
        adult_egg=p["predation.adult_egg"],
        adult_pupa=p["predation.adult_pupa"],
        larva_egg=p["predation.larva_egg"],
        larva_pupa=p["predation.larva_pupa"],
        predator_mass=ng("predation.larva_from_mg"),
        shortage_rise=p["predation.shortage_rise"],
        injured_share=p["predation.injured_share"],
        area_dm2=p["rack.bin_area_dm2"],
    )


def day_rates(p: Mapping[str, float], temperature_c: float) -> DayRates:
    """Rates of a day at a mean temperature (C)."""
    larva = development.stage_rate(p, "larva", temperature_c)
    return DayRates(
        egg=development.stage_rate(p, "egg", temperature_c),
        larva=larva,
        larva_relative=larva * p["larva.duration_days"],
        pupa=development.stage_rate(p, "pupa", temperature_c),
        teneral=development.teneral_rate(p, temperature_c),
        ageing=development.ageing_rate(p, temperature_c),
        egg_thermal=survival.thermal_hazard(p, "egg", temperature_c),
        larva_thermal=survival.thermal_hazard(p, "larva", temperature_c),
        pupa_thermal=survival.thermal_hazard(p, "pupa", temperature_c),
        adult_thermal=survival.thermal_hazard(p, "adult", temperature_c),
        laying=reproduction.temperature_share(p, temperature_c),
        viability=reproduction.viability(p, temperature_c),
    )
