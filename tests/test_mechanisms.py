"""What larvae and beetles do to their own bin, against closed forms, through the whole engine.

Growth laws, crowding by volume and area, contact of ripe larvae, heat of the insects, refuge of
eggs, thirst, laying on physiological age and beside males. Seeds are fixed. With fresh seeds a
right engine would fail a test as often as its docstring says; z tests use |z| < 5 (6e-7
two-sided), chi-square tests p > 1e-6. All together below 1 in 10,000.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from conftest import (
    QUIET,
    live,
    make_colony,
    put,
    quiet_colony,
    reopen_books,
    stage_rate,
    z_binomial,
)
from scipy import optimize, stats

from colony_sim.biology import development, growth
from colony_sim.biology.rates import NG_PER_G, NG_PER_MG
from colony_sim.population.insects import Flag, Stage
from colony_sim.population.ledger import Flow

MANY = 20_000
START, MATURE, TOP = 0.3, 150.0, 300.0
AREA = 12.0


def mass_mg(law: str, clock: float, top: float = TOP) -> float:
    """Mass at a point of the larval clock from the law as it is usually printed."""
    e = math.exp
    if law == "exponential":
        return min(top, START * (MATURE / START) ** clock)
    if law == "gompertz":
        k = math.log(math.log(TOP / START) / math.log(TOP / MATURE))
        return top * e(-math.log(top / START) * e(-k * clock))
    if law == "logistic":
        k = math.log((TOP / START - 1) / (TOP / MATURE - 1))
        return top / (1 + (top / START - 1) * e(-k * clock))
    power = {"west_brown_enquist": 0.25, "richards": -2.0}[law]
    k = math.log((START**power - TOP**power) / (MATURE**power - TOP**power))
    return (top**power + (START**power - top**power) * e(-k * clock)) ** (1 / power)


@pytest.mark.parametrize("law", [law.name.lower() for law in growth.Law])
@pytest.mark.parametrize("temperature", [20.0, 30.0])
def test_growth_by_each_law(law, temperature):
    """Three sizes of asymptote; single precision costs below 1e-3."""
    model = quiet_colony({"growth.law": law}, temperature_c=temperature)
    size = np.array([0.8, 1.0, 1.25])
    rows = put(model, Stage.LARVA, 3, mass=300_000, tally=1, size=size)
    rate = stage_rate(model.parameters, "larva", temperature)
    days = math.floor(0.98 / rate)
    for day in range(1, days + 1):
        live(model, 1)
        expected = [mass_mg(law, day * rate, TOP * s) * NG_PER_MG for s in size]
        assert model.insects.mass[rows].tolist() == pytest.approx(expected, rel=1e-3)
    assert day * rate > 0.95 and (model.insects.stage[rows] == Stage.LARVA).all()


@pytest.mark.parametrize("law", ["west_brown_enquist", "gompertz", "logistic", "exponential"])
def test_pace_of_an_individual_quickens_its_growth(law):
    """A larva of pace f has gone f times the clock, and grown to match."""
    model = quiet_colony({"growth.law": law}, temperature_c=30.0)
    paces = np.array([0.7, 1.0, 1.3])
    rows = put(model, Stage.LARVA, 3, mass=300_000, factor=paces)
    live(model, 60)
    clock = 60 * stage_rate(model.parameters, "larva", 30.0) * paces
    # A day's share of the way is f times the average one's, not its power; short days hide it.
    assert model.insects.progress[rows] == pytest.approx(clock, rel=1e-4)
    expected = [mass_mg(law, c) * NG_PER_MG for c in clock]
    assert model.insects.mass[rows].tolist() == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize(
    ("values", "bran_g", "exponent"),
    [
        ({"growth.crowding": "per_volume", "growth.crowding_slope": 0.02}, 1000.0, 0.02 / 4.3),
        ({"growth.crowding": "per_volume", "growth.crowding_slope": 0.02}, 9000.0, 0.02 / 12.0),
        ({"growth.crowding": "per_area", "growth.crowding_slope_area": 0.03}, 1000.0, 0.03 / AREA),
        ({"growth.crowding": "per_area", "growth.crowding_slope_area": 0.03}, 9000.0, 0.03 / AREA),
    ],
)
def test_crowding_by_volume_or_by_area(values, bran_g, exponent):
    """Share of full growth from grams in 4.3 L, in the 12 L that count, or on 12 dm2."""
    model = quiet_colony(values, temperature_c=25.0)
    model.substrate.bran[1] = round(bran_g * NG_PER_G)
    grams = 200.0
    put(model, Stage.LARVA, 2000, mass=grams / 2000 * NG_PER_G)
    live(model, 1)
    assert model.substrate.crowding[1] == pytest.approx(math.exp(-exponent * grams), rel=1e-6)


def test_frass_takes_less_room_than_bran():
    values = {"growth.crowding": "per_volume", "growth.crowding_slope": 0.02}
    model = quiet_colony(values, temperature_c=25.0)
    model.substrate.bran[1], model.substrate.frass[1] = 500 * NG_PER_G, 500 * NG_PER_G
    put(model, Stage.LARVA, 2000, mass=0.1 * NG_PER_G)
    live(model, 1)
    litres = 0.5 * 4.3 + 0.5 * 2.0
    assert model.substrate.crowding[1] == pytest.approx(math.exp(-0.02 * 200 / litres), rel=1e-6)


@pytest.mark.parametrize("slope", [0.5, 4.0])
def test_contact_holds_pupation_back(slope):
    """Each day a ripe larva pupates with chance exp(-slope n / V), n of that day.

    As many larvae as stay ripe keep the chance of the day. Alarm rate: 2 x 15 x 6e-7.
    """
    model = quiet_colony({"larva.contact_slope": slope, "growth.dry_share": 0.0})
    model.substrate.bran[1] = 2500 * NG_PER_G  # 10.75 L, all within 10 cm
    put(model, Stage.LARVA, MANY, mass=100 * NG_PER_MG, progress=1.0)
    left = MANY
    for day in range(15):
        chance = math.exp(-slope * left / volume_cm3(model))
        formed = live(model, 1)["pupae_formed"].iloc[-1]
        assert abs(z_binomial(formed, left, chance)) < 5, day
        left -= formed
    assert 0 < left < MANY if slope > 1 else left < 100


def volume_cm3(model, bin_index=1):
    bran, frass = (getattr(model.substrate, k)[bin_index] / NG_PER_G for k in ("bran", "frass"))
    return min(bran * 4.3 + frass * 2.0, AREA * 100 * 10.0)


def test_waiting_for_pupation_is_geometric():
    """Few ripe among many that are not: the chance stays put. Alarm rate: 1e-6 + 6e-7."""
    crowd, ripe = 30_000, 2000
    model = quiet_colony(
        {"larva.contact_slope": 0.5, "growth.dry_share": 0.0, "feed.maintenance_per_day": 0.0},
        temperature_c=20.0,
    )
    model.substrate.bran[1] = 2500 * NG_PER_G
    put(model, Stage.LARVA, crowd, mass=10 * NG_PER_MG)
    put(model, Stage.LARVA, ripe, mass=100 * NG_PER_MG, progress=1.0, first=10**6)
    formed = live(model, 25)["pupae_formed"].to_numpy()
    # The chance rises by what the ripe leave; the law is the product of the days.
    chance = np.empty(25)
    there = crowd + ripe - np.concatenate([[0], np.cumsum(formed)[:-1]])
    chance = np.exp(-0.5 * there / 10_750.0)
    waits = np.concatenate([[1.0], np.cumprod(1 - chance)])
    law = -np.diff(waits)
    seen, due = np.append(formed, ripe - formed.sum()), ripe * np.append(law, waits[-1])
    late = due < 5
    seen, due = np.append(seen[~late], seen[late].sum()), np.append(due[~late], due[late].sum())
    assert stats.chisquare(seen[:-1], due[:-1] * seen[:-1].sum() / due[:-1].sum()).pvalue > 1e-6
    assert abs(z_binomial(formed[0], ripe, chance[0])) < 5 and 0.2 < chance[0] < 0.3


WARM = {
    "heat.own": True,
    "heat.fed_mw_per_g": 9.0,
    "heat.unfed_mw_per_g": 1.6,
    "heat.adult_mw": 1.2,
    "heat.reference_c": 27.0,
    "heat.loss_w_per_m2_k": 10.0,
}


def balance_c(model, room, watts):
    """Temperature at which `watts` (at 27 C) are lost through 12 dm2 at 10 W/(m2 K)."""

    def surplus(t):
        share = stage_rate(model.parameters, "larva", t) / stage_rate(
            model.parameters, "larva", 27.0
        )
        return watts * share - 10.0 * 0.12 * (t - room)

    return optimize.brentq(surplus, room, 37.4)


def test_larvae_warm_their_bin():
    """Fixed point of the heat balance; the other bins and the tray stay at room temperature."""
    model = quiet_colony(WARM, temperature_c=22.0)
    put(model, Stage.LARVA, 5000, mass=0.1 * NG_PER_G)
    live(model, 1)
    expected = balance_c(model, 22.0, 500 * 0.009)
    assert model.substrate.temperature[1] == pytest.approx(expected, abs=1e-6)
    assert expected > 24.0
    assert model.substrate.temperature[[0, 2, 3]].tolist() == [22.0] * 3
    clock = stage_rate(model.parameters, "larva", expected)
    assert model.insects.progress[0] == pytest.approx(clock, rel=1e-5)


def test_larvae_that_do_not_feed_warm_less():
    """From the second day on feeding is what the first day's bran allowed: none."""
    model = quiet_colony(WARM, temperature_c=22.0)
    model.substrate.bran[1] = 0
    put(model, Stage.LARVA, 5000, mass=0.1 * NG_PER_G)
    live(model, 2)
    expected = balance_c(model, 22.0, 500 * 0.0016)
    assert model.substrate.temperature[1] == pytest.approx(expected, abs=1e-6)


