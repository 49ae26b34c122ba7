import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from colony_sim.statistics.core import holm, mean_interval, paired, sign_flip_p
from colony_sim.statistics.paired import (
    all_paired_differences,
    died_out_comparison,
    mcnemar_exact,
    paired_differences,
    policy_summary,
)


def make(values, statuses=None):
    """Table from {policy: [yield per seed]}."""
    rows = []
    for policy, ys in values.items():
        states = (statuses or {}).get(policy, ["settled"] * len(ys))
        for seed, (y, status) in enumerate(zip(ys, states, strict=True)):
            rows.append({"policy": policy, "seed": seed, "status": status, "y": y})
    return pd.DataFrame(rows)


def fieller(first, second):
    found = paired(first, second)
    return found.ratio_low, found.ratio_high


def shared(n=10, seed=1, shift=2.0):
    rng = np.random.default_rng(seed)
    colony = rng.normal(50, 10, size=n)
    return make(
        {
            "base": colony + rng.normal(0, 1, size=n),
            "new": colony + shift + rng.normal(0, 1, size=n),
        }
    )


def test_summary_counts_each_status_and_averages_every_run():
    statuses = ["settled", "settled", "settled", "unsettled", "died_out"]
    table = make(
        {"a": [1.0, 2.0, 6.0, 11.0, 0.0], "b": [0.0] * 5},
        {"a": statuses, "b": ["died_out"] * 5},
    )
    a, b = policy_summary(table).to_dict("records")
    assert (a["n_runs"], a["n_settled"], a["n_unsettled"], a["n_died_out"]) == (5, 3, 1, 1)
    assert (a["n_used"], a["mean"]) == (5, 4)
    low, high = stats.ttest_1samp([1.0, 2.0, 6.0, 11.0, 0.0], 0).confidence_interval(0.95)
    assert (a["low"], a["high"]) == pytest.approx((low, high))
    assert (b["n_died_out"], b["n_used"], b["mean"]) == (5, 5, 0)


def test_one_survivor_of_several_is_no_mean():
    several = policy_summary(make({"a": [1.0, np.nan, np.nan]})).iloc[0]
    assert several["n_used"] == 1 and several[["mean", "sd", "low", "high"]].isna().all()
    assert policy_summary(make({"a": [1.0]})).iloc[0]["mean"] == 1


def test_summary_leaves_out_undefined_values_and_says_so():
    row = policy_summary(make({"a": [1.0, np.nan, 3.0]})).iloc[0]
    assert (row["n_settled"], row["n_used"], row["mean"]) == (3, 2, 2)


@pytest.mark.parametrize("level", [0.9, 0.95])
def test_difference_equals_scipy(level):
    table = shared()
    row = paired_differences(table, "base", level).iloc[0]
    new = table.loc[table["policy"] == "new", "y"].to_numpy()
    base = table.loc[table["policy"] == "base", "y"].to_numpy()
    test = stats.ttest_rel(new, base)
    interval = test.confidence_interval(level)
    assert (row["low"], row["high"]) == pytest.approx((interval.low, interval.high))
    assert row["p_t"] == pytest.approx(test.pvalue) and row["p_holm"] == row["p_t"]
    assert row["difference"] == pytest.approx((new - base).mean())
    assert row["relative_percent"] == pytest.approx(100 * (new.mean() / base.mean() - 1))
    assert row["relative_low"] < row["relative_percent"] < row["relative_high"]
    assert (row["policy"], row["baseline"], row["n_pairs"], row["n_dropped"]) == (
        "new",
        "base",
        10,
        0,
    )


def test_pairs_match_on_seed_whatever_the_row_order():
    table = shared(n=20, shift=0.3)
    shuffled = table.sample(frac=1, random_state=3)
    a = paired_differences(table, "base").iloc[0]
    b = paired_differences(shuffled, "base")
    assert b.iloc[0]["difference"] == pytest.approx(a["difference"])
    assert b.iloc[0]["low"] == pytest.approx(a["low"])
    assert b.iloc[0]["p_sign_flip"] == a["p_sign_flip"]


