"""Rates and limits as pure functions: definitions, limits, and the published anchors."""

from __future__ import annotations

import math

import numpy as np
import pytest
from conftest import FIXED, stage_rate
from scipy import integrate, optimize, stats

from colony_sim.biology import development, growth, heat, predation, reproduction, survival
from colony_sim.biology import substrate as bed
from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_MG, constants, day_rates

DEFAULT = Parameters.default()
KNOWN = DEFAULT.with_values(FIXED, "test")
STAGES = ("egg", "larva", "pupa")
LAWS = [law.name.lower() for law in growth.Law]


def with_values(**values):
    return KNOWN.with_values({k.replace("__", "."): v for k, v in values.items()}, "test")


# -- development --------------------------------------------------------------------------


def test_briere_by_hand():
    assert development.briere(20.0, 8.0, 36.0) == pytest.approx(20 * 12 * 4.0)


@pytest.mark.parametrize("temperature", [-10.0, 0.0, 8.0, 37.4, 45.0])
def test_briere_is_zero_outside_its_limits(temperature):
    assert development.briere(temperature, 8.0, 37.4) == 0.0
    assert development.briere(-1.0, -5.0, 37.4) == 0.0  # never negative


@pytest.mark.parametrize("stage", STAGES)
def test_duration_holds_at_the_reference_temperature(stage):
    rate = stage_rate(DEFAULT, stage, DEFAULT[f"{stage}.reference_c"])
    assert 1.0 / rate == pytest.approx(DEFAULT[f"{stage}.duration_days"])


@pytest.mark.parametrize("stage", STAGES)
def test_rate_follows_the_curve(stage):
    low, high, at = (DEFAULT[f"{stage}.{k}"] for k in ("lower_c", "upper_c", "reference_c"))

    def curve(t):
        return t * (t - low) * math.sqrt(high - t)

    for t in (15.0, 22.0, 33.0):
        expected = curve(t) / curve(at) / DEFAULT[f"{stage}.duration_days"]
        assert stage_rate(DEFAULT, stage, t) == pytest.approx(expected)
    assert stage_rate(DEFAULT, stage, low) == 0.0
    assert stage_rate(DEFAULT, stage, high) == 0.0


def test_reference_below_zero_gives_no_development():
    assert development.rate(development.pace(7.0, -2.0, -5.0, 37.0), 20.0) == 0.0


def test_teneral_period():
    assert 1 / stage_rate(KNOWN, "teneral", 28.0) == pytest.approx(3.0)
    assert stage_rate(KNOWN, "teneral", KNOWN["pupa.lower_c"]) == 0.0


@pytest.mark.parametrize("shape", [1.5, 2.5, 5.0])
def test_mean_adult_life(shape):
    p = with_values(adult__life_shape=shape, adult__life_mean_days=60.0)
    mean = stats.weibull_min(shape).mean() / day_rates(p, 25.0).ageing
    assert mean == pytest.approx(60.0)


def test_ageing_quickens_by_q10():
    ratio = day_rates(DEFAULT, 33.0).ageing / day_rates(DEFAULT, 23.0).ageing
    assert ratio == pytest.approx(DEFAULT["adult.life_q10"])


# -- published anchors --------------------------------------------------------------------


@pytest.mark.parametrize(("temperature", "least", "most"), [(18.0, 11, 15), (20.0, 11, 15)])
def test_eggs_take_11_to_15_days_in_a_cool_room(temperature, least, most):
    assert least <= 1 / stage_rate(DEFAULT, "egg", temperature) <= most


def test_eggs_hatch_at_17_degrees_and_not_at_15():
    """Koo et al. 2013: wear leaves a good part of the eggs at 17 C and next to none at 15 C."""

    def outlast(temperature):
        days = 1 / stage_rate(DEFAULT, "egg", temperature)
        return math.exp(-((days / DEFAULT["egg.lifetime_days"]) ** DEFAULT["egg.lifetime_shape"]))

    assert outlast(17.0) > 0.4
    assert outlast(15.0) < 0.05
    assert outlast(27.0) > 0.99


def test_pupae_develop_fastest_near_33_degrees():
    """Morales-Ramos et al. 2024."""
    room = np.arange(10.0, 39.0, 0.1)
    rates = [stage_rate(DEFAULT, "pupa", t) for t in room]
    assert room[int(np.argmax(rates))] == pytest.approx(33.0, abs=1.0)