def test_beetles_warm_their_bin_and_age_faster():
    model = quiet_colony(
        {**WARM, "heat.adult_mw": 5.0, "adult.life_q10": 2.0, "fecundity.peak_eggs_per_day": 0.0},
        temperature_c=20.0,
    )
    put(model, Stage.ADULT, 1000, bin_index=0, mass=10**8, factor=1e9)
    put(model, Stage.ADULT, 1, bin_index=2, mass=10**8, factor=1e9, first=10**6)
    live(model, 1)
    warm, alone = (float(model.insects.progress[k]) for k in (0, 1000))
    rise = balance_c(model, 20.0, 5.0) - balance_c(model, 20.0, 0.005)
    assert rise > 2.0 and warm / alone == pytest.approx(2 ** (rise / 10), rel=1e-5)


@pytest.mark.parametrize(
    ("bran_g", "refuge", "rise"),
    [(1200.0, "depth", 0.0), (1200.0, "depth", 0.05), (500.0, "depth", 0.0), (1200.0, "none", 0.0)],
)
def test_share_of_eggs_out_of_reach(bran_g, refuge, rise):
    """Tail of exponential depths beyond 2 cm, in 4.3 and 1.8 cm of bran. Alarm rate: 4 x 6e-7."""
    beetles = 600
    values = {
        "predation.refuge": refuge,
        "predation.reach_cm": 2.0,
        "fecundity.laying_depth_cm": 1.5,
        "fecundity.depth_rise": rise,
        "fecundity.peak_eggs_per_day": 30.0,
    }
    model = laying(values, beetles)
    model.substrate.bran[0] = round(bran_g * NG_PER_G)
    reopen_books(model)
    live(model, 1)
    eggs = model.insects.rows(Stage.EGG)
    hidden = int(model.insects.has(eggs, Flag.OUT_OF_REACH).sum())
    share = math.exp(-2.0 / (1.5 * (1 + rise * beetles / AREA)))
    if refuge == "none" or bran_g < 550:
        share = 0.0
    assert eggs.size > 15_000 and abs(z_binomial(hidden, eggs.size, share)) < 5


