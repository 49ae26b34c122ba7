"""The paired core on arrays: against the same written out for one pair, and against scipy."""

import itertools
import math

import numpy as np
import one_pair
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from scipy import stats

from colony_sim.statistics import core
from colony_sim.statistics.best import leading
from colony_sim.statistics.pointwise import differences, ranking, summarise

LEVELS = st.sampled_from([0.8, 0.95, 0.99])
# Few different values, so that equal differences, zeros and ties come up.
VALUES = st.one_of(
    st.just(math.nan), st.integers(-3, 3).map(float), st.floats(-50, 50).map(lambda x: round(x, 3))
)
SHAPES = array_shapes(min_dims=1, max_dims=3, min_side=0, max_side=7)


@st.composite
def sides(draw):
    shape = draw(SHAPES)
    return tuple(draw(arrays(float, shape, elements=VALUES)) for _ in range(2))


def rows_of(*arrays_):
    """Rows along the last axis of arrays of one shape, pairs that lack a value left out."""
    for place in np.ndindex(arrays_[0].shape[:-1]):
        rows = [array[place] for array in arrays_]
        known = np.all(np.isfinite(rows), axis=0)
        yield place, *(row[known] for row in rows)


def near(expected):
    return pytest.approx(expected, rel=1e-9, abs=1e-9, nan_ok=True)


@given(sides(), LEVELS)
def test_intervals_and_p_of_arrays_equal_those_of_one_pair(pair, level):
    found = core.paired(*pair, level)
    flipped, p = core.sign_flip_p(pair[0] - pair[1]), core.paired_p(pair[0] - pair[1])
    for place, first, second in rows_of(*pair):
        d = first - second
        assert found.n[place] == len(d)
        assert (found.low[place], found.high[place]) == near(one_pair.t_interval(d, level))
        assert (found.p[place], p[place]) == near((one_pair.t_test_p(d),) * 2)
        assert flipped[place] == near(one_pair.sign_flip_p(d))
        if len(d):
            means = first.mean(), second.mean(), d.mean()
            assert (found.first[place], found.second[place], found.difference[place]) == near(means)
        else:
            assert math.isnan(found.difference[place])


@given(sides(), LEVELS)
def test_fieller_of_arrays_equals_that_of_one_pair(pair, level):
    found = core.paired(*pair, level)
    for place, first, second in rows_of(*pair):
        t2 = stats.t.ppf(0.5 + level / 2, len(first) - 1) ** 2 / len(first) if len(first) > 1 else 0
        square = second.mean() ** 2 - t2 * second.var(ddof=1) if len(first) > 1 else 0
        if len(first) > 1 and abs(square) < 1e-6:
            continue  # On the brink of being unbounded rounding decides.
        limits = one_pair.fieller_interval(first, second, level)
        got = found.ratio_low[place], found.ratio_high[place]
        assert got == pytest.approx(limits, rel=1e-6, abs=1e-6, nan_ok=True)


@given(arrays(float, SHAPES, elements=VALUES), LEVELS)
def test_means_equal_scipy(x, level):
    found = core.mean_interval(x, level)
    for place, values in rows_of(x):
        assert found.n[place] == len(values)
        if len(values) > 1:
            mean, error = values.mean(), stats.sem(values)
            assert (found.mean[place], found.error[place]) == near((mean, error))
            if error > 1e-9:
                limits = stats.t.interval(level, len(values) - 1, mean, error)
                assert (found.low[place], found.high[place]) == near(limits)
        else:
            assert math.isnan(found.low[place]) and math.isnan(found.sd[place])


@given(arrays(float, (3, 6), elements=st.floats(-9, 9)), LEVELS)
def test_p_equals_scipy(d, level):
    p = core.paired_p(d)
    for i, row in enumerate(d):
        # Squares of smaller numbers lose digits, in scipy's sums otherwise than in ours.
        if row.std() > max(1e-6 * np.abs(row).max(initial=0), 1e-100):
            assert p[i] == near(stats.ttest_1samp(row, 0).pvalue)


@given(arrays(float, array_shapes(max_dims=3, max_side=6), elements=st.one_of(
    st.just(math.nan), st.floats(0, 1))))  # fmt: skip
def test_holm_of_arrays_equals_that_of_one_family(p):
    found = core.holm(p)
    for place in np.ndindex(p.shape[:-1]):
        assert found[place] == near(one_pair.holm(p[place]))


