"""One process at a time through the whole engine, against its closed form.

Seeds are fixed. With fresh seeds a right engine would fail a test as often as its docstring
says; z tests use |z| < 5 (6e-7 two-sided), chi-square tests p > 1e-6. All together below
1 in 5,000.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from conftest import (
    QUIET,
    drop,
    live,
    make_colony,
    put,
    quiet_colony,
    stage_rate,
    z_binomial,
)
from scipy import integrate, stats

from colony_sim.biology import development, growth
from colony_sim.biology.rates import NG_PER_G, NG_PER_MG, constants
from colony_sim.population import census
from colony_sim.population.insects import Flag, Stage
from colony_sim.population.ledger import Flow

MANY = 20_000


def column(model, name):
    return model.insects.view(name).astype(float)


def lognormal(mean, cv):
    sigma = math.sqrt(math.log(1 + cv * cv))
    return stats.lognorm(s=sigma, scale=mean * math.exp(-(sigma**2) / 2))


def chi_square(counts, shares):
    """P value of counts by day against the distribution, cells pooled to expect 5 or more."""
    counts, shares = np.asarray(counts, float), np.asarray(shares, float)
    counts = np.append(counts, MANY - counts.sum())
    shares = np.append(shares, 1.0 - shares.sum())
    small = shares * MANY < 5
    observed = np.append(counts[~small], counts[small].sum())
    expected = np.append(shares[~small], shares[small].sum()) * MANY
    assert observed[-1] < 30 + 10 * expected[-1]
    if expected[-1] < 5:
        observed = np.append(observed[:-2], observed[-2:].sum())
        expected = np.append(expected[:-2], expected[-2:].sum())
    return stats.chisquare(observed, expected * observed.sum() / expected.sum()).pvalue


# -- death --------------------------------------------------------------------------------

_MASS = {"egg": 0.45, "larva": 50.0, "pupa": 120.0, "adult": 90.0}


def thermal(name, side, limit, hazard):
    """As in SURVIVAL: 1 per day at the limit, e times as many for 0.8 K more or 3 K less."""
    scale, sign, end = (0.8, 1, "high") if side == "heat" else (3.0, -1, "low")
    values = {
        f"{name}.lethal_{end}_c": limit,
        "survival.heat_scale_k": 0.8,
        "survival.cold_scale_k": 3.0,
    }
    temperature = limit + sign * scale * math.log(hazard)
    return Stage[name.upper()], _MASS[name], values, temperature, hazard


# Stage, mass (mg), parameters, temperature without development, hazard per day.
SURVIVAL = {
    "larva": (Stage.LARVA, 50.0, {"larva.hazard_per_day": 0.05}, 5.5, 0.05),
    "young larva": (
        Stage.LARVA,
        0.9,
        {"larva.young_hazard_per_day": 0.08, "larva.hazard_per_day": 0.0},
        5.5,
        0.08,
    ),
    "larva no longer young": (
        Stage.LARVA,
        1.1,
        {"larva.young_hazard_per_day": 0.9, "larva.hazard_per_day": 0.03},
        5.5,
        0.03,
    ),
    "pupa": (Stage.PUPA, 120.0, {"pupa.hazard_per_day": 0.07}, 8.0, 0.07),
    "adult": (Stage.ADULT, 90.0, {"adult.hazard_per_day": 0.04}, 8.0, 0.04),
    **{
        f"{name} in the {side}": thermal(name, side, limit, hazard)
        for name, side, limit, hazard in (
            ("egg", "cold", -2.0, 0.2),
            ("larva", "cold", -26.0, 0.2),
            ("pupa", "cold", -8.0, 0.1),
            ("adult", "cold", -12.0, 0.2),
            ("egg", "heat", 38.5, 0.4),
            ("larva", "heat", 42.0, 0.2),
            ("pupa", "heat", 40.5, 0.2),
            ("adult", "heat", 42.0, 1.2),
        )
    },
}


@pytest.mark.parametrize("name", SURVIVAL)
def test_survival_is_exponential(name):
    """Deaths of each of 12 days and their total. Alarm rate: 13 cases x 13 z = 1e-4."""
    stage, mass, values, temperature, hazard = SURVIVAL[name]
    model = quiet_colony(values, temperature_c=temperature, seed=3)
    put(model, stage, MANY, mass=mass * NG_PER_MG, factor=1e9 if stage is Stage.ADULT else 1.0)
    alive = MANY
    for _ in range(12):
        live(model, 1)
        left = int(model.table[1, stage - 1])
        assert abs(z_binomial(left, alive, math.exp(-hazard))) < 5
        alive = left
    assert abs(z_binomial(alive, MANY, math.exp(-12 * hazard))) < 5


def test_starvation_is_proportional_to_the_shortage():
    """Alarm rate: 6e-7 each."""
    for bran_days, share in ((1.0, 1.0), (100.0, 0.5)):
        # Full demand is 20,000 x 310 mg x 0.02 = 124 g a day at larva.reference_c.
        bran = 0.0 if share == 1.0 else 0.5 * bran_days * 124.0
        model = quiet_colony(
            {
                "larva.starvation_hazard_per_day": 0.4,
                "larva.critical_mass_mg": 500.0,
                "growth.bran_days": bran_days,
            },
            temperature_c=30.0,
        )
        model.substrate.bran[1] = round(bran * NG_PER_G)
        put(model, Stage.LARVA, MANY, mass=310 * NG_PER_MG)
        live(model, 1)
        assert model.substrate.food[1] == pytest.approx(1.0 - share, abs=1e-6)
        assert abs(z_binomial(model.table[1, 1], MANY, math.exp(-0.4 * share))) < 5


@pytest.mark.parametrize(("temperature", "shape"), [(25.0, 2.5), (33.0, 2.5), (25.0, 1.5)])
def test_adult_life_is_weibull(temperature, shape):
    """Deaths by day from emergence; those due on that day itself die the day after.

    Alarm rate: 3 x 1e-6.
    """
    values = {"adult.life_mean_days": 30.0, "adult.life_shape": shape, "adult.life_q10": 2.0}
    model = quiet_colony({**values, "fecundity.peak_eggs_per_day": 0.0},
                         temperature_c=temperature, seed=8)  # fmt: skip
    emerged = 0.8  # of the first day
    pace = stage_rate(model.parameters, "pupa", temperature)
    put(model, Stage.PUPA, MANY, mass=100 * NG_PER_MG, progress=1 - emerged * pace)
    daily = live(model, 80)
    assert daily["adults_emerged"].iloc[0] == MANY
    scale = 30.0 / math.gamma(1 + 1 / shape) / 2.0 ** ((temperature - 25.0) / 10)
    ends = np.append(0.0, np.arange(2, 81) - emerged)
    shares = np.diff(stats.weibull_min(shape, scale=scale).cdf(ends))
    assert chi_square(daily["adults_died_age"].iloc[1:], shares) > 1e-6


def test_founders_live_as_beetles_of_their_age():
    """Life left given survival to the founder's age, ages 1 to 30. Alarm rate: 6e-7 x 3."""
    values = {"adult.life_mean_days": 60.0, "adult.life_shape": 2.5}
    model = quiet_colony(
        {**values, "fecundity.peak_eggs_per_day": 0.0}, temperature_c=25.0, breeders=MANY
    )
    ages = column(model, "age")
    assert stats.chisquare(np.bincount(ages.astype(int), minlength=31)[1:]).pvalue > 1e-6
    life = stats.weibull_min(2.5, scale=60.0 / math.gamma(1.4))
    days = 40
    daily = live(model, days)
    expected = np.mean([life.sf(age + days) / life.sf(age) for age in range(1, 31)])
    assert abs(z_binomial(daily["adults"].iloc[-1], MANY, expected)) < 5