def test_mass_rises_36_fold_in_30_days_at_25_degrees():
    """By the law that the asymptote of 300 mg was set for."""
    p = with_values(growth__law="west_brown_enquist")
    clock = 30 * stage_rate(p, "larva", 25.0)
    ratio = growth.ideal_mass(p, clock) / p["larva.hatchling_mass_mg"]
    assert ratio == pytest.approx(36.0, rel=0.05)


def test_viability_at_31_degrees():
    """27.1 % at 31 C against 74.0 % at 27 C, Morales-Ramos et al. 2024."""
    ratio = day_rates(DEFAULT, 31.0).viability / day_rates(DEFAULT, 27.0).viability
    assert ratio == pytest.approx(27.1 / 74.0, abs=0.01)


def test_13_to_17_instars():
    """Modes of 13 (Koo et al. 2013), 14 (Huang et al. 2011), 15-16 (Morales-Ramos et al. 2015)
    and 17 (Park et al. 2014); 14 from 0.3 to 150 mg by a ratio of 1.58.
    """
    for p, least, most in ((DEFAULT, 13, 17), (KNOWN, 14, 14)):
        masses = growth.molt_masses(p)
        assert least <= 1 + sum(mass < p["larva.mature_mass_mg"] for mass in masses) <= most


# -- growth -------------------------------------------------------------------------------


@pytest.mark.parametrize("law", LAWS)
def test_growth_runs_from_hatchling_to_mature_mass(law):
    p = with_values(growth__law=law)
    assert growth.ideal_mass(p, 0.0) == pytest.approx(0.3)
    assert growth.ideal_mass(p, 1.0) == pytest.approx(150.0)
    assert growth.ideal_mass(p, 50.0) == pytest.approx(300.0)
    assert growth.ideal_mass(p, 50.0, 1.2) == pytest.approx(360.0)
    clock = np.linspace(0, 3, 200)
    assert (np.diff(growth.ideal_mass(p, clock)) >= 0).all()


#: dm/dt of each law from mass, asymptote M and exponent k of the clock, as usually printed.
EQUATIONS = {
    "west_brown_enquist": lambda m, top, k: 4 * k * (top**0.25 * m**0.75 - m),
    "gompertz": lambda m, top, k: k * m * math.log(top / m),
    "logistic": lambda m, top, k: k * m * (1 - m / top),
    "richards": lambda m, top, k: k * m * (1 - (m / top) ** 2) / 2,
    "exponential": lambda m, top, k: k * m,
}


@pytest.mark.parametrize("law", LAWS)
def test_growth_solves_the_equation_of_its_law(law):
    """Integrated numerically, against the closed form."""
    p = with_values(growth__law=law)
    k, top = growth.growth_exponent(p), p["larva.asymptotic_mass_mg"]
    solved = integrate.solve_ivp(
        lambda _, m: [EQUATIONS[law](m[0], top, k)], (0, 1), [0.3], rtol=1e-10, atol=1e-12,
        dense_output=True, method="DOP853",
    )  # fmt: skip
    for clock in (0.1, 0.4, 0.8, 1.0):
        assert growth.ideal_mass(p, clock) == pytest.approx(solved.sol(clock)[0], rel=1e-7)


@pytest.mark.parametrize("law", LAWS)
def test_the_share_of_a_day_composes(law):
    """Two half days make a day: what is left of the way multiplies."""
    number = int(growth.Law[law.upper()])
    day, half = (growth.day_share(number, 3.0, clock) for clock in (0.2, 0.1))
    sign = 1 if law == "exponential" else -1
    assert 1 + sign * day == pytest.approx((1 + sign * half) ** 2)


def test_molt_masses():
    masses = np.array(growth.molt_masses(KNOWN, 20))
    assert masses.size == 20
    assert masses[0] == pytest.approx(0.3 * 1.58)
    assert masses[1:] / masses[:-1] == pytest.approx(np.full(19, 1.58))


def test_crowding():
    assert growth.crowding_limit(0.0, 0.025) == 1.0
    assert growth.crowding_limit(20.0, 0.025) == pytest.approx(math.exp(-0.5))


def test_contact():
    assert growth.pupation_chance(0.0, 4000.0, 4.0) == 1.0
    assert growth.pupation_chance(1000.0, 4000.0, 4.0) == pytest.approx(math.exp(-1.0))
    assert growth.pupation_chance(1000.0, 4000.0, 0.0) == 1.0


