"""What knowing one key would take off a difference: against known answers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from colony_sim.statistics.information import LEAST_RUNS, WORTH, narrowing, runs_needed


def linear(n: int, seed: int, noise: float = 2.0, mean: float = 1.0):
    """D = mean + 2 a + b + 0 c + noise, a and b with correlation 1/2."""
    rng = np.random.default_rng(seed)
    keys = rng.multivariate_normal([0, 0, 0], [[1, 0.5, 0], [0.5, 1, 0], [0, 0, 1]], n)
    return keys, mean + 2 * keys[:, 0] + keys[:, 1] + rng.normal(0, noise, n)


# E[D | a] = 1 + (2 + 1/2) a and E[D | b] = 1 + (2/2 + 1) b, so the shares follow.
VARIANCE = 4 + 1 + 2 * 2 * 0.5 + 4
SHARES = {"a": 2.5**2 / VARIANCE, "b": 2.0**2 / VARIANCE, "c": 0.0}


def test_shares_of_a_linear_model_with_correlated_keys():
    found = narrowing("abc", *linear(2000, 1)).table.set_index("key")
    for key, share in SHARES.items():
        assert found.loc[key, "share"] == pytest.approx(share, abs=0.03)
        assert found.loc[key, "share_low"] <= share <= found.loc[key, "share_high"]
    assert list(found.index) == ["a", "b", "c"]


def test_first_order_indices_of_the_ishigami_function():
    # Ishigami & Homma (1990, Proc. ISUMA, 398-403), a = 7, b = 0.1; closed forms as in SALib's
    # documentation: 0.3139, 0.4424 and 0 (x3 acts through its interaction with x1 alone).
    a, b = 7.0, 0.1
    x = np.random.default_rng(3).uniform(-np.pi, np.pi, size=(2000, 3))
    y = np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])
    total = a**2 / 8 + b * np.pi**4 / 5 + b**2 * np.pi**8 / 18 + 0.5
    exact = {"x1": 0.5 * (1 + b * np.pi**4 / 5) ** 2 / total, "x2": a**2 / 8 / total, "x3": 0.0}
    result = narrowing(list(exact), x, y)
    found = result.table.set_index("key")
    for key, index in exact.items():
        assert found.loc[key, "share"] == pytest.approx(index, abs=0.03)
    assert result.leading == ("x2",) and set(result.shown) == {"x1", "x2"}


def test_few_runs_are_unbiased_and_their_standard_errors_are_right():
    # Means over 40 sets of 40 runs; 4 standard errors of such a mean.
    tables = [narrowing("abc", *linear(40, seed)).table.set_index("key") for seed in range(40)]
    for key, share in SHARES.items():
        shares = np.array([table.loc[key, "share"] for table in tables])
        spread = shares.std(ddof=1)
        assert abs(shares.mean() - share) < 4 * spread / math.sqrt(len(shares))
        errors = np.array([table.loc[key, "share_se"] for table in tables])
        assert 0.6 * spread < errors.mean() < 2.5 * spread
    # No influence is called shown in at most 5 %: 9 or more of 40 have p < 0.001.
    assert sum(table.loc["c", "shown"] for table in tables) < 9
    assert sum(table.loc["a", "shown"] for table in tables) > 36


def test_options_without_an_order_are_told_by_their_means():
    rng = np.random.default_rng(4)
    option = rng.integers(0, 5, 40)
    y = np.array([0.0, 3.0, -1.0, 2.0, 0.5])[option] + rng.normal(size=40)
    # Mean squares within the options and in all, as in an analysis of variance.
    within = sum(((y[option == k] - y[option == k].mean()) ** 2).sum() for k in range(5)) / 35
    for numbers in ([0, 1, 2, 3, 4], [3, 0, 4, 1, 2]):
        draws = np.column_stack([np.array(numbers)[option], rng.normal(size=40)])
        found = narrowing("ab", draws, y, options="a").table.set_index("key")
        assert found.loc["a", "share"] == pytest.approx(1 - within / y.var(ddof=1))
    assert found.loc["a", "shown"] and not found.loc["b", "shown"]


def test_expected_range_after_measuring():
    keys, y = linear(500, 5)
    row = narrowing("abc", keys, y).table.set_index("key").loc["a"]
    assert row["range_now"] == pytest.approx(2 * stats.norm.ppf(0.975) * y.std(ddof=1))
    assert row["range_after"] == pytest.approx(row["range_now"] * math.sqrt(1 - row["share"]))


@pytest.mark.parametrize("mean", [1.0, -3.0])
def test_value_of_knowing_a_key(mean):
    # E[D | key] is normal with this mean and deviation s: the unit normal loss integral
    # (Raiffa & Schlaifer 1961).
    found = narrowing("abc", *linear(2000, 7, mean=mean)).table.set_index("key")
    for key, s in (("a", 2.5), ("b", 2.0)):
        loss = s * stats.norm.pdf(mean / s) + mean * stats.norm.cdf(mean / s) - max(mean, 0)
        assert abs(found.loc[key, "value"] - loss) < 4 * found.loc[key, "value_se"] + 0.02
        turns = stats.norm.cdf(-abs(mean) / s)
        assert found.loc[key, "turns"] == pytest.approx(turns, abs=0.05)
    assert found.loc["c", "value"] == pytest.approx(0, abs=0.05)


def test_keys_that_the_runs_cannot_order_lead_together():
    apart = 0
    for seed in range(30):
        rng = np.random.default_rng([seed, 11])
        keys = rng.normal(size=(60, 3))
        alike = keys @ [1.0, 1.0, 0.0] + rng.normal(0, 0.5, 60)
        apart += set(narrowing("abc", keys, alike).leading) != {"a", "b"}
    # Two that are alike are told apart in about 5 %; 8 or more of 30 have p < 0.0001.
    assert apart < 8
    one = keys @ [3.0, 1.0, 0.0] + rng.normal(0, 0.5, 60)
    assert narrowing("abc", keys, one).leading == ("a",)


def test_many_keys_do_not_hide_the_one_that_decides():
    # As many keys as the shipped worlds have with the hands: with 2000 permutations, Holm could
    # not get below 115 / 2000 = 0.0575, whatever a key told.
    rng = np.random.default_rng(41)
    keys = rng.normal(size=(40, 115))
    found = narrowing([f"k{i}" for i in range(115)], keys, keys[:, 7] + 0.3 * rng.normal(size=40))
    assert found.shown == ("k7",)
    assert list(found.table.loc[found.table["told_apart"], "key"]) == ["k7"]


def test_runs_of_one_draw_count_as_one():
    keys, y = linear(50, 13)
    shift = np.random.default_rng(1).normal(size=50)
    twice = narrowing("abc", np.vstack([keys, keys]), np.concatenate([y + shift, y - shift]))
    once = narrowing("abc", keys, y)
    assert twice.runs == 50
    assert np.allclose(
        twice.table.drop(columns="key").astype(float), once.table.drop(columns="key").astype(float)
    )


def test_too_few_runs_and_keys_that_do_not_vary():
    keys, y = linear(LEAST_RUNS - 1, 17)
    few = narrowing("abc", keys, y)
    assert few.leading == () and few.table["share"].isna().all() and not few.table["shown"].any()
    assert few.table["range_now"].notna().all()
    assert narrowing("abc", np.empty((0, 3)), np.empty(0)).runs == 0
    assert narrowing("abc", keys, np.ones(len(y))).leading == ()
    keys, y = linear(100, 19)
    keys[:, 2] = 4.0
    row = narrowing("abc", keys, y).table.set_index("key").loc["c"]
    assert (row["share"], row["p_holm"], row["shown"]) == (0.0, 1.0, False)


def test_the_same_runs_give_the_same_table():
    first, second = (narrowing("abc", *linear(60, 23)).table for _ in range(2))
    assert first.equals(second)


def test_runs_needed_show_a_key_in_four_of_five_cases():
    n = runs_needed(3)
    assert n > runs_needed(1) and runs_needed(3, 0.5) < n < runs_needed(3, 0.1)
    hits = 0
    for seed in range(40):
        rng = np.random.default_rng([seed, 29])
        keys = rng.normal(size=(n, 3))
        y = keys[:, 1] + rng.normal(0, math.sqrt(1 / WORTH - 1), n)
        hits += "b" in narrowing("abc", keys, y).shown
    # 80 % asked; Holm gives a little more. Binomial(40, 0.8) is below 24 with p < 0.002.
    assert hits >= 24