# -- duration of stages -------------------------------------------------------------------


def freshly_laid(values, temperature, seed=2, mothers=700):
    """A colony with MANY eggs laid on its first day and no beetles left."""
    model = quiet_colony(
        {"fecundity.peak_eggs_per_day": 60.0, "fecundity.full_from_days": 0.0,
         "adult.female_share": 1.0, **values},
        temperature_c=temperature, breeders=mothers, seed=seed,
    )  # fmt: skip
    live(model, 1)
    drop(model, Stage.ADULT)
    model.insects.stage[MANY : model.insects.n] = Stage.DEAD
    model.insects.compact()
    assert model.insects.n == MANY  # enough were laid
    drop(model, Stage.DEAD)
    return model


@pytest.mark.parametrize(("temperature", "cv"), [(27.0, 0.08), (24.0, 0.25)])
def test_hatching_days(temperature, cv):
    """Lognormal egg durations from a time of laying spread evenly over the day.

    Alarm rate: 2 x (1e-6 + 2 x 6e-7).
    """
    model = freshly_laid({"egg.duration_cv": cv}, temperature)
    daily = live(model, 40)
    mean = 1.0 / stage_rate(model.parameters, "egg", temperature)
    duration = lognormal(mean, cv)
    hatched = daily["eggs_hatched"].to_numpy()[1:]
    assert hatched.sum() == MANY
    # Age at the end of day k is k plus what was left of the day of laying.
    rest = (np.arange(1000) + 0.5) / 1000
    by_day = duration.cdf(np.arange(41)[:, None] + rest).mean(axis=1)
    assert chi_square(hatched, np.diff(by_day)[: hatched.size]) > 1e-6
    # The time of laying and the rounding to whole days cancel in the mean, not in the spread.
    days = np.repeat(np.arange(1, 41), hatched)
    assert abs(days.mean() - mean) < 5 * days.std() / math.sqrt(MANY)
    assert days.std() == pytest.approx(math.hypot(mean * cv, 6**-0.5), rel=5 / math.sqrt(MANY))


def test_larval_period():
    """From hatching, clock alone. Alarm rate: 1e-6."""
    values = {"larva.duration_days": 30.0, "larva.duration_cv": 0.15, "larva.critical_mass_mg": 0.5}
    model = quiet_colony(values, temperature_c=30.0, seed=4)
    put(model, Stage.EGG, MANY, mass=450_000, progress=0.9999, flags=Flag.VIABLE)
    daily = live(model, 60)
    assert daily["eggs_hatched"].iloc[0] == MANY
    formed = daily["pupae_formed"].to_numpy()
    assert formed.sum() == MANY
    hatched = 0.0001 / stage_rate(model.parameters, "egg", 30.0)
    ends = np.arange(0, 61) - hatched
    assert chi_square(formed, np.diff(lognormal(30.0, 0.15).cdf(ends))) > 1e-6


def test_pupal_period():
    """From pupation. Alarm rate: 1e-6."""
    model = quiet_colony({"pupa.duration_cv": 0.15}, temperature_c=25.0, seed=5)
    put(model, Stage.LARVA, MANY, mass=150 * NG_PER_MG, progress=0.9999)
    daily = live(model, 25)
    assert daily["pupae_formed"].iloc[0] == MANY
    mean = 1.0 / stage_rate(model.parameters, "pupa", 25.0)
    start = 0.0001 / stage_rate(model.parameters, "larva", 25.0)
    emerged = daily["adults_emerged"].to_numpy()[1:]
    ends = np.arange(1, 26) - start
    assert emerged.sum() == MANY
    assert chi_square(emerged, np.diff(lognormal(mean, 0.15).cdf(ends))) > 1e-6


