"""What a comparison over worlds leans on: value of information against nested Monte Carlo."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from made_up_worlds import KEYS, PROFILE, made_up

from colony_sim.statistics.information import narrowing
from colony_sim.studies.comparison.leans_on import (
    DAYS_A_YEAR,
    leaning_in_words,
    leans_on,
    what_would_tell,
)


def gain(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A gain that is not linear in two unknowns, and has both together."""
    return np.sin(2 * x) + 0.5 * x * y + 0.3 * y**2 - 0.4


def nested(rng: np.random.Generator, outer: int = 4000, inner: int = 4000) -> tuple[float, float]:
    """Value of knowing x and of knowing y, one loop within another."""
    found = []
    for known in range(2):
        fixed = rng.normal(size=outer)
        free = rng.normal(size=inner)
        sides = (fixed[:, None], free[None, :]) if known == 0 else (free[None, :], fixed[:, None])
        means = gain(*sides).mean(axis=1)
        found.append(float(np.maximum(means, 0).mean() - max(means.mean(), 0)))
    return found[0], found[1]


def test_value_of_an_unknown_against_nested_monte_carlo():
    x, y = nested(np.random.default_rng(1))
    rng = np.random.default_rng(2)
    keys = rng.normal(size=(3000, 3))
    results = gain(keys[:, 0], keys[:, 1]) + 0.7 * rng.normal(size=3000)
    table = narrowing("xyz", keys, results).table.set_index("key")
    for key, value in (("x", x), ("y", y)):
        assert table.loc[key, "value"] == pytest.approx(value, abs=3 * table.loc[key, "value_se"])
        assert table.loc[key, "value"] == pytest.approx(value, abs=0.03)
    assert table.loc["x", "told_apart"] and not table.loc["z", "told_apart"]


def test_permuted_values_are_seldom_told_apart():
    """Ten keys without influence: a false alarm in one of twenty tables (Holm), not more."""
    alarms = 0
    for seed in range(60):
        rng = np.random.default_rng([seed, 7])
        table = narrowing("abcdefghij", rng.normal(size=(60, 10)), rng.normal(size=60)).table
        alarms += bool(table["told_apart"].any())
    # 3 expected; more than 8 has a probability below 0.003 (binomial).
    assert alarms <= 8


def runs_of(gains: np.ndarray, twice: int = 0) -> pd.DataFrame:
    """Runs of A and B in these worlds, the first of them lived twice."""
    rows = []
    worlds = [*range(1, len(gains) + 1), *range(1, twice + 1)]
    for replicate, world in enumerate(worlds, 1):
        for policy, value in (("A", gains[world - 1]), ("B", 0.0)):
            rows.append({
                "policy": policy, "replicate": replicate, "seed": 100 + replicate, "world": world,
                "yield_g_per_day": value,
            })  # fmt: skip
    return pd.DataFrame(rows)


def test_the_unknown_that_decides_is_named_with_its_measurement():
    worlds = made_up(200)
    x = np.log(worlds.draws[:, 1])
    gains = 4.0 * (x - x.mean()) + np.random.default_rng(3).normal(0.0, 0.2, 200)
    evpi = float(np.maximum(gains, 0).mean() - max(gains.mean(), 0))
    found = leans_on(runs_of(gains, twice=8), worlds, ("A", "B"), evpi)
    assert found.worlds == 200 and set(found.table["key"]) == set(KEYS)
    first = found.table.iloc[0]
    assert first["key"] == KEYS[1] and first["told_apart"] and first["kind"] == "value"
    assert first["value_g_per_year"] == pytest.approx(DAYS_A_YEAR * first["value_g_per_day"])
    # Nearly all that is to be known; no more than knowing everything.
    assert 0.9 * evpi < first["value_g_per_day"] < evpi + 2 * first["value_g_per_day_se"]
    assert f"({first['label']}): {first['measurement']}." in what_would_tell(found)
    text = leaning_in_words(found)
    assert first["label"] in text and first["measurement"] in text and "g a year" in text
    assert not found.table.iloc[1:]["told_apart"].any()


def test_where_nothing_is_told_apart_the_text_says_so():
    gains = np.random.default_rng(4).normal(0.0, 1.0, 40)
    found = leans_on(runs_of(gains), PROFILE, ("A", "B"), 0.4)
    assert "no single value is told apart from luck in 40 colonies" in leaning_in_words(found)
    assert "colony-sim trial FOLDER" in what_would_tell(found)


def test_what_never_turns_the_choice_is_worth_nothing():
    """To the last digit: sums in another order differ by rounding, which is no value."""
    for seed in range(10):
        rng = np.random.default_rng([seed, 8])
        keys = rng.normal(size=(160, 2))
        keys[:, 0] = keys[:, 0] > 2.0
        results = 0.1 * rng.normal(size=160) + 7.3 + keys[:, 0]
        table = narrowing("ab", keys, results, options="a").table
        assert table["value_p_holm"].to_list() == [1.0, 1.0] and not table["told_apart"].any()
