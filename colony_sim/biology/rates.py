"""What the kernels need of the biology: constants of a run and rates of a day."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from colony_sim.biology import development, growth, reproduction, survival
from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import Pace
from colony_sim.biology.growth import Crowding
from colony_sim.biology.heat import Heat, heat
from colony_sim.biology.reproduction import Warmth
from colony_sim.biology.substrate import Refuge
from colony_sim.biology.survival import Tolerance

#: Masses are whole nanograms, so that sums do not depend on order and balances are exact.
NG_PER_MG = 1_000_000
NG_PER_G = 1_000_000_000
#: Heaviest larva that a column of 32-bit nanograms holds (4.2 g).
HEAVIEST_NG = 4.2e9
#: Slope of each kind of crowding.
_SLOPES = {
    Crowding.PER_VOLUME: "growth.crowding_slope",
    Crowding.PER_AREA: "growth.crowding_slope_area",
}


class Temper(NamedTuple):
    """What the rates of a day at a temperature are made of."""

    egg: Pace
    larva: Pace
    pupa: Pace
    teneral: Pace
    egg_bears: Tolerance
    larva_bears: Tolerance
    pupa_bears: Tolerance
    adult_bears: Tolerance
    warmth: Warmth
    life_scale: float
    life_q10: float
    life_reference_c: float
    larva_days: float


class Constants(NamedTuple):
    """Numbers that hold for a whole run (masses in ng unless named otherwise)."""

    temper: Temper
    heat: Heat
    law: int  # growth.Law
    asymptote: float
    growth_exponent: float
    egg_mass: int
    egg_cv: float
    egg_wear: np.ndarray  # float64, shape (days,), 1/d
    hatchling_mass: int
    larva_cv: float
    size_cv: float
    size_most: float  # keeps masses within their column
    critical_mass: int
    contact_slope: float
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
    needs_male: bool
    peak_eggs: float
    age_profile: np.ndarray  # float32, shape (days,)
    density_slope: float
    laying_dry_share: float
    growth_dry_share: float
    crowding: int  # growth.Crowding
    crowding_slope: float
    usable_depth_cm: float
    bran_cm3: float
    frass_cm3: float
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
    thirst_rise: float
    injured_share: float
    refuge: int  # substrate.Refuge
    reach_cm: float
    laying_depth_cm: float
    depth_rise: float
    area_dm2: float


class DayRates(NamedTuple):
    """Numbers that hold for one day at one temperature (all per day unless shares).

    The kernels hold them in the columns of one array, a row a bin, in this order.
    """

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


def _temper(p: Mapping[str, float]) -> Temper:
    return Temper(
        egg=development.stage_pace(p, "egg"),
        larva=development.stage_pace(p, "larva"),
        pupa=development.stage_pace(p, "pupa"),
        teneral=development.teneral_pace(p),
        egg_bears=survival.tolerance(p, "egg"),
        larva_bears=survival.tolerance(p, "larva"),
        pupa_bears=survival.tolerance(p, "pupa"),
        adult_bears=survival.tolerance(p, "adult"),
        warmth=reproduction.warmth(p),
        life_scale=development.life_scale_days(p),
        life_q10=p["adult.life_q10"],
        life_reference_c=p["adult.life_reference_c"],
        larva_days=p["larva.duration_days"],
    )


def largest_size(p: Mapping[str, float]) -> float:
    """Largest factor on asymptotic mass whose larva a column of 32-bit nanograms holds."""
    return HEAVIEST_NG / (p["larva.asymptotic_mass_mg"] * NG_PER_MG)


def constants(p: Mapping[str, Any]) -> Constants:
    """Constants of a run from a full set of parameters."""

    def ng(key: str) -> int:
        return round(p[key] * NG_PER_MG)

    molts = np.array(growth.molt_masses(p)) * NG_PER_MG
    crowding = Crowding[p["growth.crowding"].upper()]
    return Constants(
        temper=_temper(p),
        heat=heat(p),
        law=int(growth.growth_law(p)),
        asymptote=p["larva.asymptotic_mass_mg"] * NG_PER_MG,
        growth_exponent=growth.growth_exponent(p),
        egg_mass=ng("egg.mass_mg"),
        egg_cv=p["egg.duration_cv"],
        egg_wear=survival.egg_wear(p),
        hatchling_mass=min(ng("larva.hatchling_mass_mg"), ng("egg.mass_mg")),
        larva_cv=p["larva.duration_cv"],
        size_cv=p["larva.size_cv"],
        size_most=largest_size(p),
        critical_mass=ng("larva.critical_mass_mg"),
        contact_slope=p["larva.contact_slope"],
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
        needs_male=bool(p["fecundity.needs_male"]),
        peak_eggs=p["fecundity.peak_eggs_per_day"],
        age_profile=reproduction.age_profile(p),
        density_slope=p["fecundity.density_slope"],
        laying_dry_share=p["fecundity.dry_share"],
        growth_dry_share=p["growth.dry_share"],
        crowding=int(crowding),
        crowding_slope=p[_SLOPES[crowding]],
        usable_depth_cm=p["growth.usable_depth_cm"],
        bran_cm3=p["feed.bran_cm3_per_g"],
        frass_cm3=p["feed.frass_cm3_per_g"],
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
        thirst_rise=p["predation.thirst_rise"],
        injured_share=p["predation.injured_share"],
        refuge=int(Refuge[p["predation.refuge"].upper()]),
        reach_cm=p["predation.reach_cm"],
        laying_depth_cm=p["fecundity.laying_depth_cm"],
        depth_rise=p["fecundity.depth_rise"],
        area_dm2=p["rack.bin_area_dm2"],
    )


@kernel()
def rates_at(t: Temper, temperature_c: float) -> DayRates:
    """Rates of a day at a mean temperature (C)."""
    larva = development.rate(t.larva, temperature_c)
    return DayRates(
        development.rate(t.egg, temperature_c),
        larva,
        larva * t.larva_days,
        development.rate(t.pupa, temperature_c),
        development.rate(t.teneral, temperature_c),
        development.ageing_rate(t.life_scale, t.life_q10, t.life_reference_c, temperature_c),
        survival.thermal_hazard(t.egg_bears, temperature_c),
        survival.thermal_hazard(t.larva_bears, temperature_c),
        survival.thermal_hazard(t.pupa_bears, temperature_c),
        survival.thermal_hazard(t.adult_bears, temperature_c),
        reproduction.temperature_share(t.warmth, temperature_c),
        reproduction.viability(t.warmth, temperature_c),
    )


def day_rates(p: Mapping[str, float], temperature_c: float) -> DayRates:
    """Rates of a day at a mean temperature (C) from a full set of parameters."""
    return rates_at(_temper(p), float(temperature_c))