def test_development_adds_up_over_changing_temperatures():
    """Rate summation: without spread all eggs hatch on the day the summed rate reaches 1."""
    room = 18.0 + 8.0 * np.sin(np.arange(60))
    model = quiet_colony({"egg.duration_cv": 0.0}, temperature_c=room, days=60)
    put(model, Stage.EGG, 100, mass=450_000, flags=Flag.VIABLE)
    summed = np.cumsum([stage_rate(model.parameters, "egg", t) for t in room])
    daily = live(model, 40)
    assert daily["eggs_hatched"].to_numpy().nonzero()[0].tolist() == [int((summed < 1.0).sum())]


@pytest.mark.parametrize("edge", ["lower_c", "upper_c"])
@pytest.mark.parametrize("stage", ["egg", "larva", "pupa"])
def test_no_development_beyond_the_limits(stage, edge):
    """At the limit nothing moves, a little inside of it everything does.

    Single precision may round a mass by 1e-7.
    """
    start = {"egg": (Stage.EGG, 0.45), "larva": (Stage.LARVA, 20.0), "pupa": (Stage.PUPA, 100.0)}
    kind, mass = start[stage]
    limit = QUIET[f"{stage}.{edge}"]
    inside = 0.5 if edge == "lower_c" else -0.5
    for shift, moves in ((-inside, False), (0.0, False), (inside, True)):
        values = {f"{s}.lethal_high_c": 60.0 for s in ("egg", "larva", "pupa")}
        model = quiet_colony(values, temperature_c=limit + shift)
        rows = put(model, kind, 10, mass=mass * NG_PER_MG, progress=0.3)
        live(model, 3)
        assert (model.insects.progress[rows] > np.float32(0.3)).all() == moves
        if stage == "larva":
            assert (model.insects.mass[rows] > mass * NG_PER_MG * (1 + 1e-6)).all() == moves
            eaten = model.balance.flows[Flow.BRAN_EATEN]
            assert (eaten > 10 * mass * NG_PER_MG * 1e-5) == moves


@pytest.mark.parametrize(("lifetime", "shape"), [(9.0, 8.0), (12.5, 2.0), (10.0, 1.0)])
def test_eggs_wear_out(lifetime, shape):
    """Weibull in calendar age, while too cold to develop. Alarm rate: 3 x (18 z + chi-square)."""
    values = {"egg.lifetime_days": lifetime, "egg.lifetime_shape": shape}
    model = quiet_colony(values, temperature_c=7.9)
    put(model, Stage.EGG, MANY, mass=450_000, flags=Flag.VIABLE)
    left = live(model, 18)["eggs"].to_numpy()
    law = np.exp(-((np.arange(1, 19) / lifetime) ** shape))
    for count, share in zip(left, law, strict=True):
        assert share < 1e-6 or abs(z_binomial(count, MANY, share)) < 5
    died = -np.diff(left, prepend=MANY)
    assert chi_square(died, -np.diff(law, prepend=1.0)) > 1e-6


def test_wear_takes_part_of_slow_eggs():
    """E exp(-(D / lifetime)^shape) of eggs hatch, D by the day of hatching. Alarm rate: 6e-7.

    The hazard of a day is constant within it.
    """
    values = {"egg.lifetime_days": 10.0, "egg.lifetime_shape": 4.0, "egg.duration_days": 9.3,
              "egg.duration_cv": 0.0}  # fmt: skip
    model = quiet_colony(values)
    put(model, Stage.EGG, MANY, mass=450_000, flags=Flag.VIABLE)
    daily = live(model, 11)
    worn = 0.9**4 + 0.3 * (1.0**4 - 0.9**4)
    assert daily["eggs_hatched"].to_numpy().nonzero()[0].tolist() == [9]
    assert abs(z_binomial(daily["eggs_hatched"].sum(), MANY, math.exp(-worn))) < 5
    assert daily["eggs_hatched"].sum() + daily["eggs_unhatched"].sum() == MANY


def test_a_light_larva_waits_to_pupate():
    model = quiet_colony({"growth.dry_share": 0.0, "larva.clock_sensitivity": 0.0})
    put(model, Stage.LARVA, 5, mass=69 * NG_PER_MG, progress=0.999)
    put(model, Stage.LARVA, 5, mass=71 * NG_PER_MG, progress=0.999, first=100)
    daily = live(model, 10)
    assert daily["pupae_formed"].tolist() == [5] + [0] * 9
    assert daily["larvae"].iloc[-1] == 5


def test_mass_at_each_change_of_stage():
    model = quiet_colony({"pupa.duration_cv": 0.0, "growth.dry_share": 0.0}, temperature_c=28.0)
    row = put(model, Stage.LARVA, 1, mass=100 * NG_PER_MG, progress=0.999).start
    live(model, 1)
    assert model.insects.mass[row] == 93 * NG_PER_MG
    live(model, 9)
    assert model.insects.stage[row] == Stage.ADULT
    assert model.insects.mass[row] == pytest.approx(0.93 * 0.75 * 100 * NG_PER_MG, abs=2)


# -- eggs among predators -----------------------------------------------------------------

AREA = 12.0