@pytest.mark.parametrize(
    ("stock", "need", "expected"),
    [(0, 10, 0.6), (5, 10, 0.8), (10, 10, 1.0), (99, 10, 1.0), (0, 0, 0.6), (1, 0, 1.0)],
)
def test_moisture(stock, need, expected):
    assert growth.moisture_limit(float(stock), float(need), 0.6) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("bran", "demand", "expected"),
    [(0, 10, 0), (10, 10, 0.5), (20, 10, 1), (500, 10, 1), (0, 0, 1)],
)
def test_food(bran, demand, expected):
    assert growth.food_limit(float(bran), float(demand), 2.0) == pytest.approx(expected)


def test_clock_sensitivity():
    assert growth.clock_limit(0.4, 0.0) == 1.0
    assert growth.clock_limit(0.4, 1.0) == pytest.approx(0.4)
    assert growth.clock_limit(0.4, 0.5) == pytest.approx(0.7)


# -- death, predation, laying -------------------------------------------------------------


@pytest.mark.parametrize("stage", ["egg", "larva", "pupa", "adult"])
def test_thermal_hazard(stage):
    p = with_values(survival__heat_scale_k=0.8, survival__cold_scale_k=3.0)
    bears = survival.tolerance(p, stage)
    low, high = p[f"{stage}.lethal_low_c"], p[f"{stage}.lethal_high_c"]
    for away in (-4.0, -0.5, 0.0, 2.0):
        heat_alone = math.exp(away / 0.8)
        assert survival.thermal_hazard(bears, high + away) == pytest.approx(heat_alone, abs=1e-4)
        assert survival.thermal_hazard(bears, low - away) == pytest.approx(math.exp(away / 3.0))
    assert survival.thermal_hazard(bears, 5000.0) == survival.thermal_hazard(bears, -5000.0) == 700


def test_egg_wear_is_a_weibull_hazard():
    wear = survival.egg_wear(with_values(egg__lifetime_days=18.0, egg__lifetime_shape=8.0))
    assert wear[0] == 0.0 and (np.diff(wear) >= 0).all()
    for days in (5, 18, 30, 37):
        assert wear[: days + 1].sum() == pytest.approx((days / 18.0) ** 8)
    assert wear.size == 38


def test_predation_hazards():
    assert predation.adult_hazard(0.008, 300.0, 12.0) == pytest.approx(0.2)
    assert predation.larva_hazard(0.001, 50.0, 2.0) == pytest.approx(0.025)
    assert predation.larva_hazard(0.001, 50.0, 0.0) == pytest.approx(5.0)  # counts as 10 g
    assert predation.want_factor(1.5, 1.0, 2.0, 1.0) == 1.0
    assert predation.want_factor(1.5, 0.2, 2.0, 1.0) == pytest.approx(2.2)
    assert predation.want_factor(1.5, 0.2, 2.0, 0.25) == pytest.approx(3.7)


def test_volume_of_the_substrate():
    assert bed.volume(800.0, 200.0, 4.3, 2.0) == pytest.approx(3840.0)
    assert bed.volume(0.0, 0.0, 4.3, 2.0) == 40.0
    assert bed.usable_volume(3840.0, 12.0, 10.0) == pytest.approx(3840.0)
    assert bed.usable_volume(50_000.0, 12.0, 10.0) == pytest.approx(12_000.0)


def test_share_of_eggs_out_of_reach():
    """Exponential depths of mean 0.5 cm x (1 + 0.02 x 25): the upper tail beyond 2 cm."""
    tail = stats.expon(scale=0.75).sf(2.0)
    assert bed.hidden_share(25.0, 3.0, 2.0, 0.5, 0.02) == pytest.approx(tail)
    assert bed.hidden_share(25.0, 2.0, 2.0, 0.5, 0.02) == 0.0
    assert bed.hidden_share(0.0, 3.0, 2.0, 0.5, 0.02) == pytest.approx(math.exp(-4.0))


WARM = {
    "heat__own": True,
    "heat__fed_mw_per_g": 9.0,
    "heat__unfed_mw_per_g": 1.6,
    "heat__adult_mw": 1.2,
    "heat__reference_c": 27.0,
    "heat__loss_w_per_m2_k": 10.0,
}