def test_every_seed_with_a_value_under_both_is_used():
    table = make(
        {"base": [1.0, 2, 3, 4, 5], "new": [2.0, 4, 9, 9, np.nan, 7]},
        {
            "base": ["settled"] * 3 + ["died_out", "settled"],
            "new": ["settled", "settled", "unsettled", "settled", "settled", "settled"],
        },
    )
    row = paired_differences(table, "base").iloc[0]
    assert (row["n_pairs"], row["n_dropped"]) == (4, 2)
    assert row["difference"] == 3.5
    assert (row["policy_mean"], row["baseline_mean"]) == (6, 2.5)


@pytest.mark.parametrize("n", [0, 1])
def test_fewer_than_two_pairs_have_no_interval(n):
    table = make({"base": [1.0] * 4, "new": [3.0] * n + [np.nan] * (4 - n)})
    row = paired_differences(table, "base").iloc[0]
    assert row["n_pairs"] == n
    unknown = ["low", "high", "relative_low", "relative_high", "p_t", "p_sign_flip", "p_holm"]
    assert row[unknown].isna().all() and row["holm_family"] == 0
    assert math.isnan(row["difference"]) == (n == 0)


def test_coverage_of_both_intervals():
    """2000 data sets of 12 pairs: each 95 % interval covers 95 % of the time.

    The count must lie in the central 99.9 % of a binomial(2000, 0.95): a right interval fails
    this test once in 1000 seeds (twice that for the two intervals together).
    """
    rng = np.random.default_rng(77)
    hits = ratio_hits = 0
    for _ in range(2000):
        colony = rng.normal(20, 4, size=12)
        base = colony + rng.normal(0, 1, size=12)
        new = 1.2 * colony + rng.normal(0, 1, size=12)
        low, high = mean_interval(new - base).limits
        hits += low <= 4 <= high
        low, high = fieller(new, base)
        ratio_hits += low <= 1.2 <= high
    least, most = stats.binom.interval(0.999, 2000, 0.95)
    assert least <= hits <= most
    assert least <= ratio_hits <= most


def test_relative_and_absolute_interval_never_disagree_about_zero():
    rng = np.random.default_rng(9)
    seen = set()
    for _ in range(300):
        base = rng.normal(20, 3, size=8)
        new = base + rng.normal(0.8, 1, size=8)
        low, high = mean_interval(new - base).limits
        ratio_low, ratio_high = fieller(new, base)
        out = low > 0 or high < 0
        assert out == (ratio_low > 1 or ratio_high < 1)
        seen.add(out)
    assert seen == {True, False}


def test_fieller_of_a_baseline_not_clear_of_zero_is_unknown():
    assert all(map(math.isnan, fieller([1.0, 2, 3], [-1.0, 0, 1.5])))
    assert fieller([20.0, 22, 24], [10.0, 11, 12]) == pytest.approx((2, 2))


def test_sign_flip_equals_scipy_permutation_test():
    d = np.array([1.2, -0.4, 2.2, 0.9, 1.5, -0.1, 0.8])
    exact = stats.permutation_test(
        (d,), lambda x, axis: x.mean(axis), permutation_type="samples", n_resamples=np.inf
    )
    assert sign_flip_p(d) == pytest.approx(exact.pvalue)
    # Hand-worked: 2 of the 16 sign patterns are as extreme.
    assert sign_flip_p([1.0, 2.0, 3.0, 4.0]) == 2 / 16


def test_sign_flip_by_sampling_is_repeatable_and_near_the_t_test():
    d = np.random.default_rng(2).normal(0.4, 1, size=40)
    p = sign_flip_p(d)
    assert p == sign_flip_p(d)
    assert p == pytest.approx(stats.ttest_1samp(d, 0).pvalue, abs=0.01)


def test_equal_differences_do_not_yield_a_p_value_of_zero():
    same = paired_differences(make({"base": [1.0, 2, 3], "new": [1.0, 2, 3]}), "base").iloc[0]
    assert (same["difference"], same["low"], same["high"], same["p_t"]) == (0, 0, 0, 1)
    shifted = paired_differences(make({"base": [1.0, 2, 3], "new": [2.0, 3, 4]}), "base").iloc[0]
    assert shifted["p_t"] == 2 / 8