@pytest.mark.parametrize("n", [2, 14, 15, 40])
def test_sign_flips_of_many_rows_equal_those_of_one(n):
    d = np.random.default_rng(n).normal(0.3, 1, size=(4, 2, n))
    d[0, 0, 0] = math.nan
    found = core.sign_flip_p(d)
    for place, row in rows_of(d):
        assert found[place] == near(one_pair.sign_flip_p(row))


def runs_at_points(seed=3):
    """Three policies at four points, with runs that are missing, failed or have no value."""
    rng = np.random.default_rng(seed)
    rows = []
    for point, count in ((4, 6), (1, 9), (7, 2), (2, 3)):
        for number in range(count):
            shared = rng.normal(20, 4)
            for i, policy in enumerate(("a", "b", "c")):
                status = rng.choice(["settled", "settled", "settled", "unsettled", "failed"])
                value = shared + i + rng.normal(0, 1) if status == "settled" else math.nan
                if policy == "c" and point == 7:
                    continue
                rows.append({"point": point, "policy": policy, "seed": 100 * point + number,
                             "status": status, "y": value, "z": 0.0 * value})  # fmt: skip
    return pd.DataFrame(rows)


@pytest.mark.parametrize("seed", range(5))
def test_tables_of_points_equal_one_pair_at_a_time(seed):
    runs, policies, measures = runs_at_points(seed), ["b", "a", "c"], ["z", "y"]
    table = differences(runs, policies, "a", measures, 0.9)
    assert list(table["point"].unique()) == [4, 1, 7, 2]
    assert len(table) == 4 * 2 * 2
    for (point, measure), rows in table.groupby(["point", "measure"], sort=False):
        wide = runs[runs["point"] == point].pivot(index="seed", columns="policy", values=measure)
        wide = wide.reindex(columns=policies)
        for row in rows.itertuples():
            both = wide[[row.policy, row.baseline]].dropna().to_numpy().T
            assert (row.n_pairs, row.n_dropped) == (both.shape[1], len(wide) - both.shape[1])
            d = both[0] - both[1]
            assert (row.low, row.high) == near(one_pair.t_interval(d, 0.9))
            assert row.p_t == near(one_pair.t_test_p(d))
            percent = [100 * (x - 1) for x in one_pair.fieller_interval(*both, 0.9)]
            assert (row.relative_low, row.relative_high) == near(percent)
        assert rows["p_holm"].to_numpy() == near(one_pair.holm(rows["p_t"].to_numpy()))
        assert (rows["holm_family"] == rows["p_t"].notna().sum()).all()
    for row in summarise(runs, policies, measures, 0.9).itertuples():
        here = runs[(runs["point"] == row.point) & (runs["policy"] == row.policy)]
        values = here[row.measure].dropna().to_numpy()
        assert (row.n_runs, row.n_used) == (len(here), len(values))
        assert row.n_failed == (here["status"] == "failed").sum()
        assert (row.low, row.high) == near(one_pair.t_interval(values, 0.9))


@pytest.mark.parametrize("more", [True, False])
@pytest.mark.parametrize("seed", range(5))
def test_what_ties_with_the_best_is_told_by_all_pairs(seed, more):
    rng = np.random.default_rng(seed)
    x = rng.normal(20, 4, size=8) + rng.normal(0, 1, size=(5, 8)) + np.arange(5)[:, None]
    x[rng.random(x.shape) < 0.1] = math.nan
    x[2] = math.nan
    found = leading(x, more)
    means = [np.nanmean(row) if np.isfinite(row).any() else math.nan for row in x]
    assert found.means == near(means)
    assert found.best == (np.nanargmax(means) if more else np.nanargmin(means))
    pairs = list(itertools.combinations([0, 1, 3, 4], 2))
    raw = [one_pair.t_test_p((d := x[i] - x[j])[np.isfinite(d)]) for i, j in pairs]
    for (i, j), p in zip(pairs, one_pair.holm(np.array(raw)), strict=True):
        if found.best in (i, j):
            other = i + j - found.best
            assert found.p_holm[other] == near(p)
            assert found.ties[other] == (not p < 0.05)
    assert not found.ties[2] and found.ties[found.best]
    runs = pd.DataFrame([
        {"point": 1, "policy": str(i), "seed": s, "y": x[i, s]}
        for i, s in np.ndindex(x.shape)
    ])  # fmt: skip
    ranked = ranking(runs, list("01234"), "y", more).set_index("policy")
    assert ranked.index[0] == str(found.best) and "2" not in ranked.index
    for policy, row in ranked.iterrows():
        assert row["ties_with_first"] == found.ties[int(policy)]
        both = np.isfinite(x[int(policy)] - x[found.best]).sum()
        assert row["n_pairs"] == (both if row["rank"] > 1 else 0)