def test_egg_survival_among_adults():
    """exp(-hazard x duration). Alarm rate: 6e-7 x 3."""
    for adults, coefficient in ((150, 0.008), (600, 0.002), (60, 0.1)):
        values = {"predation.adult_egg": coefficient, "fecundity.peak_eggs_per_day": 0.0}
        model = quiet_colony(values, breeders=adults, seed=adults)
        model.insects.factor[:adults] = 1e9
        put(model, Stage.EGG, MANY, bin_index=0, mass=450_000, flags=Flag.VIABLE)
        daily = live(model, 9)
        hatched, eaten = daily["eggs_hatched"].sum(), daily["eggs_eaten_adults"].sum()
        expected = math.exp(-coefficient * adults / AREA * 7.0)
        assert hatched + eaten == MANY
        assert abs(z_binomial(hatched, MANY, expected)) < 5


def test_share_of_laid_eggs_eaten_by_adults():
    """Eggs laid by the engine, lognormal durations: E exp(-h D) survive. Alarm rate: 6e-7."""
    adults, coefficient, cv = 400, 0.005, 0.25
    values = {"predation.adult_egg": coefficient, "egg.duration_cv": cv}
    model = quiet_colony(values, breeders=adults, seed=17)
    model.insects.factor[:adults] = 1e9
    live(model, 20)
    model.constants = model.constants._replace(peak_eggs=0.0)
    daily = live(model, 25)
    laid, hatched = daily["eggs_laid"].sum(), daily["eggs_hatched"].sum()
    assert daily["eggs"].iloc[-1] == 0 and laid > 10_000
    hazard, duration = coefficient * adults / AREA, lognormal(7.0, cv)
    survive = integrate.quad(lambda d: math.exp(-hazard * d) * duration.pdf(d), 0, 60)[0]
    assert abs(z_binomial(hatched, int(laid), survive)) < 5
    assert daily["eggs_eaten_adults"].sum() == laid - hatched


def still_larvae(values, grams, bran_g, **options):
    """Larvae that neither eat nor grow at 17 C, beside eggs and pupae that develop."""
    model = quiet_colony({"larva.lower_c": 18.0, **values}, temperature_c=17.0, **options)
    model.substrate.bran[1] = round(bran_g * NG_PER_G)
    put(model, Stage.LARVA, 100, mass=grams / 100 * NG_PER_G, first=10**9)
    return model


def test_egg_survival_among_larvae():
    """Hazard per gram of larva and kg of substrate. Alarm rate: 6e-7."""
    model = still_larvae({"predation.larva_egg": 0.002}, 12.0, 400.0)
    put(model, Stage.EGG, MANY, mass=450_000, flags=Flag.VIABLE)
    daily = live(model, 30)
    duration = 1 / stage_rate(model.parameters, "egg", 17.0)
    hazard = 0.002 * 12.0 / 0.4
    assert abs(z_binomial(daily["eggs_hatched"].sum(), MANY, math.exp(-hazard * duration))) < 5
    assert daily["eggs_eaten_larvae"].sum() + daily["eggs_hatched"].sum() == MANY


def test_small_larvae_are_no_predators():
    model = still_larvae({"predation.larva_egg": 10.0}, 0.99, 400.0)
    put(model, Stage.EGG, 500, mass=450_000, flags=Flag.VIABLE)
    assert live(model, 30)["eggs_hatched"].sum() == 500


def test_competing_predators_share_the_eggs():
    """Eaten by adults: h1 / (h1 + h2) of the eaten. Alarm rate: 6e-7 x 2.

    Adults take feed, so bran is made so plentiful that the larvae's hazard stays put.
    """
    adults = 200
    values = {
        "predation.adult_egg": 0.004,
        "predation.larva_egg": 3.0,
        "adult.feed_share_per_day": 0.0,
        "fecundity.peak_eggs_per_day": 0.0,
    }
    model = still_larvae(values, 20.0, 1_000_000.0, breeders=adults)
    model.insects.factor[:adults] = 1e9
    model.insects.bin[:adults] = 1
    put(model, Stage.EGG, MANY, mass=450_000, flags=Flag.VIABLE)
    daily = live(model, 30)
    duration = 1 / stage_rate(model.parameters, "egg", 17.0)
    by_adults, by_larvae = 0.004 * adults / AREA, 3.0 * 20.0 / 1000.0
    total = by_adults + by_larvae
    eaten = daily["eggs_eaten_adults"].sum() + daily["eggs_eaten_larvae"].sum()
    assert abs(z_binomial(eaten, MANY, 1 - math.exp(-total * duration))) < 5
    assert abs(z_binomial(daily["eggs_eaten_adults"].sum(), int(eaten), by_adults / total)) < 5


@pytest.mark.parametrize("hungry", [False, True])
def test_events_of_one_day_compete_in_time(hungry):
    """Eggs due at half the day, strong hazards: the earliest event counts. Alarm rate: 12 x 6e-7.

    Pupae due at half the day run the same race, background death included. Without bran
    every predation hazard is 1 + 1.5 times as high.
    """
    adults, background, rise = 300, 1.5, 2.5 if hungry else 1.0
    by_adults, by_larvae = 2.0 / rise, 3.0 / rise
    values = {
        "predation.shortage_rise": 1.5,
        "predation.adult_egg": by_adults * AREA / adults,
        "predation.adult_pupa": by_adults * AREA / adults,
        "predation.larva_egg": by_larvae / 20.0,
        "predation.larva_pupa": by_larvae / 20.0,
        "predation.injured_share": 0.0,
        "pupa.hazard_per_day": background,
        "fecundity.peak_eggs_per_day": 0.0,
    }
    for stage, others in ((Stage.EGG, 0.0), (Stage.PUPA, background)):
        model = still_larvae(values, 20.0, 0.0, breeders=adults)
        # A kilogram of substrate, of bran or of frass alone.
        stock = model.substrate.frass if hungry else model.substrate.bran
        stock[1] = 1000 * NG_PER_G
        model.insects.factor[:adults] = 1e9
        model.insects.bin[:adults] = 1
        pace = stage_rate(model.parameters, stage.name.lower(), 17.0)
        put(model, stage, MANY, mass=450_000, progress=1 - 0.5 * pace, flags=Flag.VIABLE)
        day = live(model, 1).iloc[0]
        name = "eggs" if stage is Stage.EGG else "pupae"
        total = rise * (by_adults + by_larvae) + others
        dead = 1 - math.exp(-0.5 * total)
        for column_name, hazard in (("eaten_adults", by_adults), ("eaten_larvae", by_larvae)):
            z = z_binomial(day[f"{name}_{column_name}"], MANY, dead * rise * hazard / total)
            assert abs(z) < 5, (name, column_name)
        through = day["eggs_hatched" if stage is Stage.EGG else "adults_emerged"]
        assert abs(z_binomial(through, MANY, 1 - dead)) < 5