def laying(values, count, temperature=25.0, age=20.0, males=0, **options):
    """Females of one physiological age in the first bin, and males."""
    model = quiet_colony(values, temperature_c=temperature, **options)
    progress = age / development.life_scale_days(model.parameters)
    given = {"bin_index": 0, "mass": 10**8, "factor": 1e9, "progress": progress}
    put(model, Stage.ADULT, count, flags=Flag.FEMALE, **given)
    if males:
        put(model, Stage.ADULT, males, first=10**6, **given)
    return model


def test_beetles_eat_within_reach_and_larvae_everywhere():
    """Eggs flagged out of reach live on under beetles and die under larvae.

    Alarm rate: 3 x 6e-7.
    """
    values = {
        "predation.adult_egg": 0.02,
        "predation.larva_egg": 0.5,
        "fecundity.peak_eggs_per_day": 0.0,
        "larva.lower_c": 18.0,
    }
    certain = {**values, "predation.adult_egg": 1.0}
    for flag, larvae, given in (
        (0, 0, values),
        (Flag.OUT_OF_REACH, 0, values),
        (Flag.OUT_OF_REACH, 100, values),
        (Flag.OUT_OF_REACH, 0, certain),
    ):
        model = laying(given, 300, temperature=17.0)
        put(model, Stage.EGG, MANY, bin_index=0, mass=450_000, flags=flag, first=10**7)
        if larvae:
            put(model, Stage.LARVA, larvae, bin_index=0, mass=0.1 * NG_PER_G, first=10**8)
        days = live(model, 5)
        kilograms = model.substrate.bran[0] / (1000 * NG_PER_G)
        hazard = (0.0 if flag else 0.02 * 300 / AREA) + 0.5 * larvae * 0.1 / kilograms
        assert abs(z_binomial(days["eggs"].iloc[-1], MANY, math.exp(-5 * hazard))) < 5
        assert (days["eggs_eaten_adults"].sum() == 0) == bool(flag)