def test_holm_by_hand():
    # Sorted .01 .02 .03 .04 times 4 3 2 1 = .04 .06 .06 .04; made monotone: .04 .06 .06 .06.
    assert holm([0.04, 0.01, 0.03, 0.02]) == pytest.approx([0.06, 0.04, 0.06, 0.06])
    # NaN is no member: factors 2 and 1; capped at 1.
    found = holm([0.6, np.nan, 0.9])
    assert found[[0, 2]] == pytest.approx([1, 1]) and math.isnan(found[1])


def three():
    rng = np.random.default_rng(6)
    colony = rng.normal(50, 10, size=8)
    return make(
        {
            p: colony + s + rng.normal(0, 1, size=8)
            for p, s in (("base", 0.0), ("b", 1.0), ("c", 2.0))
        }
    )


def test_holm_is_applied_within_each_measure():
    table = three()
    table["z"] = -(table["y"] ** 2)
    found = paired_differences(table, "base")
    assert set(found["measure"]) == {"y", "z"} and (found["holm_family"] == 2).all()
    for _, rows in found.groupby("measure"):
        assert rows["p_holm"].to_numpy() == pytest.approx(holm(rows["p_t"].to_numpy()))
    assert set(paired_differences(table, "base", measures=["z"])["measure"]) == {"z"}


def test_all_pairs_have_both_directions_and_one_family():
    table = three()
    found = all_paired_differences(table).set_index(["policy", "baseline"])
    assert len(found) == 6 and (found["holm_family"] == 3).all()
    for baseline in ("base", "b", "c"):
        one = paired_differences(table, baseline).set_index(["policy", "baseline"])
        same = [c for c in one.columns if c not in ("p_holm", "holm_family")]
        pd.testing.assert_frame_equal(one[same], found.loc[one.index, same])
    assert found.loc[("b", "c"), "p_holm"] == found.loc[("c", "b"), "p_holm"]


def test_one_policy_gives_empty_tables():
    table = make({"only": [1.0, 2.0]})
    assert paired_differences(table, "only").empty
    assert all_paired_differences(table).empty


def test_died_out_shares_and_mcnemar():
    d, s = "died_out", "settled"
    table = make(
        {"base": [1.0] * 10, "new": [1.0] * 10},
        {"base": [d, d] + [s] * 8, "new": [s, d, d, d, d, d, d, d, s, "unsettled"]},
    )
    base, new = died_out_comparison(table, "base").to_dict("records")
    assert (base["n_died_out"], new["n_died_out"], new["share"]) == (2, 7, 0.7)
    # Clopper-Pearson limits are beta quantiles.
    assert new["low"] == pytest.approx(stats.beta.ppf(0.025, 7, 4))
    assert new["high"] == pytest.approx(stats.beta.ppf(0.975, 8, 3))
    assert (new["n_pairs"], new["only_policy"], new["only_baseline"]) == (10, 6, 1)
    # By hand: 2 (C(7,0) + C(7,1)) / 2^7.
    assert new["p_mcnemar"] == pytest.approx(2 * (1 + 7) / 128)
    assert new["p_holm"] == new["p_mcnemar"] and math.isnan(base["p_mcnemar"])


def test_mcnemar_without_discordant_pairs_is_one():
    assert mcnemar_exact(0, 0) == 1


def test_bad_tables():
    table = shared()
    with pytest.raises(ValueError, match="baseline"):
        paired_differences(table, "nobody")
    with pytest.raises(ValueError, match="baseline"):
        died_out_comparison(table, "nobody")
    with pytest.raises(ValueError, match="lacks"):
        policy_summary(table.drop(columns="status"))
    with pytest.raises(ValueError, match="lacks"):
        policy_summary(table, measures=["nothing"])
    with pytest.raises(ValueError, match="status"):
        policy_summary(table.assign(status="fine"))
    with pytest.raises(ValueError, match="twice"):
        policy_summary(pd.concat([table, table]))