def test_shortage_of_bran_raises_predation():
    """Hazard x (1 + rise) without bran. Alarm rate: 6e-7."""
    adults = 150
    values = {"predation.adult_egg": 0.004, "predation.shortage_rise": 1.5,
              "fecundity.peak_eggs_per_day": 0.0}  # fmt: skip
    model = quiet_colony(values, breeders=adults)
    model.insects.factor[:adults] = 1e9
    model.substrate.bran[0] = 0
    put(model, Stage.EGG, MANY, bin_index=0, mass=450_000, flags=Flag.VIABLE)
    daily = live(model, 9)
    expected = math.exp(-0.004 * adults / AREA * 2.5 * 7.0)
    assert abs(z_binomial(daily["eggs_hatched"].sum(), MANY, expected)) < 5


def test_attacked_pupae_die_or_emerge_injured():
    """Attacks once a day at most; the first injures with a probability, the next kills.

    Alarm rate: 6e-7 x 2.
    """
    adults, share, days = 120, 0.4, 7
    values = {"predation.adult_pupa": 0.01, "predation.injured_share": share,
              "fecundity.peak_eggs_per_day": 0.0}  # fmt: skip
    model = quiet_colony(values, breeders=adults, temperature_c=27.0)
    model.insects.factor[:adults] = 1e9
    put(model, Stage.PUPA, MANY, bin_index=0, mass=100 * NG_PER_MG, progress=1 - (days - 0.5) / 7.5)
    hazard = 0.01 * adults / AREA
    attack = [1 - math.exp(-hazard)] * (days - 1) + [1 - math.exp(-hazard / 2)]
    whole, hurt = 1.0, 0.0
    for p in attack:
        whole, hurt = whole * (1 - p), hurt * (1 - p) + whole * p * share
    daily = live(model, days)
    assert daily["pupae"].iloc[-1] == 0
    assert abs(z_binomial(daily["adults_emerged"].sum(), MANY, whole)) < 5
    assert abs(z_binomial(daily["pupae_injured"].sum(), MANY, hurt)) < 5


def test_nothing_is_eaten_on_the_tray():
    values = {"predation.adult_pupa": 10.0, "predation.larva_pupa": 10.0}
    model = quiet_colony(values, breeders=50)
    put(model, Stage.PUPA, 200, bin_index=model.tray, mass=100 * NG_PER_MG)
    daily = live(model, 9)
    assert daily["adults_emerged"].sum() == 200


# -- growth, molts, feed ------------------------------------------------------------------


@pytest.mark.parametrize("temperature", [20.0, 27.0, 30.0])
def test_growth_curve(temperature):
    """A larva of average pace follows the closed form; rounding to ng costs below 1e-3."""
    model = quiet_colony(temperature_c=temperature)
    row = put(model, Stage.LARVA, 1, mass=300_000, tally=1).start
    rate = stage_rate(model.parameters, "larva", temperature)
    for day in range(1, 101):
        live(model, 1)
        if model.insects.stage[row] == Stage.LARVA:
            expected = growth.ideal_mass(model.parameters, day * rate) * NG_PER_MG
            assert model.insects.mass[row] == pytest.approx(expected, rel=1e-3)
    assert day * rate > 0.5


def test_growth_without_moisture_and_with_crowding():
    """Limits multiply the exponent of growth; the clock feels them by its sensitivity."""
    values = {"growth.dry_share": 0.6, "larva.clock_sensitivity": 0.25}
    model = quiet_colony(values, temperature_c=30.0)
    row = put(model, Stage.LARVA, 1, mass=300_000).start
    live(model, 50)
    p = model.parameters
    clock = 50 / p["larva.duration_days"]
    expected = growth.ideal_mass(p, 0.6 * clock) * NG_PER_MG
    assert model.insects.mass[row] == pytest.approx(expected, rel=1e-3)
    assert model.insects.progress[row] == pytest.approx((1 - 0.25 * 0.4) * clock, rel=1e-4)

    model = quiet_colony({"growth.crowding_slope": 0.05}, temperature_c=30.0)
    row = put(model, Stage.LARVA, 1, mass=300_000).start
    put(model, Stage.LARVA, 240, mass=1000 * NG_PER_MG, first=1000, factor=1e-9)
    live(model, 50)
    limit = math.exp(-0.05 * 240 / 12.0)  # 10 cm of 12 dm2 count
    expected = growth.ideal_mass(p, limit * clock) * NG_PER_MG
    assert model.insects.mass[row] == pytest.approx(expected, rel=2e-3)