@pytest.mark.parametrize("wet", [0.0, 0.3, 1.0])
def test_thirst_raises_what_beetles_eat(wet):
    """Hazard x (1 + rise x lack of moisture), eggs and pupae. Alarm rate: 3 x 2 x 6e-7."""
    adults, rise = 240, 1.5
    values = {
        "predation.thirst_rise": rise,
        "predation.adult_egg": 0.02,
        "predation.adult_pupa": 0.02,
        "predation.injured_share": 0.0,
        "fecundity.peak_eggs_per_day": 0.0,
    }
    model = laying(values, adults, temperature=20.0)
    put(model, Stage.EGG, MANY, bin_index=0, mass=450_000, first=10**7)
    put(model, Stage.PUPA, MANY, bin_index=0, mass=10**8, first=10**8)
    model.substrate.moisture[0] = round(wet * 0.02 * adults * 0.1 * NG_PER_G)
    reopen_books(model)
    daily = live(model, 1)
    alive = math.exp(-0.02 * adults / AREA * (1 + rise * (1 - wet)))
    for stage in ("eggs", "pupae"):
        assert abs(z_binomial(daily[stage].iloc[0], MANY, alive)) < 5


def test_thirst_does_not_move_larvae():
    """Alarm rate: 6e-7."""
    values = {"predation.thirst_rise": 5.0, "predation.larva_egg": 2.0, "larva.lower_c": 18.0}
    model = quiet_colony(values, temperature_c=17.0)
    put(model, Stage.LARVA, 100, mass=0.1 * NG_PER_G)
    put(model, Stage.EGG, MANY, mass=450_000, first=10**6)
    daily = live(model, 1)
    hazard = 2.0 * 10.0 / (model.substrate.bran[1] / (1000 * NG_PER_G))
    assert abs(z_binomial(daily["eggs"].iloc[0], MANY, math.exp(-hazard))) < 5


