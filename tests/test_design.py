"""Which points a design has, and what is refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colony_sim.biology.parameters import catalogue
from colony_sim.errors import InputError
from colony_sim.experiment.design import (
    Factor,
    check_point,
    full_factorial,
    latin_hypercube,
    make_design,
    parse_vary,
    point_dicts,
    sobol,
)

DAYS = "rotation.interval_days"


@pytest.mark.parametrize(
    ("text", "values"),
    [
        (f"{DAYS}=7:35:7", (7, 14, 21, 28, 35)),
        (f"{DAYS}=7:20:7", (7, 14)),
        ("harvest.fraction=0.1:0.3:0.1", (0.1, 0.2, 0.3)),
        (" harvest.fraction = 0.5, 0.8 ", (0.5, 0.8)),
        ("pupae.isolate=true,false", (True, False)),
        ("start.breeders=100,200", (100, 200)),
    ],
)
def test_values_are_read_exactly_and_in_their_type(text, values):
    factor = parse_vary(text)
    assert factor.values == values
    assert [type(v) for v in factor.values] == [type(v) for v in values]


def test_a_choice_is_read_as_a_word():
    item = next(e for e in catalogue().values() if e.kind == "choice")
    assert parse_vary(f"{item.key}={','.join(item.choices)}").values == item.choices


def test_a_key_alone_is_its_plausible_range():
    item = catalogue()["predation.adult_egg"]
    assert parse_vary(item.key) == Factor(item.key, low=item.low, high=item.high)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("seed=1,2", ("seed", "`replicates`")),
        ("rotation.interval_day=7", ("rotation.interval_day", "such as rotation.interval_days")),
        (f"{DAYS}=7,x", (DAYS, "'x'", "a whole number from 1")),
        (f"{DAYS}=7.5,9", (DAYS, "7.5", "a whole number from 1")),
        (f"{DAYS}=0:9:3", (DAYS, "= 0;", "from 1 to")),
        (f"{DAYS}=9:7", (DAYS, "LOW below HIGH")),
        (f"{DAYS}=7:9:0", (DAYS, "a step above 0")),
        (f"{DAYS}=7:9:1:1", (DAYS, "KEY=LOW:HIGH:STEP")),
        (f"{DAYS}=7,7", (DAYS, "values that differ")),
        (f"{DAYS}=", (DAYS, "KEY=1,2,3")),
        ("harvest.fraction=nan,0.5", ("harvest.fraction", "'nan'", "a number from")),
        ("harvest.fraction=0:inf", ("harvest.fraction", "'inf'")),
        ("pupae.isolate=yes", ("pupae.isolate", "'yes'", "true or false")),
        ("pupae.isolate=0:1", ("pupae.isolate", "a list of values, each true or false")),
        ("start.larvae", ("start.larvae", "no plausible range")),
        ("=3", ("KEY=1,2,3",)),
    ],
)
def test_what_is_no_variation_is_refused_with_option_key_value_and_allowed(text, parts):
    with pytest.raises(InputError) as error:
        parse_vary(text)
    line = error.value.line
    assert line.startswith("argument vary: ") and "\n" not in line
    assert [part for part in parts if part not in line] == []


def test_a_factorial_has_every_combination_once_the_last_key_fastest():
    points = full_factorial([parse_vary(f"{DAYS}=7,14"), parse_vary("pupae.isolate=true,false")])
    assert point_dicts(points) == [
        {DAYS: days, "pupae.isolate": isolate} for days in (7, 14) for isolate in (True, False)
    ]
    assert points.index.tolist() == [1, 2, 3, 4] and points.index.name == "point"
    assert all(type(v) in (int, bool) for point in point_dicts(points) for v in point.values())


RANGES = [
    parse_vary("harvest.fraction=0.2:0.8"),
    parse_vary(f"{DAYS}=7:34"),
    parse_vary("pupae.isolate=true,false"),
]


@given(n=st.integers(1, 64), seed=st.integers(0, 2**32 - 1))
@settings(max_examples=30, deadline=None)
def test_a_latin_hypercube_puts_one_point_in_each_slice(n, seed):
    points = latin_hypercube(RANGES, n, seed)
    slices = np.floor((points["harvest.fraction"] - 0.2) / 0.6 * n * (1 - 1e-12))
    assert sorted(slices) == list(range(n))
    assert points[DAYS].between(7, 34).all()
    # Two listed values take half of the slices each, but for the slice they share.
    assert abs(points["pupae.isolate"].sum() - n / 2) <= 0.5


@given(power=st.integers(0, 6), seed=st.integers(0, 2**32 - 1))
@settings(max_examples=30, deadline=None)
def test_a_sobol_design_is_balanced_and_extends_a_smaller_one(power, seed):
    n = 2**power
    points = sobol(RANGES, 2 * n, seed)
    pd.testing.assert_frame_equal(points.head(n), sobol(RANGES, n, seed))
    slices = np.floor((points["harvest.fraction"] - 0.2) / 0.6 * 2 * n * (1 - 1e-12))
    assert sorted(slices) == list(range(2 * n))
    assert points["pupae.isolate"].sum() == n


def test_both_ends_of_a_whole_range_are_reached_and_equally_often():
    points = sobol([parse_vary(f"{DAYS}=1:4")], 64, 3)
    assert points[DAYS].value_counts().to_dict() == {1: 16, 2: 16, 3: 16, 4: 16}


def test_another_seed_gives_another_design():
    first, second = (latin_hypercube(RANGES, 8, seed) for seed in (1, 2))
    assert not first.equals(second) and first.equals(latin_hypercube(RANGES, 8, 1))


@pytest.mark.parametrize(
    ("factors", "design", "n", "parts"),
    [
        (RANGES, "factorial", None, ("harvest.fraction", "0.2:0.8", "LOW:HIGH:STEP")),
        (RANGES, "sobol", 12, ("points", "12", "8 or 16")),
        (RANGES, "sobol", None, ("points", "nothing")),
        (RANGES, "lhs", 0, ("points", "0", "from 1 to")),
        (RANGES[2:], "factorial", 4, ("points", "4", "lhs or sobol")),
        (RANGES, "grid", 4, ("design", "grid", "factorial, lhs, sobol")),
        ([], "factorial", None, ("vary", "nothing", "at least one key")),
        (RANGES + RANGES[:1], "lhs", 4, ("harvest.fraction", "given twice")),
    ],
)
def test_designs_that_cannot_be_are_refused(factors, design, n, parts):
    with pytest.raises(InputError) as error:
        make_design(factors, design, n)
    assert [part for part in parts if part not in error.value.line] == []


def test_too_many_combinations_are_refused_before_they_are_made():
    many = [Factor(key, tuple(range(1000))) for key in (DAYS, "harvest.interval_days")]
    with pytest.raises(InputError, match="points = 1000000; allowed: at most 100000"):
        full_factorial(many)


def test_a_point_takes_numbers_of_numpy_and_keeps_python_types():
    point = check_point({DAYS: np.int64(14), "harvest.fraction": np.float64(0.5)}, "here")
    assert point == {DAYS: 14, "harvest.fraction": 0.5}
    assert [type(v) for v in point.values()] == [int, float]
    with pytest.raises(InputError, match="here: start.breeders = 0; allowed: a whole number"):
        check_point({"start.breeders": 0}, "here")