def test_size_scales_the_asymptote():
    model = quiet_colony({"larva.critical_mass_mg": 500.0, "larva.duration_days": 10.0})
    rows = put(model, Stage.LARVA, 3, mass=300_000, size=np.array([0.9, 1.0, 1.1]))
    live(model, 150)
    expected = 300 * NG_PER_MG * np.array([0.9, 1.0, 1.1])
    assert column(model, "mass")[rows] == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("ratio", [1.3, 1.58, 2.4])
def test_instars_count_the_growth_in_ratios(ratio):
    # Nobody pupates, however long it takes.
    values = {"larva.molt_mass_ratio": ratio, "larva.critical_mass_mg": 500.0}
    model = quiet_colony(values, temperature_c=30.0)
    put(model, Stage.EGG, 200, mass=450_000, progress=0.999, flags=Flag.VIABLE)
    live(model, 1)
    for _ in range(5):
        live(model, 15)
        larvae = model.insects.rows(Stage.LARVA)
        grown = np.log(column(model, "mass")[larvae] / 300_000) / math.log(ratio)
        clear = np.abs(grown - np.round(grown)) > 1e-4
        assert (1 + np.floor(grown) == model.insects.tally[larvae])[clear].all()
    assert larvae.size == 200
    molts = int((model.insects.tally[larvae] - 1).sum())
    assert model.substrate.skins[1] == molts > 800


def test_visible_skins_are_those_of_larger_larvae():
    # Ratio 1.6 molts at 3.1 and 5.03 mg: on the evening of either the larva is clear of 5 mg.
    model = quiet_colony({"larva.molt_mass_ratio": 1.6}, temperature_c=30.0)
    row = put(model, Stage.LARVA, 1, mass=300_000, tally=1).start
    live(model, 100)
    heavy = [m for m in growth.molt_masses(model.parameters) if m < model.insects.mass[row] / 1e6]
    assert model.substrate.skins[1] == len(heavy)
    assert model.substrate.visible_skins[1] == sum(m >= 5.0 for m in heavy) > 3


def test_feed_in_plenty():
    """Bran eaten: 2.5 x gain + 0.02 x mass a day at larva.reference_c; half becomes frass."""
    model = quiet_colony(temperature_c=30.0)
    put(model, Stage.LARVA, 100, mass=50 * NG_PER_MG)
    live(model, 1)
    gain = growth_step(50.0, model.parameters)
    expected = 100 * (2.5 * gain + 0.02 * 50.0) / 1000
    daily = live(model, 0)
    assert daily["bran_eaten_g"].iloc[0] == pytest.approx(expected, rel=1e-4)
    assert model.substrate.frass[1] / NG_PER_G == pytest.approx(expected / 2, rel=1e-4)


def growth_step(mass_mg, p):
    """Gain of a day by the logistic law, one day of the clock at 30 C."""
    top, start, end = (p[f"larva.{k}_mass_mg"] for k in ("asymptotic", "hatchling", "mature"))
    exponent = math.log((1 / start - 1 / top) / (1 / end - 1 / top))
    far = (1 / mass_mg - 1 / top) * math.exp(-exponent / p["larva.duration_days"])
    return 1 / (1 / top + far) - mass_mg


@pytest.mark.parametrize("bran_days", [1.0, 2.0, 5.0])
def test_food_limited_intake(bran_days):
    """A constant demand d: d a day until bran_days x d is left, then 1 / bran_days of the rest."""
    values = {"larva.critical_mass_mg": 500.0, "growth.bran_days": bran_days}
    model = quiet_colony(values, temperature_c=30.0)
    put(model, Stage.LARVA, 1000, mass=310 * NG_PER_MG)
    demand = 1000 * 0.310 * 0.02
    bran = 5.5 * demand
    model.substrate.bran[1] = round(bran * NG_PER_G)
    put(model, Stage.LARVA, 0)
    for _ in range(20):
        live(model, 1)
        bran -= demand * min(1.0, bran / (bran_days * demand))
        assert model.substrate.bran[1] / NG_PER_G == pytest.approx(bran, abs=1e-4)
        assert model.substrate.bran[1] >= 0


def test_growth_falls_with_the_food():
    """Half of full intake gives half of the gain, half of the clock."""
    model = quiet_colony(temperature_c=30.0)
    rows = put(model, Stage.LARVA, 100, mass=50 * NG_PER_MG)
    gain = growth_step(50.0, model.parameters)
    full = 100 * (2.5 * gain + 0.02 * 50.0) / 1000
    model.substrate.bran[1] = round(full * NG_PER_G)  # lasts one day, bran_days is 2
    put(model, Stage.LARVA, 0)
    live(model, 1)
    assert model.substrate.food[1] == pytest.approx(0.5, rel=1e-4)
    grown = model.insects.mass[rows.start] / NG_PER_MG - 50.0
    assert grown == pytest.approx(gain / 2, rel=1e-3)
    clock = model.insects.progress[rows.start] * model.parameters["larva.duration_days"]
    assert clock == pytest.approx(0.5, rel=1e-4)


def test_adults_eat_by_mass():
    model = quiet_colony({"fecundity.peak_eggs_per_day": 0.0}, breeders=100)
    mass = float(model.insects.mass[0]) / NG_PER_G
    daily = live(model, 1)
    assert daily["bran_eaten_g"].iloc[0] == pytest.approx(100 * mass * 0.04, rel=1e-6)


