"""Short plain names, and units as they are printed."""

from __future__ import annotations

import numpy as np

from colony_sim.experiment.design import entry

LABELS = {
    "start.breeders": "founder beetles",
    "start.larvae": "founder larvae",
    "egg.duration_days": "time to hatch",
    "egg.reference_c": "reference temperature of eggs",
    "egg.lower_c": "lower limit of egg development",
    "egg.upper_c": "upper limit of egg development",
    "egg.duration_cv": "spread of time to hatch",
    "egg.viable_share": "share of eggs that can hatch",
    "egg.viability_full_c": "egg viability full up to",
    "egg.viability_none_c": "egg viability none from",
    "egg.lifetime_days": "how long an egg can hatch",
    "egg.lifetime_shape": "suddenness of eggs growing stale",
    "egg.lethal_low_c": "eggs killed by cold below",
    "egg.lethal_high_c": "eggs killed by heat above",
    "egg.mass_mg": "mass of an egg",
    "larva.duration_days": "larval period",
    "larva.reference_c": "reference temperature of larvae",
    "larva.lower_c": "lower limit of larval growth",
    "larva.upper_c": "upper limit of larval growth",
    "larva.duration_cv": "spread of larval pace",
    "larva.size_cv": "spread of larval size",
    "larva.hatchling_mass_mg": "mass at hatching",
    "larva.mature_mass_mg": "mass of a mature larva",
    "larva.asymptotic_mass_mg": "asymptotic mass of a larva",
    "larva.critical_mass_mg": "least mass to pupate",
    "larva.contact_slope": "contact that delays pupation",
    "larva.molt_mass_ratio": "growth from molt to molt",
    "larva.exuvia_share": "shed skin, share of mass",
    "larva.hazard_per_day": "death rate of larvae",
    "larva.young_hazard_per_day": "death rate of young larvae",
    "larva.young_below_mg": "larvae count as young below",
    "larva.starvation_hazard_per_day": "death rate without bran",
    "larva.clock_sensitivity": "slowing of the clock by stress",
    "larva.lethal_low_c": "larvae killed by cold below",
    "larva.lethal_high_c": "larvae killed by heat above",
    "pupa.duration_days": "pupal period",
    "pupa.reference_c": "reference temperature of pupae",
    "pupa.lower_c": "lower limit of pupal development",
    "pupa.upper_c": "upper limit of pupal development",
    "pupa.duration_cv": "spread of the pupal period",
    "pupa.hazard_per_day": "death rate of pupae",
    "pupa.mass_share": "mass of a pupa, share of larva",
    "pupa.lethal_low_c": "pupae killed by cold below",
    "pupa.lethal_high_c": "pupae killed by heat above",
    "adult.teneral_days": "time from emergence to laying",
    "adult.teneral_reference_c": "reference temp. of that time",
    "adult.life_mean_days": "mean life of a beetle",
    "adult.life_shape": "shape of beetle ageing",
    "adult.life_reference_c": "reference temperature of ageing",
    "adult.life_q10": "ageing, factor for 10 degrees",
    "adult.hazard_per_day": "background death rate of beetles",
    "adult.female_share": "share of females",
    "adult.mass_share": "mass of a beetle, share of pupa",
    "adult.feed_share_per_day": "bran eaten by beetles",
    "adult.lethal_low_c": "beetles killed by cold below",
    "adult.lethal_high_c": "beetles killed by heat above",
    "survival.heat_scale_k": "degrees that make heat deadlier",
    "survival.cold_scale_k": "degrees that make cold deadlier",
    "fecundity.peak_eggs_per_day": "eggs laid at best",
    "fecundity.full_from_days": "age at which laying is full",
    "fecundity.full_until_days": "age at which laying declines",
    "fecundity.decline_per_day": "decline of laying with age",
    "fecundity.density_slope": "loss of laying by crowding",
    "fecundity.laying_depth_cm": "depth of eggs",
    "fecundity.depth_rise": "deeper eggs among more beetles",
    "fecundity.needs_male": "females need a male",
    "fecundity.lower_c": "no laying below",
    "fecundity.full_from_c": "full laying from",
    "fecundity.full_until_c": "full laying up to",
    "fecundity.upper_c": "no laying above",
    "fecundity.dry_share": "laying without moisture",
    "growth.dry_share": "growth without moisture",
    "growth.crowding_slope": "loss of growth by crowding",
    "growth.crowding_slope_area": "loss of growth by larvae per area",
    "growth.crowding": "what larvae crowd in",
    "growth.usable_depth_cm": "depth that larvae use",
    "growth.law": "growth law",
    "growth.bran_days": "bran left that slows eating",
    "feed.per_gain": "bran eaten per gain",
    "feed.maintenance_per_day": "bran eaten for upkeep",
    "feed.frass_share": "share of bran that leaves as frass",
    "feed.water_share_of_gain": "water in fresh gain",
    "feed.water_need_per_day": "moisture drunk a day",
    "feed.evaporation_share": "moisture lost to the air",
    "feed.bran_cm3_per_g": "bulk volume of bran",
    "feed.frass_cm3_per_g": "bulk volume of frass",
    "heat.own": "larvae warm their bin",
    "heat.fed_mw_per_g": "heat of feeding larvae",
    "heat.unfed_mw_per_g": "heat of larvae that fast",
    "heat.adult_mw": "heat of a beetle",
    "heat.reference_c": "reference temperature of heat",
    "heat.loss_w_per_m2_k": "heat lost by a bin",
    "predation.adult_egg": "egg eating by beetles",
    "predation.adult_pupa": "attacks of beetles on pupae",
    "predation.larva_egg": "egg eating by larvae",
    "predation.larva_pupa": "attacks of larvae on pupae",
    "predation.larva_from_mg": "larvae eat eggs from",
    "predation.shortage_rise": "rise of eating without bran",
    "predation.thirst_rise": "rise of eating without moisture",
    "predation.refuge": "eggs safe from beetles",
    "predation.reach_cm": "depth that beetles reach",
    "predation.injured_share": "attacks that only injure",
    "rotation.when": "when beetles are moved",
    "rotation.eggs_per_dm2": "eggs that move the beetles",
    "rotation.larvae_per_dm2": "larvae that move the beetles",
    "rotation.interval_days": "days between moves of beetles",
    "rotation.missed_share": "beetles missed at a move",
    "rotation.injured_share": "beetles hurt at a move",
    "rotation.killed_share": "beetles killed at a move",
    "rotation.eggs_lost_share": "eggs lost at a move",
    "rotation.remove_dead": "dead beetles taken out",
    "rotation.collect_days": "days between pickings of beetles",
    "rotation.most_breeders_per_bin": "most beetles per bin",
    "rotation.surplus": "what happens to surplus beetles",
    "rotation.when_no_bin_free": "when no bin is free",
    "pupae.isolate": "pupae set apart",
    "pupae.inspection_days": "days between looks for pupae",
    "pupae.find_share": "pupae found at a look",
    "pupae.killed_share": "pupae killed by picking",
    "harvest.when": "what is harvested on harvest days",
    "harvest.ready_share": "share of size before a harvest",
    "harvest.interval_days": "days between harvests",
    "harvest.smallest_mg": "least mass at harvest",
    "harvest.fraction": "share harvested",
    "harvest.set_apart": "kept larvae not sorted again",
    "moisture.start": "when moisture starts",
    "moisture.visible_skins_per_dm2": "skins seen before moisture",
    "moisture.visible_from_mg": "skins can be seen from",
    "moisture.growing_g_per_day": "water for a growing bin",
    "moisture.breeding_g_per_day": "water for a breeding bin",
    "bran.start_g": "bran in a fresh bin",
    "bran.supply": "how bran is given",
    "bran.round_days": "days between bran rounds",
    "bran.reserve_days": "bran in reserve",
    "bran.scoop_g": "scoop of bran",
    "bran.top_up_g": "bran at a top-up",
    "bran.top_up_below_g": "top-up below",
    "rack.bins": "bins in the rack",
    "rack.bin_area_dm2": "floor area of a bin",
    "rack.clear_when": "when a bin is emptied",
    "rack.little_left_g": "bin emptied at larvae below",
    "rack.small_larvae": "small larvae in an emptied bin",
    "rack.small_mg": "larvae through the sieve below",
    "rack.small_share": "small larvae before beetles wait",
    "rack.bin_loss_per_year": "bins lost to mites or mould",
    "rack.clear_after_days": "days until a bin is emptied",
    "rack.clear_below_insects": "bin emptied at fewer insects than",
    "labour.move_minutes": "work for a move",
    "labour.inspect_minutes": "work to look for pupae",
    "labour.pick_seconds": "work to pick one",
    "labour.harvest_minutes": "work for a harvest",
    "labour.moisture_minutes": "work to give moisture",
    "labour.top_up_minutes": "work for a top-up",
    "labour.clear_minutes": "work to empty a bin",
}
"""By key; at most 34 characters, no two alike."""
_UNITS = {
    "C": "°C", "d": "days", "number": "no unit", "yes or no": "", "choice": "", "1/d": "per day",
    "1/(bin yr)": "per bin and year",
    "W/(m2 K)": "W/m²/K", "g/d": "g/day", "g/(g d)": "g/g/day", "kg/(g d)": "kg/g/day",
    "dm2/(adult d)": "dm²/adult/day", "eggs/(female d)": "eggs/female/day",
}  # fmt: skip


