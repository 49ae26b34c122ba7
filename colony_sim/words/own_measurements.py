"""How a keeper could measure an uncertain value in bins of their own, in one sentence each."""

from __future__ import annotations

_WAYS = {
    "predation.adult_egg": (
        "put a counted number of eggs (100, say) on bran in a bin of known area with a counted "
        "number of beetles of one sex, and as many in a bin without beetles; after 3 to 5 days "
        "let both hatch and count the larvae: hazard = ln(larvae without / larvae with) / (days x "
        "beetles per dm2); three densities show whether it rises in proportion"
    ),
    "predation.larva_egg": (
        "put 100 counted eggs among a weighed amount of larvae in a weighed amount of bran, and "
        "as many without larvae; after 3 days sift, let both hatch and count: hazard = ln(larvae "
        "without / larvae with) / (days x g of larvae per kg)"
    ),
    "predation.adult_pupa": (
        "leave 30 fresh pupae with a counted number of beetles for 3 days and count the whole, "
        "bitten and missing ones; at two densities"
    ),
    "predation.larva_pupa": (
        "leave 30 fresh pupae among a weighed amount of larvae for 3 days and count the whole, "
        "bitten and missing ones"
    ),
    "predation.": "repeat an egg or pupa count with bran and without",
    "egg.viable_share": (
        "pick 100 eggs out of bran, keep them without beetles and larvae and count those that "
        "have hatched after 18 days"
    ),
    "egg.lifetime": (
        "keep 100 eggs each at 15 and 17 C for 5, 10, 15 and 20 days, warm them and count the "
        "hatched"
    ),
    "egg.mass_mg": "weigh 200 counted eggs together",
    "egg.": "pick eggs of one day, keep them apart, and count the hatched daily",
    "larva.mature_mass_mg": "weigh 50 larvae that lie curled, about to pupate, one by one",
    "larva.duration_days": (
        "start a bin with eggs of two days and note when a tenth, half and nine tenths have "
        "pupated; log the temperature of the bran"
    ),
    "larva.duration_cv": (
        "start a bin with eggs of two days and note when a tenth, half and nine tenths have pupated"
    ),
    "larva.young_": "count the larvae of a bin of counted eggs once they can be sifted",
    "larva.hazard_per_day": "count a bin of 500 half-grown larvae again after eight weeks",
    "larva.starvation_hazard_per_day": "count 100 larvae without bran weekly",
    "larva.contact_slope": (
        "put 20, 60, 200 and 600 large larvae into 150 g of bran each and count the pupae weekly"
    ),
    "larva.": "weigh 50 larvae of a bin of one age one by one every two weeks",
    "pupa.": "keep 50 pupae of one day apart and count the emerged daily",
    "adult.life_": (
        "keep 50 beetles that emerged in one week apart and count the dead weekly until none is "
        "left; log the temperature"
    ),
    "adult.hazard_per_day": "keep 50 young beetles apart and count the dead weekly",
    "adult.female_share": "sex 100 pupae",
    "adult.feed_share_per_day": "weigh the bran of 100 beetles before and after two weeks, sifted",
    "adult.": "weigh pupae and the beetles that come of them",
    "fecundity.density_slope": (
        "keep 5, 20 and 60 beetles per dm2, move them to fresh bran every day and count the "
        "larvae that come of each day's bran: daily moves leave little time for eggs to be eaten"
    ),
    "fecundity.dry_share": (
        "keep beetles with and without slices of root, move them daily, and count the larvae"
    ),
    "fecundity.": (
        "keep 20 beetles of known age at low density, move them to fresh bran daily and count the "
        "larvae that come of it"
    ),
    "growth.crowding_slope": (
        "grow 10, 50 and 150 g of small larvae per litre of bran, topped up, and weigh all after "
        "four weeks"
    ),
    "growth.usable_depth_cm": "grow larvae 3, 6 and 12 cm deep and weigh samples of each layer",
    "growth.dry_share": "grow larvae with and without moist feed and weigh them after four weeks",
    "fecundity.laying_depth_cm": (
        "let beetles lay for two days in 4 cm of fine bran, take it off in layers of 1 cm and "
        "count the larvae that come of each"
    ),
    "growth.": "weigh larvae weekly while the bran runs out",
    "feed.": "weigh bran, frass and larvae of one bin at the start and after four weeks",
    "feed.bran_cm3": "weigh a litre of bran, poured and not pressed",
    "feed.frass_cm3": "weigh a litre of frass",
    "heat.loss_w_per_m2_k": (
        "put one logger into the middle of your fullest bin and one beside it for a week, weigh "
        "the larvae, and divide their heat (8.4 mW per g) by the area and the degrees between"
    ),
    "heat.": "put one logger into a full bin and one beside it for a week, and weigh the larvae",
    "predation.reach_cm": (
        "lay 100 counted eggs under 0, 1, 2 and 3 cm of bran with beetles above for three days, "
        "let them hatch and count the larvae"
    ),
    "predation.thirst_rise": "repeat an egg count with a slice of vegetable and without",
    "survival.": "no need, unless your bins come near the limits of temperature",
}


def how_to_measure(key: str) -> str:
    """What to do to measure `key` in bins of one's own; the longest matching entry counts."""
    fits = [start for start in _WAYS if key.startswith(start)]
    return _WAYS[max(fits, key=len)] if fits else "vary it in two bins side by side"