def test_moisture_evaporates_and_is_drunk():
    model = quiet_colony(temperature_c=5.5)
    model.substrate.moisture[1] = 100 * NG_PER_G
    put(model, Stage.LARVA, 1000, mass=100 * NG_PER_MG)
    water, need = 100.0, 1000 * 0.1 * 0.02
    for _ in range(5):
        live(model, 1)
        water = (water - need) * (1 - 0.4)
        assert model.substrate.moisture[1] / NG_PER_G == pytest.approx(water, rel=1e-6)


# -- laying -------------------------------------------------------------------------------


@pytest.mark.parametrize(("temperature", "emerged"), [(20.0, 0.1), (28.0, 0.1), (28.0, 0.9)])
def test_teneral_period_before_the_first_eggs(temperature, emerged):
    """Fertile once the summed rate reaches 1; the first eggs come the day after."""
    values = {
        "fecundity.peak_eggs_per_day": 60.0,
        "fecundity.full_from_days": 0.0,
        "adult.female_share": 1.0,
        "adult.teneral_days": 3.3,
    }
    model = quiet_colony(values, temperature_c=temperature)
    pace = stage_rate(model.parameters, "pupa", temperature)
    start = {"progress": 1 - emerged * pace, "flags": Flag.FEMALE}
    put(model, Stage.PUPA, 50, bin_index=0, mass=100 * NG_PER_MG, **start)
    daily = live(model, 20)
    fertile = math.ceil(emerged + 1 / stage_rate(model.parameters, "teneral", temperature))
    assert int(np.argmax(daily["eggs_laid"] > 0)) + 1 == fertile + 1
    assert int(np.argmax(daily["breeders"] > 0)) + 1 == fertile


def females(values, count, temperature=25.0, age=20, **options):
    model = quiet_colony(
        {"adult.female_share": 1.0, **values}, temperature_c=temperature, **options
    )
    # Physiological age; half a day more keeps rounding out of the whole days.
    progress = (age + 0.5) / development.life_scale_days(model.parameters)
    put(
        model, Stage.ADULT, count, bin_index=0, mass=100 * NG_PER_MG, factor=1e9, flags=1,
        progress=progress,
    )  # fmt: skip
    return model


def z_laid(model, mean, days=1):
    daily = live(model, days)
    laid = daily["eggs_laid"].iloc[-1]
    return (laid - mean) / math.sqrt(mean)


def test_fecundity_by_age():
    """Poisson of peak x profile of age. Alarm rate: 13 x 6e-7.

    Laying rises from the end of the teneral period at 25 C.
    """
    for age in (0, 3, 4, 6, 12, 20, 28, 29, 30, 40, 60, 90, 150):
        model, day = females({}, 1500, age=age, seed=age), age + 1
        ripe = 1 / stage_rate(model.parameters, "teneral", 25.0)
        profile = min(1.0, max(0.0, day - ripe) / (13 - ripe)) * math.exp(-0.02 * max(0, day - 29))
        if profile == 0.0:
            assert live(model, 1)["eggs_laid"].sum() == 0
        else:
            assert abs(z_laid(model, 1500 * 6 * profile)) < 5


def test_eggs_of_a_female_are_poisson():
    """Variance equals the mean. Alarm rate: 6e-7."""
    model = females({}, 4000)
    live(model, 1)
    eggs = column(model, "tally")[:4000]
    assert abs(eggs.var() / 6.0 - 1.0) < 5 * math.sqrt(2 / 4000 + 1 / (6 * 4000))


def test_fecundity_by_density_temperature_and_moisture():
    """Alarm rate: 5 x 6e-7."""
    crowd = 2000
    dense = math.exp(-0.003 * crowd / AREA)
    assert abs(z_laid(females({"fecundity.density_slope": 0.003}, crowd), crowd * 6 * dense)) < 5
    assert abs(z_laid(females({}, crowd, temperature=19.0), crowd * 6 * 0.5)) < 5
    assert abs(z_laid(females({"fecundity.dry_share": 0.7}, crowd), crowd * 6 * 0.7)) < 5
    wet = females({"fecundity.dry_share": 0.7}, crowd)
    wet.substrate.moisture[0] = round(0.5 * 0.02 * crowd * 0.1 * NG_PER_G)  # half of the need
    put(wet, Stage.ADULT, 0)
    assert abs(z_laid(wet, crowd * 6 * 0.85)) < 5
    hungry = females({"growth.bran_days": 1.0}, crowd)
    hungry.substrate.bran[0] = round(0.25 * 0.04 * crowd * 0.1 * NG_PER_G)
    put(hungry, Stage.ADULT, 0)
    assert abs(z_laid(hungry, crowd * 6 * 0.25)) < 5


@pytest.mark.parametrize("temperature", [13.9, 14.0, 32.7, 33.0])
def test_no_laying_beyond_the_limits(temperature):
    assert live(females({}, 500, temperature=temperature), 5)["eggs_laid"].sum() == 0


def test_only_whole_fertile_females_lay():
    model = quiet_colony()
    put(model, Stage.ADULT, 100, bin_index=0, mass=10**8, factor=1e9, progress=0.02, flags=0)
    put(
        model,
        Stage.ADULT,
        100,
        bin_index=0,
        mass=10**8,
        factor=1e9,
        progress=0.02,
        flags=5,
        first=500,
    )
    assert live(model, 5)["eggs_laid"].sum() == 0