@pytest.mark.parametrize(("room", "grams", "beetles", "feeding"), [
    (25.0, 500.0, 0.0, 1.0), (18.0, 800.0, 300.0, 0.3), (5.0, 500.0, 0.0, 1.0),
    (33.0, 3000.0, 0.0, 1.0), (25.0, 0.0, 1000.0, 0.0),
])  # fmt: skip
def test_a_bin_is_as_warm_as_its_balance_of_heat(room, grams, beetles, feeding):
    """Heat made at the bin's temperature is heat lost to the room."""
    p = with_values(**WARM)
    found = heat.bin_temperature(heat.heat(p), room, grams, beetles, feeding)

    def surplus(t):
        made = (grams * (1.6 + 7.4 * feeding) + 1.2 * beetles) / 1000
        share = stage_rate(p, "larva", t) / stage_rate(p, "larva", 27.0)
        return made * share - 10.0 * 0.12 * (t - room)

    assert surplus(37.4) < 0
    if room > 6.0:
        assert surplus(room + 1e-6) > 0
        assert found == pytest.approx(optimize.brentq(surplus, room + 1e-6, 37.4), abs=1e-6)
        assert found > room + 0.3
    else:  # Too cold to make any heat.
        assert found == pytest.approx(room, abs=1e-6)


def test_no_heat_where_none_is_made():
    p = with_values(**WARM)
    assert heat.bin_temperature(heat.heat(p), 25.0, 0.0, 0.0, 1.0) == 25.0
    assert heat.bin_temperature(heat.heat(p), 40.0, 900.0, 0.0, 1.0) == 40.0
    off = heat.heat(p.with_values({"heat.own": False}, "test"))
    assert heat.bin_temperature(off, 25.0, 900.0, 0.0, 1.0) == 25.0


def test_age_profile():
    profile = reproduction.age_profile(KNOWN)
    ripe = 1 / stage_rate(KNOWN, "teneral", 25.0)
    assert profile.shape == (reproduction.OLDEST_DAYS + 1,)
    assert (profile[: math.floor(ripe) + 1] == 0.0).all()
    assert profile[8] == pytest.approx((8 - ripe) / (13 - ripe))
    assert profile[13:30] == pytest.approx(np.ones(17))
    assert profile[79] == pytest.approx(math.exp(-0.02 * 50))
    flat = reproduction.age_profile(with_values(fecundity__full_from_days=0.0))
    assert flat[0] == 1.0


@pytest.mark.parametrize(
    ("temperature", "expected"),
    [(0, 0), (14, 0), (19, 0.5), (24, 1), (27, 1), (29.85, 0.5), (32.7, 0), (45, 0)],
)
def test_laying_by_temperature(temperature, expected):
    assert day_rates(KNOWN, temperature).laying == pytest.approx(expected)


@pytest.mark.parametrize(
    ("temperature", "expected"), [(10, 0.83), (27, 0.83), (30.15, 0.415), (33.3, 0), (40, 0)]
)
def test_viability_by_temperature(temperature, expected):
    p = with_values(egg__viable_share=0.83)
    assert day_rates(p, temperature).viability == pytest.approx(expected)


# -- what the kernels are given -----------------------------------------------------------


def test_constants_are_whole_nanograms_where_masses():
    c = constants(KNOWN)
    for name in ("egg_mass", "hatchling_mass", "critical_mass", "visible_mass", "predator_mass"):
        assert isinstance(getattr(c, name), int)
    assert c.hatchling_mass == 300_000
    light = KNOWN.with_values({"egg.mass_mg": 0.2}, where="test")
    assert constants(light).hatchling_mass == constants(light).egg_mass == 200_000
    assert c.asymptote == pytest.approx(300 * NG_PER_MG)
    assert (np.diff(c.molt_mass.astype(np.int64)) >= 0).all()


@pytest.mark.parametrize("temperature", [-30.0, 0.0, 5.0, 8.0, 20.0, 30.0, 37.4, 39.0, 50.0])
def test_rates_of_any_day_are_finite_and_not_negative(temperature):
    rates = day_rates(DEFAULT, temperature)
    assert all(math.isfinite(rate) and rate >= 0.0 for rate in rates)
    assert rates.larva_relative == pytest.approx(rates.larva * DEFAULT["larva.duration_days"])