def label(key: str) -> str:
    """Plain name of a key; the key itself if it has none."""
    return LABELS.get(key, key)


def heading(key: str) -> str:
    """Plain name of a key as it begins a line."""
    text = label(key)
    return text if key not in LABELS else f"{text[0].upper()}{text[1:]}"


def unit(key: str) -> str:
    """Unit of a key as it is printed; empty for one without."""
    return printed(entry(key).unit)


def printed(text: str) -> str:
    """A unit of ``parameters.toml`` as it is printed."""
    return _UNITS.get(text, text).replace("dm2", "dm²")


def axis(key: str) -> str:
    """Label of an axis: plain name and unit."""
    text = unit(key)
    return f"{heading(key)} ({text})" if text else heading(key)


def with_unit(key: str, value: object) -> str:
    """A value of a key with its unit, as in a sentence."""
    text = unit(key)
    return shown(value) if text in ("", "share", "no unit", "ratio") else f"{shown(value)} {text}"


def shown(value: object) -> str:
    """A value of a key, short."""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def shortened(name: str, most: int) -> str:
    """`name` in at most `most` characters; the middle goes, as names differ at the ends."""
    if len(name) <= most:
        return name
    tail = max((most - 3) // 2, 1)
    head = max(most - 3 - tail, 1)
    first, last = name[:head], name[-tail:]
    # No parts of words, where that keeps half of the space.
    if name[head] != " " and len(kept := first.rpartition(" ")[0]) >= head / 2:
        first = kept
    if name[-tail - 1] != " " and len(kept := last.partition(" ")[2]) >= tail / 2:
        last = kept
    return f"{first.rstrip(' ,;:')} … {last.lstrip()}"