def test_sex_ratio_and_viability():
    """Of eggs laid at 29 C. Alarm rate: 2 x 6e-7 x 2."""
    for share, temperature in ((0.5, 27.0), (0.3, 29.0)):
        values = {"egg.viable_share": 0.83, "adult.female_share": share}
        model = females(values, 4000, temperature=temperature)
        live(model, 1)
        eggs = model.insects.rows(Stage.EGG)
        viable = 0.83 * min(1.0, (33.3 - temperature) / 6.3)
        assert abs(z_binomial(model.insects.has(eggs, Flag.FEMALE).sum(), eggs.size, share)) < 5
        assert abs(z_binomial(model.insects.has(eggs, Flag.VIABLE).sum(), eggs.size, viable)) < 5
        drop(model, Stage.ADULT)
        sown = model.insects.n
        daily = live(model, 30)
        assert daily["eggs_hatched"].sum() == sown - daily["eggs_unhatched"].sum()
        assert abs(z_binomial(daily["eggs_hatched"].sum(), sown, viable)) < 5


# -- the whole cycle ----------------------------------------------------------------------


def test_yield_without_predation():
    """Eggs laid x viability x survival = larvae harvested when nothing else kills.

    Alarm rate: 6e-7 x 2.
    """
    hazard = 0.004
    values = {
        "egg.viable_share": 0.83, "egg.duration_cv": 0.0, "egg.duration_days": 6.5,
        "larva.duration_cv": 0.0, "larva.size_cv": 0.0, "larva.hazard_per_day": hazard,
        "larva.young_hazard_per_day": hazard, "rotation.interval_days": 20,
        "harvest.interval_days": 1, "harvest.fraction": 1.0,
    }  # fmt: skip
    model = make_colony({**QUIET, **values}, breeders=200, temperature_c=27.0)
    live(model, 20)
    drop(model, Stage.ADULT)
    laid = model.datacollector.get_model_vars_dataframe()["eggs_laid"].sum()
    daily = live(model, 130)
    p = model.parameters
    rate = stage_rate(p, "larva", 27.0)
    masses = [growth.ideal_mass(p, n * rate) for n in range(150)]
    days = int(np.argmax(np.array(masses) >= 80.0))
    assert abs(masses[days] - 80.0) > 0.05 and abs(masses[days - 1] - 80.0) > 0.05
    harvested = daily["harvest_larvae"].sum()
    assert daily["larvae"].iloc[-1] == 0
    assert daily["harvest_larvae"].to_numpy().nonzero()[0][0] >= 7 + days - 1
    assert abs(z_binomial(daily["eggs_hatched"].sum(), int(laid), 0.83)) < 5
    assert abs(z_binomial(harvested, int(laid), 0.83 * math.exp(-hazard * days))) < 5
    grams = daily["harvest_g"].sum() / harvested * 1000
    assert grams == pytest.approx(masses[days], rel=2e-3)


def test_traits_of_an_insect_are_independent():
    """Sex, viability, egg, larval and pupal pace, size, life: no two share a draw.

    Rank correlation of all 21 pairs, of values and of their distance from the median, which
    also sees one word of a normal deviate used twice. Alarm rate: 21 x 4 x 6e-7 = 5e-5.
    """
    values = {"egg.viable_share": 0.6, "larva.duration_days": 5.0, "larva.critical_mass_mg": 0.5,
              "adult.female_share": 0.5}  # fmt: skip
    model = females(values, 4000, temperature=27.0)
    model.constants = model.constants._replace(female_share=0.5)
    live(model, 1)
    drop(model, Stage.ADULT)
    traits = {name: {} for name in ("sex", "viable", "egg", "larva", "size", "pupa", "life")}

    def note(name, rows, values):
        for ident, value in zip(model.insects.ident[rows].tolist(), values.tolist(), strict=True):
            traits[name].setdefault(ident, float(value))

    eggs = model.insects.rows(Stage.EGG)
    note("sex", eggs, model.insects.has(eggs, Flag.FEMALE))
    note("viable", eggs, model.insects.has(eggs, Flag.VIABLE))
    note("egg", eggs, model.insects.factor[eggs])
    model.constants = model.constants._replace(peak_eggs=0.0)
    for _ in range(35):
        model.step()
        for name, stage in (("larva", Stage.LARVA), ("pupa", Stage.PUPA), ("life", Stage.ADULT)):
            rows = model.insects.rows(stage)
            note(name, rows, model.insects.factor[rows])
            if stage is Stage.LARVA:
                note("size", rows, model.insects.size[rows])
    assert len(traits["life"]) > 10_000
    for one, other in itertools.combinations(traits, 2):
        shared = sorted(traits[one].keys() & traits[other].keys())
        pair = [stats.rankdata([traits[t][i] for i in shared]) for t in (one, other)]
        forms = [(r, np.abs(r - np.median(r))) for r in pair]
        for a, b in itertools.product(*forms):
            if a.std() > 0 and b.std() > 0:
                z = np.corrcoef(a, b)[0, 1] * math.sqrt(len(shared))
                assert abs(z) < 5, (one, other, z)


@pytest.mark.parametrize("hazard", [0.05, 0.5, 3.0])
def test_eggs_are_exposed_from_their_time_of_laying(hazard):
    """Share eaten on the day of laying, 1 - (1 - exp(-h)) / h. Alarm rate: 3 x 6e-7."""
    beetles = 700
    values = {"fecundity.peak_eggs_per_day": 30.0, "predation.adult_egg": 1.0}
    model = females(values, beetles)
    area = model.parameters["rack.bin_area_dm2"]
    parameters = model.parameters.with_values(
        {"predation.adult_egg": hazard * area / beetles}, where="test"
    )
    model.constants = constants(parameters)
    daily = live(model, 1)
    laid, eaten = daily["eggs_laid"].iloc[0], daily["eggs_eaten_adults"].iloc[0]
    assert model.table[0, census.EGGS] == laid - eaten
    assert abs(z_binomial(eaten, laid, 1 - (1 - math.exp(-hazard)) / hazard)) < 5