def test_females_need_a_fertile_male_in_their_bin():
    """One that is hurt, teneral or in another bin is none."""
    needs = {"fecundity.needs_male": True}
    put_male = {"mass": 10**8, "factor": 1e9, "first": 10**6}
    assert live(laying(needs, 200, males=1), 3)["eggs_laid"].sum() > 1000
    assert live(laying(needs, 200), 3)["eggs_laid"].sum() == 0
    assert live(laying({**needs, "fecundity.needs_male": False}, 200), 3)["eggs_laid"].sum() > 1000
    for where, other in ((0, {"flags": Flag.INJURED}), (0, {"size": 0.01}), (2, {})):
        model = laying(needs, 200)
        put(model, Stage.ADULT, 1, bin_index=where, **put_male, **other)
        assert live(model, 2)["eggs_laid"].sum() == 0, other


def test_laying_follows_physiological_age():
    """A beetle at a higher temperature lays the same eggs per physiological day, sooner.

    Poisson with mean peak x profile of the days lived at 25 C. Alarm rate: 2 x 8 x 6e-7.
    """
    count, q10 = 1500, 2.5
    values = {
        "adult.life_q10": q10,
        "fecundity.full_from_c": 18.0,
        "fecundity.full_until_c": 30.0,
        "fecundity.lower_c": 14.0,
        "fecundity.full_from_days": 12.0,
        "fecundity.full_until_days": 18.0,
        "fecundity.decline_per_day": 0.08,
    }
    for temperature in (20.0, 29.0):
        model = laying(values, count, temperature=temperature, age=0.0)
        step = q10 ** ((temperature - 25.0) / 10)
        ripe = 1 / stage_rate(model.parameters, "teneral", 25.0)
        laid = live(model, math.ceil(40 / step))["eggs_laid"].to_numpy()
        ages = np.floor(np.arange(1, laid.size + 1) * step + 1e-4)
        rise = np.clip((ages - ripe) / (12 - ripe), 0, 1)
        means = count * 6 * rise * np.exp(-0.08 * np.maximum(0, ages - 18))
        for part, due in zip(np.array_split(laid, 8), np.array_split(means, 8), strict=True):
            assert abs(part.sum() - due.sum()) < 5 * math.sqrt(max(due.sum(), 1e-9))


def test_eggs_per_physiological_day_are_equal_at_two_temperatures():
    """Whole declines in cold and warm: eggs x days quickened agree. Alarm rate: 6e-7."""
    q10, totals = 2.0, []
    values = {
        "adult.life_q10": q10,
        "fecundity.full_from_c": 18.0,
        "fecundity.full_until_c": 30.0,
        "fecundity.full_from_days": 5.0,
        "fecundity.full_until_days": 10.0,
        "fecundity.decline_per_day": 0.2,
    }
    for temperature in (21.0, 27.0):
        quick = q10 ** ((temperature - 25.0) / 10)
        model = laying(values, 4000, temperature=temperature, age=0.0, seed=int(temperature))
        totals.append((live(model, math.ceil(60 / quick))["eggs_laid"].sum(), quick))
    (cold, slow), (warm, fast) = totals
    spread = math.sqrt(cold * slow**2 + warm * fast**2)
    # Whole days, 0.76 and 1.15 physiological ones long, sample the profile unevenly.
    assert abs(cold * slow - warm * fast) < 5 * spread + 0.04 * warm * fast
    assert cold > 1.3 * warm


def test_a_colony_of_its_own_heat_is_warmer_and_grows_faster():
    """Its growing bin by more than a degree, its tray and its empty bin not at all."""
    colonies = [
        make_colony({**QUIET, **WARM, "heat.own": own}, larvae=13_000, temperature_c=20.0)
        for own in (False, True)
    ]
    for model in colonies:
        live(model, 5)
    cold, warm = (model.substrate.temperature for model in colonies)
    assert (cold == 20.0).all() and (warm[2:] == 20.0).all() and warm[1] > 21.0
    gain = [model.balance.flows[Flow.GAIN] for model in colonies]
    assert gain[1] > 1.05 * gain[0]
