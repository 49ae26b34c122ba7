"""Rates and limits as pure functions: definitions, limits, and the published anchors."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from colony_sim.biology import development, growth, predation, reproduction, survival
from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_MG, constants, day_rates

DEFAULT = Parameters.default()
STAGES = ("egg", "larva", "pupa")


def with_values(**values):
    return DEFAULT.with_values({k.replace("__", "."): v for k, v in values.items()}, "test")


# -- development --------------------------------------------------------------------------


def test_briere_by_hand():
    assert development.briere(20.0, 8.0, 36.0) == pytest.approx(20 * 12 * 4.0)


@pytest.mark.parametrize("temperature", [-10.0, 0.0, 8.0, 37.4, 45.0])
def test_briere_is_zero_outside_its_limits(temperature):
    assert development.briere(temperature, 8.0, 37.4) == 0.0
    assert development.briere(-1.0, -5.0, 37.4) == 0.0  # never negative


@pytest.mark.parametrize("stage", STAGES)
def test_duration_holds_at_the_reference_temperature(stage):
    rate = development.stage_rate(DEFAULT, stage, DEFAULT[f"{stage}.reference_c"])
    assert 1.0 / rate == pytest.approx(DEFAULT[f"{stage}.duration_days"])


@pytest.mark.parametrize("stage", STAGES)
def test_rate_follows_the_curve(stage):
    low, high, at = (DEFAULT[f"{stage}.{k}"] for k in ("lower_c", "upper_c", "reference_c"))

    def curve(t):
        return t * (t - low) * math.sqrt(high - t)

    for t in (15.0, 22.0, 33.0):
        expected = curve(t) / curve(at) / DEFAULT[f"{stage}.duration_days"]
        assert development.stage_rate(DEFAULT, stage, t) == pytest.approx(expected)
    assert development.stage_rate(DEFAULT, stage, low) == 0.0
    assert development.stage_rate(DEFAULT, stage, high) == 0.0


def test_reference_below_zero_gives_no_development():
    assert development.scaled_rate(20.0, 7.0, -2.0, -5.0, 37.0) == 0.0


def test_teneral_period():
    assert 1 / development.teneral_rate(DEFAULT, 28.0) == pytest.approx(3.0)
    assert development.teneral_rate(DEFAULT, DEFAULT["pupa.lower_c"]) == 0.0


@pytest.mark.parametrize("shape", [1.5, 2.5, 5.0])
def test_mean_adult_life(shape):
    p = with_values(adult__life_shape=shape)
    mean = stats.weibull_min(shape).mean() / development.ageing_rate(p, 25.0)
    assert mean == pytest.approx(60.0)


def test_ageing_quickens_by_q10():
    ratio = development.ageing_rate(DEFAULT, 33.0) / development.ageing_rate(DEFAULT, 23.0)
    assert ratio == pytest.approx(DEFAULT["adult.life_q10"])


# -- published anchors --------------------------------------------------------------------


@pytest.mark.parametrize(("temperature", "least", "most"), [(18.0, 11, 15), (20.0, 11, 15)])
def test_eggs_take_11_to_15_days_in_a_cool_room(temperature, least, most):
    assert least <= 1 / development.stage_rate(DEFAULT, "egg", temperature) <= most


def test_eggs_hatch_at_17_degrees_and_not_at_15():
    """Koo et al. 2013."""
    longest = DEFAULT["egg.longest_days"]
    assert 1 / development.stage_rate(DEFAULT, "egg", 17.0) < longest
    assert 1 / development.stage_rate(DEFAULT, "egg", 15.0) > longest


def test_pupae_develop_fastest_near_33_degrees():
    """Morales-Ramos et al. 2024."""
    room = np.arange(10.0, 39.0, 0.1)
    rates = [development.stage_rate(DEFAULT, "pupa", t) for t in room]
    assert room[int(np.argmax(rates))] == pytest.approx(33.0, abs=1.0)


def test_mass_rises_36_fold_in_30_days_at_25_degrees():
    clock = 30 * development.stage_rate(DEFAULT, "larva", 25.0)
    ratio = growth.ideal_mass(DEFAULT, clock) / DEFAULT["larva.hatchling_mass_mg"]
    assert ratio == pytest.approx(36.0, rel=0.05)


def test_viability_at_31_degrees():
    """27.1 % at 31 C against 74.0 % at 27 C, Morales-Ramos et al. 2024."""
    ratio = reproduction.viability(DEFAULT, 31.0) / reproduction.viability(DEFAULT, 27.0)
    assert ratio == pytest.approx(27.1 / 74.0, abs=0.01)


def test_14_instars():
    masses = growth.molt_masses(DEFAULT)
    assert 1 + sum(mass < DEFAULT["larva.mature_mass_mg"] for mass in masses) == 14


# -- growth -------------------------------------------------------------------------------


def test_growth_runs_from_hatchling_to_mature_mass():
    assert growth.ideal_mass(DEFAULT, 0.0) == pytest.approx(0.3)
    assert growth.ideal_mass(DEFAULT, 1.0) == pytest.approx(150.0)
    assert growth.ideal_mass(DEFAULT, 50.0) == pytest.approx(300.0)


def test_growth_solves_the_equation_of_west_et_al():
    """dm/dt = a m^(3/4) - b m, integrated numerically, against the closed form."""
    k, top = growth.growth_exponent(DEFAULT), DEFAULT["larva.asymptotic_mass_mg"]
    a, b = 4 * k * top**0.25, 4 * k
    solved = integrate.solve_ivp(
        lambda _, m: a * m**0.75 - b * m, (0, 1), [0.3], rtol=1e-10, atol=1e-12, dense_output=True
    )
    for clock in (0.1, 0.4, 0.8, 1.0):
        assert growth.ideal_mass(DEFAULT, clock) == pytest.approx(solved.sol(clock)[0], rel=1e-7)


def test_molt_masses():
    masses = np.array(growth.molt_masses(DEFAULT, 20))
    assert masses.size == 20
    assert masses[0] == pytest.approx(0.3 * 1.58)
    assert masses[1:] / masses[:-1] == pytest.approx(np.full(19, 1.58))


def test_fourth_root():
    assert development.fourth_root(81.0) == pytest.approx(3.0)


def test_crowding():
    assert growth.crowding_limit(0.0, 12.0, 0.025) == 1.0
    assert growth.crowding_limit(240.0, 12.0, 0.025) == pytest.approx(math.exp(-0.5))


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
    low, high = DEFAULT[f"{stage}.lethal_low_c"], DEFAULT[f"{stage}.lethal_high_c"]
    for inside in (low, (low + high) / 2, high):
        assert survival.thermal_hazard(DEFAULT, stage, inside) == 0.0
    assert survival.thermal_hazard(DEFAULT, stage, high + 1.5) == pytest.approx(3.0)
    assert survival.thermal_hazard(DEFAULT, stage, low - 0.5) == pytest.approx(1.0)


def test_predation_hazards():
    assert predation.adult_hazard(0.008, 300.0, 12.0) == pytest.approx(0.2)
    assert predation.larva_hazard(0.001, 50.0, 2.0) == pytest.approx(0.025)
    assert predation.larva_hazard(0.001, 50.0, 0.0) == pytest.approx(5.0)  # counts as 10 g
    assert predation.shortage_factor(1.5, 1.0) == 1.0
    assert predation.shortage_factor(1.5, 0.2) == pytest.approx(2.2)


def test_age_profile():
    profile = reproduction.age_profile(DEFAULT)
    assert profile.shape == (reproduction.OLDEST_DAYS + 1,)
    assert profile[0] == 0.0
    assert profile[6] == pytest.approx(6 / 13)
    assert profile[13:30] == pytest.approx(np.ones(17))
    assert profile[79] == pytest.approx(math.exp(-0.02 * 50))
    flat = reproduction.age_profile(with_values(fecundity__full_from_days=0.0))
    assert flat[0] == 1.0


@pytest.mark.parametrize(
    ("temperature", "expected"),
    [(0, 0), (14, 0), (19, 0.5), (24, 1), (27, 1), (29.85, 0.5), (32.7, 0), (45, 0)],
)
def test_laying_by_temperature(temperature, expected):
    assert reproduction.temperature_share(DEFAULT, temperature) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("temperature", "expected"), [(10, 0.83), (27, 0.83), (30.15, 0.415), (33.3, 0), (40, 0)]
)
def test_viability_by_temperature(temperature, expected):
    assert reproduction.viability(DEFAULT, temperature) == pytest.approx(expected)


# -- what the kernels are given -----------------------------------------------------------


def test_constants_are_whole_nanograms_where_masses():
    c = constants(DEFAULT)
    for name in ("egg_mass", "hatchling_mass", "critical_mass", "visible_mass", "predator_mass"):
        assert isinstance(getattr(c, name), int)
    assert c.hatchling_mass == 300_000
    light = DEFAULT.with_values({"egg.mass_mg": 0.2}, where="test")
    assert constants(light).hatchling_mass == constants(light).egg_mass == 200_000
    assert c.asymptote_root**4 == pytest.approx(300 * NG_PER_MG)
    assert (np.diff(c.molt_mass.astype(np.int64)) >= 0).all()


@pytest.mark.parametrize("temperature", [-30.0, 0.0, 5.0, 8.0, 20.0, 30.0, 37.4, 39.0, 50.0])
def test_rates_of_any_day_are_finite_and_not_negative(temperature):
    rates = day_rates(DEFAULT, temperature)
    assert all(math.isfinite(rate) and rate >= 0.0 for rate in rates)
    assert rates.larva_relative == pytest.approx(rates.larva * DEFAULT["larva.duration_days"])
