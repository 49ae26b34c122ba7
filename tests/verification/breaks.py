"""Breaks of the model on purpose, each with the claims that should notice it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Mutant:
    """One break: in `file` (below colony_sim/), `old` becomes `new` at its first place."""

    name: str
    file: str
    old: str
    new: str
    claims: tuple[str, ...]


_DEV, _GROW, _PRED = "biology/development.py", "biology/growth.py", "biology/predation.py"
_DAY, _KEEP = "population/kernels.py", "colony/keeper.py"
_SORT, _FEED = "colony/sorting.py", "colony/feeding.py"
_EGGS, _LARVAE = "population/eggs.py", "population/larvae.py"
_PUPAE, _ADULTS = "population/pupae.py", "population/adults.py"
_DRAWS = "population/draws.py"

MUTANTS = (
    Mutant(
        "sign: distance to the lower limit in Briere's curve",
        _DEV,
        "(temperature_c - lower_c)",
        "(temperature_c + lower_c)",
        ("durations",),
    ),
    Mutant(
        "sign: mean of the lognormal factor",
        _DEV,
        "- 0.5 * variance",
        "+ 0.5 * variance",
        ("durations",),
    ),
    Mutant("rate: Weibull exponent turned over", _DEV, "(1.0 / shape)", "shape", ("survival",)),
    Mutant("unit: Q10 per 20 degrees", _DEV, "/ 10.0", "/ 20.0", ("survival",)),
    Mutant(
        "sign: crowding helps growth",
        _GROW,
        "return math.exp(-slope * density)",
        "return math.exp(slope * density)",
        ("limits",),
    ),
    Mutant(
        "moisture never limits",
        _GROW,
        "(1.0 - dry_share) * min(1.0, stock / need)",
        "(1.0 - dry_share)",
        ("limits",),
    ),
    Mutant(
        "rate: bran eaten to the last day",
        _GROW,
        "bran / (bran_days * demand)",
        "bran / demand",
        ("egg_predation",),
    ),
    Mutant(
        "unit: adults per bin, not per dm2",
        _PRED,
        "* adults / area_dm2",
        "* adults",
        ("egg_predation", "lpa_run"),
    ),
    Mutant(
        "sign: more substrate, more predation",
        _PRED,
        "/ max(substrate_kg, 0.01)",
        "* max(substrate_kg, 0.01)",
        ("egg_predation", "lpa_step"),
    ),
    Mutant("sign: hunger calms", _PRED, "(1.0 - food)", "food", ("egg_predation",)),
    Mutant("thirst ignored", _PRED, "thirst_rise * (1.0 - wet)", "0.0", ("egg_predation",)),
    Mutant(
        "larvae are given thirst and beetles none",
        _DAY,
        "c.shortage_rise, food[b], c.thirst_rise, s.wetness[b]",
        "c.shortage_rise, food[b], 0.0, s.wetness[b]",
        ("egg_predation",),
    ),
    Mutant(
        "unit: substrate in g",
        _DAY,
        "(1000.0 * NG_PER_G)",
        "(1.0 * NG_PER_G)",
        ("egg_predation", "lpa_step"),
    ),
    Mutant(
        "rate: tolerance even, not exponential",
        _DRAWS,
        "return -math.log(unit(word))",
        "return 2.0 * unit(word)",
        ("survival", "egg_predation"),
    ),
    Mutant(
        "rate: an egg falls at the start of the day",
        _EGGS,
        "np.float64(cols.tolerance[i]) / hazard < done",
        "0.0 < done",
        ("survival", "egg_predation", "lpa_step"),
    ),
    Mutant(
        "eggs withstand each day anew",
        _EGGS,
        "tolerance[j] - h if stays",
        "tolerance[j] if stays",
        ("survival", "egg_predation"),
    ),
    Mutant(
        "larvae withstand each day anew",
        _LARVAE,
        "tolerance[j] = stands if larva",
        "tolerance[j] = tolerance[j] if larva",
        ("survival",),
    ),
    Mutant(
        "causes out of proportion",
        _EGGS,
        "unit(word) * (own + by_adults + today.hazards[b, 1])",
        "unit(word) * (own + by_adults)",
        ("egg_predation",),
    ),
    Mutant(
        "an injured pupa withstands no more",
        _PUPAE,
        "cols.tolerance[i] = np.float32(tolerance(w0))",
        "cols.tolerance[i] = np.float32(0.0)",
        ("egg_predation", "twin"),
    ),
    Mutant(
        "eaters mixed up",
        _EGGS,
        "books.events[b, _EATEN_ADULTS] += 1",
        "books.events[b, _EATEN_LARVAE] += 1",
        ("egg_predation", "rotation_share"),
    ),
    Mutant(
        "males lay as well",
        _ADULTS,
        "(cols.flags[i] & (IS_FEMALE | IS_INJURED)) == IS_FEMALE",
        "(cols.flags[i] & IS_INJURED) == 0",
        ("growth_rate",),
    ),
    Mutant(
        "age of laying not counted",
        _ADULTS,
        "* today.age_profile[min(days, oldest)]",
        "* 1.0",
        ("growth_rate", "evidence"),
    ),
    Mutant(
        "rate: larvae die at the young rate for life",
        _LARVAE,
        "(young_hazard if m < young else hazard)",
        "young_hazard",
        ("survival",),
    ),
    Mutant(
        "rest of the day lost at hatching",
        _EGGS,
        "np.float32(rest * today.pace[b])",
        "np.float32(0.0 * today.pace[b])",
        ("twin",),
    ),
    Mutant(
        "mass made from nothing at pupation",
        _LARVAE,
        "np.uint32(m * c.pupa_mass_share)",
        "np.uint32(m / c.pupa_mass_share)",
        ("evidence",),
    ),
    Mutant(
        "book: dead larvae not entered",
        _LARVAE,
        "books.flows[_DEAD] += np.int64(m)",
        "pass",
        ("balances",),
    ),
    Mutant(
        "book: frass is all that was eaten",
        _DAY,
        "frass[b] += made",
        "frass[b] += eaten[b]",
        ("balances",),
    ),
    Mutant(
        "eggs of a mother share one identity",
        _EGGS,
        "identity(seed, mother[j], number[j])",
        "identity(seed, mother[j], np.uint32(0))",
        ("lpa_run", "lpa_step"),
    ),
    Mutant(
        "rounds of the generator",
        _DRAWS,
        "range(10)",
        "range(9)",
        ("random_numbers",),
    ),
    Mutant(
        "Poisson by a wrong recursion",
        _DRAWS,
        "term *= mean / count",
        "term *= mean / (count + 1)",
        ("random_numbers", "lpa_step"),
    ),
    Mutant(
        "day not in the key",
        _DRAWS,
        "np.uint32(day),",
        "np.uint32(0),",
        ("random_numbers",),
    ),
    Mutant(
        "viability blind to heat",
        "biology/reproduction.py",
        "of.viable_share * max(0.0, min(1.0, (of.viability_none_c - temperature_c) / span))",
        "of.viable_share",
        ("durations",),
    ),
    Mutant(
        "sign: laying rises with old age",
        "biology/reproduction.py",
        'np.exp(-p["fecundity.decline_per_day"]',
        'np.exp(p["fecundity.decline_per_day"]',
        ("growth_rate", "evidence"),
    ),
    Mutant(
        "cold kills nobody",
        "biology/survival.py",
        "math.exp(heat) + math.exp(cold)",
        "math.exp(heat)",
        ("survival",),
    ),
    Mutant(
        "rate: heat and cold fall off in a straight line",
        "biology/survival.py",
        "math.exp(heat) + math.exp(cold)",
        "max(0.0, 1.0 + heat) + max(0.0, 1.0 + cold)",
        ("survival",),
    ),
    Mutant(
        "wear of eggs dropped",
        _DAY,
        "row.egg_thermal + today.egg_wear[k]",
        "row.egg_thermal",
        ("survival",),
    ),
    Mutant(
        "sign: insects cool their bin",
        "biology/heat.py",
        "if room_c + rise * briere",
        "if room_c - rise * briere",
        ("twin",),
    ),
    Mutant(
        "heat: feeding makes no difference",
        "biology/heat.py",
        "(h.fed_w - h.unfed_w) * feeding",
        "(h.fed_w - h.unfed_w)",
        ("twin",),
    ),
    Mutant(
        "rates of one bin for all",
        _DAY,
        "if b > 0 and t == s.temperature[b - 1]:",
        "if b > 0:",
        ("twin",),
    ),
    Mutant(
        "crowding by area where it is by volume",
        _DAY,
        "if c.crowding == _PER_VOLUME else",
        "if c.crowding != _PER_VOLUME else",
        ("limits",),
    ),
    Mutant(
        "depth of the substrate without end",
        "biology/substrate.py",
        "min(volume_cm3, area_dm2 * CM2_PER_DM2 * usable_depth_cm)",
        "volume_cm3",
        ("limits",),
    ),
    Mutant(
        "laws swapped: logistic for Richards",
        _LARVAE,
        "        if law == _LOGISTIC_LAW:",
        "        if law == _RICHARDS_LAW:",
        ("growth_law",),
    ),
    Mutant(
        "exponential growth beyond the asymptote",
        _LARVAE,
        "g = g if g < far else far",
        "g = g if g < far else g",
        ("twin",),
    ),
    Mutant(
        "contact ignored",
        _LARVAE,
        "if np.uint64(w0) >= today.ripe_at[b]:",
        "if False:",
        ("twin",),
    ),
    Mutant(
        "refuge ignored by beetles",
        _EGGS,
        "hazard[np.uint8((flags[j] & IS_OUT_OF_REACH) != 0), days]",
        "hazard[0, days]",
        ("egg_predation",),
    ),
    Mutant(
        "eggs hidden in shallow substrate",
        "biology/substrate.py",
        "if substrate_cm <= reach_cm:",
        "if False:",
        ("egg_predation",),
    ),
    Mutant(
        "laying on the age in calendar days",
        _ADULTS,
        "days = np.int64(np.float64(progress[i]) * life_scale)",
        "days = np.int64(cols.age[i])",
        ("growth_rate",),
    ),
    Mutant(
        "no male needed",
        _DAY,
        "if c.needs_male and table[b, census.MALES] == 0:",
        "if False:",
        ("twin",),
    ),
    Mutant(
        "teneral and hurt males count",
        "population/census.py",
        "if (flags[i] & IS_INJURED) == 0 and size[i] >= np.float32(1.0):",
        "if True:",
        ("twin",),
    ),
    Mutant(
        "unit: a milligram of 10**5 nanograms",
        "biology/rates.py",
        "NG_PER_MG = 1_000_000",
        "NG_PER_MG = 100_000",
        ("growth_law",),
    ),
    Mutant(
        "beetles moved a day late",
        _KEEP,
        '>= p["rotation.interval_days"]',
        '> p["rotation.interval_days"]',
        ("rotation_share",),
    ),
    Mutant(
        "sign: the missed are moved, the caught stay",
        _KEEP,
        'draws[0] >= p["rotation.missed_share"]',
        'draws[0] < p["rotation.missed_share"]',
        ("rotation_share",),
    ),
    Mutant(
        "harvest keeps what it should take",
        _SORT,
        '< p["harvest.fraction"]',
        '>= p["harvest.fraction"]',
        ("twin",),
    ),
    Mutant(
        "bran given without the reserve",
        _FEED,
        'days + p["bran.reserve_days"]',
        "days",
        ("twin",),
    ),
    Mutant(
        "breeding bins without beetles go on",
        _KEEP,
        "if beetles[bin_.index] == 0:",
        "if False:",
        ("twin",),
    ),
    Mutant(
        "sign: large larvae fall through the sieve",
        _KEEP,
        "insects.mass[larvae] < least",
        "insects.mass[larvae] >= least",
        ("twin",),
    ),
)
