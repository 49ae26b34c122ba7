"""Gains over worlds: against closed forms, nested Monte Carlo and other estimates.

Seeds are fixed. Statistical limits are given as standard errors of what is simulated; the
false-alarm rate for another seed is that of the normal law, two-sided: below 1e-3 for each test.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from colony_sim.statistics import over_worlds, variance_split
from colony_sim.statistics.currencies import in_currencies
from colony_sim.statistics.over_worlds import verdict_over_worlds
from colony_sim.statistics.variance_split import Sample, split_of_variance
from colony_sim.statistics.worlds_design import (
    MOST_REPLICATES,
    least_error,
    replicates_a_world,
    share_error,
    worlds_needed,
)


def nested(rng, expected, within, replicates):
    """Gains with normal chance, one array a world; replicates one number or one for each."""
    n = np.broadcast_to(replicates, len(expected))
    return [g + rng.normal(0, math.sqrt(within), size=k) for g, k in zip(expected, n, strict=True)]


def unit_loss(z):
    """Unit normal loss: E max(0, Z - z) of a standard normal Z (Raiffa & Schlaifer 1961)."""
    return stats.norm.pdf(z) - z * stats.norm.sf(z)


SHAPES = {
    "exponential": lambda rng, n: rng.exponential(size=n) - 1,
    "log-normal": lambda rng, n: (
        (np.exp(0.8 * rng.normal(size=n)) - math.exp(0.32))
        / math.sqrt(math.expm1(0.64) * math.exp(0.64))
    ),
    "bimodal": lambda rng, n: (
        (rng.choice([-1.0, 1.0], n) + 0.3 * rng.normal(size=n)) / math.sqrt(1.09)
    ),
    "lopsided": lambda rng, n: (
        (np.where(rng.random(n) < 0.2, -1.6, 0.4) + 0.25 * rng.normal(size=n)) / math.sqrt(0.7025)
    ),
}

# A few replicates of a few worlds, in numbers whose sums do not round.
GAINS = st.lists(
    st.lists(st.integers(-64, 64).map(lambda x: x / 8), min_size=1, max_size=4),
    min_size=2,
    max_size=9,
)
ZONES = st.sampled_from([0.0, 0.3, 2.1])


# Split of the variance


def test_split_by_hand():
    # Means 2, 6, 5 of variance 13 / 3; MSW = (2 + 8) / 2 = 5; mean of 1 / n = 2 / 3.
    found = split_of_variance([[1.0, 3.0], [4.0, 8.0], [5.0]])
    assert (found.worlds, found.runs, found.within) == (3, 5, pytest.approx(5))
    assert found.between == pytest.approx(13 / 3 - 5 * 2 / 3) and not found.negative


def test_split_is_unbiased_in_unbalanced_designs_and_its_errors_hold():
    # 600 samples of 60 worlds; 4 standard errors.
    rng = np.random.default_rng(1)
    replicates = np.tile([1, 2, 2, 5], 15)
    found = [
        split_of_variance(nested(rng, rng.normal(1, 1.5, 60), 4.0, replicates)) for _ in range(600)
    ]
    moments, withins = np.array([[f.moment, f.within] for f in found]).T
    for values, truth in ((moments, 2.25), (withins, 4.0)):
        assert abs(values.mean() - truth) < 4 * values.std(ddof=1) / math.sqrt(600)
    # The bootstrap over so few worlds is a little too small; 600 SDs have an error of 3 %.
    assert np.mean([f.moment_se for f in found]) == pytest.approx(moments.std(ddof=1), rel=0.15)
    assert np.mean([f.within_se for f in found]) == pytest.approx(withins.std(ddof=1), rel=0.15)


def test_no_variance_between_worlds_is_told_and_counted_as_none():
    # Means of worlds that are alike: 0.5 in each, with chance in it.
    split = split_of_variance([[0.0, 1.0]] * 6)
    assert split.negative and split.moment == pytest.approx(-0.25) and split.between == 0
    found = verdict_over_worlds([[0.0, 1.0]] * 6)
    assert found.negative and found.sd_worlds == 0 and found.reliability == 0
    assert (found.probability_a, found.low, found.high) == (1, 0.5, 0.5)
    assert (found.regret_a, found.regret_b) == pytest.approx(
        (0, 0.5)
    ) and found.probability_a_se > 0.05
    assert found.pairs_a == 0.5


def test_equal_gains_are_no_spread():
    found = split_of_variance([[0.1] * 3, [0.1] * 7, [0.1]])
    assert (found.moment, found.negative) == (0, False) and found.within < 1e-30


# Verdict


@pytest.mark.parametrize("zone", [0.0, 0.4])
def test_closed_forms_of_normal_worlds(zone, monkeypatch):
    monkeypatch.setattr(variance_split, "_RESAMPLES", 50)
    # 60 samples of 400 worlds of two replicates, half of the variance of a mean from chance.
    # Within 4 standard errors and a bias of 0.01.
    rng = np.random.default_rng(3)
    mean, sd, within = 0.5, 1.0, 2.0
    samples = [nested(rng, rng.normal(mean, sd, 400), within, 2) for _ in range(60)]
    found = [verdict_over_worlds(gains, zone) for gains in samples]
    single = math.sqrt(sd**2 + within)
    truth = {
        "gain": mean,
        "probability_a": stats.norm.sf(zone, mean, sd),
        "probability_b": stats.norm.cdf(-zone, mean, sd),
        "probability_zone": np.diff(stats.norm.cdf([-zone, zone], mean, sd))[0],
        "pairs_a": stats.norm.sf(zone, mean, single),
        "pairs_b": stats.norm.cdf(-zone, mean, single),
        "regret_a": sd * unit_loss(mean / sd),
        "regret_b": sd * unit_loss(-mean / sd),
    }
    for name, expected in truth.items():
        values = np.array([getattr(f, name) for f in found])
        spread = values.std(ddof=1)
        assert abs(values.mean() - expected) < 4 * spread / math.sqrt(60) + 0.01, name
        # An SD of 60 values has an error of 9 %; the bootstrap one of 10 % in each.
        if spread > 0:
            error = np.mean([getattr(f, f"{name}_se") for f in found])
            assert error == pytest.approx(spread, rel=0.4), name
    # A bias of 0.01 in the share of a tail, where the density is 0.103, moves a limit by 0.1.
    assert np.mean([f.low for f in found]) == pytest.approx(mean - 1.645 * sd, abs=0.1)
    assert np.mean([f.high for f in found]) == pytest.approx(mean + 1.645 * sd, abs=0.1)
    assert np.mean([f.sd_worlds for f in found]) == pytest.approx(sd, abs=0.03)
    assert np.mean([f.sd_chance**2 for f in found]) == pytest.approx(within, abs=0.06)
    assert np.mean([f.reliability for f in found]) == pytest.approx(0.5, abs=0.02)


def test_better_than_plain_means_of_normal_worlds(monkeypatch):
    monkeypatch.setattr(variance_split, "_RESAMPLES", 4)  # No bootstrap error is looked at.
    # Half of the variance of a mean from chance: the plain share is 0.085 off, and this one is not.
    rng = np.random.default_rng(4)
    truth = stats.norm.cdf(0.8)
    samples = [nested(rng, rng.normal(0.8, 1, 400), 2.0, 2) for _ in range(40)]
    plain = np.array([np.mean([world.mean() > 0 for world in gains]) for gains in samples])
    found = np.array([verdict_over_worlds(gains).probability_a for gains in samples])
    assert plain.mean() - truth < -0.06 and abs(found.mean() - truth) < 0.02
    assert ((found - truth) ** 2).mean() < 0.3 * ((plain - truth) ** 2).mean()


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize(
    ("reliability", "bias", "of_regret"),
    [(0.67, 0.14, 0.065), (0.8, 0.085, 0.045), (0.9, 0.06, 0.03)],
)
def test_worlds_that_are_not_normal(shape, reliability, bias, of_regret):
    # 20 samples of 600 worlds, 19 thresholds: the bias that the docstring tells, and 0.025 for
    # the error of the simulation (0.03 / sqrt(20) = 0.007 for a threshold, 3.5 of them).
    rng = np.random.default_rng(5)
    many = SHAPES[shape](rng, 400_000)
    thresholds = np.quantile(many, np.linspace(0.05, 0.95, 19))
    share = np.array([(many > t).mean() for t in thresholds])
    regret = np.array([np.maximum(t - many, 0).mean() for t in thresholds])
    within = 2 * (1 - reliability) / reliability
    off, plain = [], []
    for _ in range(20):
        sample = Sample.of(nested(rng, SHAPES[shape](rng, 600), within, 2))
        points = over_worlds._expected_gains(
            sample.mean, sample.n, *map(float, sample.components())
        )
        alike = over_worlds._Points(sample.mean, np.full(600, 1 / 600))
        for kept, (at, weight) in ((off, points), (plain, alike)):
            above = at > thresholds[:, None]
            loss = np.maximum(thresholds[:, None] - at, 0)
            kept.append([above @ weight - share, loss @ weight - regret])
    off, plain = np.array(off), np.array(plain)
    largest, plainly = (np.abs(x.mean(axis=0)).max(axis=1) for x in (off, plain))
    assert largest[0] < bias and largest[1] < of_regret
    # Nearer the truth than plain means: in the mean square over all thresholds, and at good
    # reliability at the worst of them (near 0.67 two modes blur to one either way).
    assert reliability < 0.8 or (largest < plainly).all()
    assert ((off**2).mean(axis=(0, 2)) < (plain**2).mean(axis=(0, 2))).all()


def test_against_nested_monte_carlo():
    # Skewed worlds with chance of their own: what 2000 replicates a world say of the same worlds,
    # and six do (reliability 0.8). The worlds are the same, so
    # that the error is that of chance and of shrinking: 0.06, some 3 of the verdict's own errors.
    rng = np.random.default_rng(6)
    a, b = rng.gamma(4, 0.5, 400), rng.normal(1.7, 0.3, 400)
    expected = a - b
    many = nested(rng, expected, 1.6, 2000)
    few = [world[:6] for world in many]
    means = np.array([world.mean() for world in many])
    # The split: chance of 2000 replicates is a thousandth of that of one. 400 worlds are the same
    # under both, so that only chance parts them: an SD of 0.06 between, 0.05 within; 4 of them.
    # (Plain means of worlds are 0.27 too far apart.)
    split = split_of_variance(few)
    assert split.between == pytest.approx(means.var(ddof=1), abs=0.24)
    assert split.within == pytest.approx(np.mean([w.var(ddof=1) for w in many]), abs=0.21)
    for zone in (0.0, 0.3):
        found = verdict_over_worlds(few, zone)
        assert found.probability_a == pytest.approx((means > zone).mean(), abs=0.06)
        assert found.probability_b == pytest.approx((means < -zone).mean(), abs=0.06)
        assert found.regret_a == pytest.approx(np.maximum(-means, 0).mean(), abs=0.04)
        assert found.regret_b == pytest.approx(np.maximum(means, 0).mean(), abs=0.06)
        # All replicates: chance is nothing, and the shares are the plain ones.
        whole = verdict_over_worlds(many, zone)
        assert whole.probability_a == pytest.approx((means > zone).mean(), abs=0.01)
        assert whole.regret_a == pytest.approx(np.maximum(-means, 0).mean(), abs=0.005)


def test_unbalanced_designs_agree_with_the_truth(monkeypatch):
    monkeypatch.setattr(variance_split, "_RESAMPLES", 4)  # No bootstrap error is looked at.
    # 60 samples of 300 worlds with 1, 2 or 8 replicates; 4 standard errors and a bias of 0.015.
    rng = np.random.default_rng(7)
    replicates = np.tile([1, 2, 8], 100)
    found = [
        verdict_over_worlds(nested(rng, rng.normal(0.7, 1, 300), 2.0, replicates))
        for _ in range(60)
    ]
    for name, expected in (("probability_a", stats.norm.cdf(0.7)), ("regret_a", unit_loss(0.7))):
        values = np.array([getattr(f, name) for f in found])
        assert abs(values.mean() - expected) < 4 * values.std(ddof=1) / math.sqrt(60) + 0.015
    gains = np.array([[f.gain, f.gain_se] for f in found])
    assert gains[:, 1].mean() == pytest.approx(gains[:, 0].std(ddof=1), rel=0.4)


def test_one_replicate_a_world_is_single_pairs():
    gains = np.random.default_rng(8).normal(0.4, 1, 50)
    found = verdict_over_worlds(gains[:, None], 0.2)
    assert found.of_single_pairs
    assert found.probability_a == pytest.approx((gains > 0.2).mean())
    assert found.probability_a == pytest.approx(found.pairs_a)
    assert found.regret_a == pytest.approx(np.maximum(-gains, 0).mean())
    p = found.probability_a
    assert found.probability_a_se == pytest.approx(math.sqrt(p * (1 - p) / 50), rel=0.15)
    assert all(math.isnan(x) for x in (found.sd_worlds, found.sd_chance, found.reliability))
    assert not found.negative
    assert not verdict_over_worlds([*gains[:49, None], [0.1, 0.2]]).of_single_pairs


def test_no_chance_leaves_the_gains_as_they_are():
    gains = [[-1.0, -1.0], [0.0, 0.0], [2.0, 2.0], [3.0]]
    found = verdict_over_worlds(gains)
    shares = found.probability_a, found.probability_b, found.probability_zone
    assert shares == (0.5, 0.25, 0.25)
    assert (found.gain, found.regret_a, found.regret_b, found.sd_chance) == (1, 0.25, 1.25, 0)
    assert found.reliability == 1


def test_a_share_of_all_has_an_error():
    found = verdict_over_worlds([[5.0, 5.1], [6.0, 5.9], [7.0, 7.1], [6.5, 6.4]])
    assert found.probability_a == 1 and found.probability_a_se == least_error(1, 4) > 0.1
    assert found.pairs_a == 1 and found.pairs_a_se > 0


def test_means_are_drawn_in_to_the_variance_between_worlds(monkeypatch):
    rng = np.random.default_rng(15)
    gains = nested(rng, SHAPES["exponential"](rng, 90), 2.0, np.tile([1, 2, 6], 30))
    sample, split = Sample.of(gains), split_of_variance(gains)
    parts = sample.mean, sample.n, split.between, split.within
    for steps in (5, 0):
        monkeypatch.setattr(over_worlds, "_STEPS", steps)
        at, weight = over_worlds._expected_gains(*parts)
        assert weight.sum() == pytest.approx(1)
        assert weight @ at == pytest.approx(sample.mean.mean())
        spread = weight @ (at - sample.mean.mean()) ** 2
        assert spread == pytest.approx(split.between * 89 / 90)
    # Without EM steps: Louis's points, but for their common scale and origin.
    f = np.sqrt(split.between / (split.between + split.within / sample.n))
    drawn_in = f * (sample.mean - sample.mean.mean())
    assert weight == pytest.approx(np.full(90, 1 / 90))
    assert stats.zscore(at) == pytest.approx(stats.zscore(drawn_in))


def test_cells_of_many_worlds_change_next_to_nothing(monkeypatch):
    rng = np.random.default_rng(9)
    expected = SHAPES["lopsided"](rng, 1500)
    gains = nested(rng, expected, 0.5, rng.integers(1, 4, 1500))
    sample = Sample.of(gains)
    parts = sample.mean, sample.n, *map(float, sample.components())
    cells = over_worlds._expected_gains(*parts)
    monkeypatch.setattr(over_worlds, "_CELLS", 10_000)
    exact = over_worlds._expected_gains(*parts)
    assert not np.array_equal(cells.weight, exact.weight)
    for zone in (0.0, 0.4, 1.0):
        apart = over_worlds._functionals(cells, zone) - over_worlds._functionals(exact, zone)
        assert np.abs(apart).max() < 0.003


def test_sides_of_many_worlds_mirror():
    rng = np.random.default_rng(10)
    gains = nested(rng, SHAPES["exponential"](rng, 402), 0.5, 2)
    one, other = verdict_over_worlds(gains, 0.1), verdict_over_worlds([-g for g in gains], 0.1)
    assert one.probability_a == pytest.approx(other.probability_b, rel=1e-9)
    assert one.regret_a_se == pytest.approx(other.regret_b_se, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(GAINS, ZONES)
def test_a_and_b_mirror(gains, zone):
    one = verdict_over_worlds(gains, zone)
    other = verdict_over_worlds([[-g for g in world] for world in gains], zone)
    for name in ("probability", "pairs", "regret"):
        for end in ("", "_se"):
            a, b = getattr(one, f"{name}_a{end}"), getattr(other, f"{name}_b{end}")
            assert a == pytest.approx(b, rel=1e-9, abs=1e-9, nan_ok=True)
    assert (one.low, one.high) == pytest.approx((-other.high, -other.low), rel=1e-9, abs=1e-9)
    assert one.gain == pytest.approx(-other.gain)


@settings(max_examples=40, deadline=None)
@given(GAINS, ZONES)
def test_shares_and_regrets_add_up(gains, zone):
    found = verdict_over_worlds(gains, zone)
    shares = [found.probability_a, found.probability_b, found.probability_zone]
    assert min(shares) >= 0 and sum(shares) == pytest.approx(1)
    assert found.regret_b - found.regret_a == pytest.approx(found.gain, abs=1e-9)
    assert found.gain == pytest.approx(np.mean([np.mean(world) for world in gains]))
    every = [np.mean(world) for world in gains]
    if found.of_single_pairs:
        assert min(every) <= found.low <= found.high <= max(every)
    assert found.low <= found.high
    if not found.of_single_pairs:
        split = split_of_variance(gains)
        assert found.sd_worlds == pytest.approx(math.sqrt(split.between))
        assert found.negative == split.negative


@settings(max_examples=25, deadline=None)
@given(GAINS, ZONES, st.sampled_from([1 / 16, 2.0, 1024.0]))
def test_another_unit(gains, zone, unit):
    one = dataclasses.asdict(verdict_over_worlds(gains, zone))
    scaled = [[unit * g for g in world] for world in gains]
    other = dataclasses.asdict(verdict_over_worlds(scaled, unit * zone))
    in_unit = ("gain", "low", "high", "sd_", "regret", "zone")
    for name, value in one.items():
        factor = unit if name.startswith(in_unit) else 1
        assert other[name] == pytest.approx(factor * value, rel=1e-9, abs=1e-12, nan_ok=True), name


@settings(max_examples=25, deadline=None)
@given(GAINS, st.integers(1, 4))
def test_split_is_that_of_another_origin(gains, shift):
    assume(max(map(len, gains)) > 1)
    one = split_of_variance(gains)
    other = split_of_variance([[g + shift for g in world] for world in gains])
    assert other.moment == pytest.approx(one.moment, rel=1e-9, abs=1e-9)
    assert other.within == pytest.approx(one.within, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("asked", [split_of_variance, verdict_over_worlds])
@pytest.mark.parametrize(
    ("gains", "named"),
    [
        ([[1.0, 2.0], [1.0, math.nan]], "world 2 is nan"),
        ([[math.inf, 2.0], [1.0, 2.0]], "world 1 is inf"),
        ([[1.0, 2.0]], "at least 2 worlds"),
        ([[1.0, 2.0], []], "world 2"),
        ([[1.0, 2.0], [[1.0]]], "world 2"),
    ],
)
def test_refused_gains(asked, gains, named):
    with pytest.raises(ValueError, match=named):
        asked(gains)


def test_other_refusals():
    with pytest.raises(ValueError, match="one replicate"):
        split_of_variance([[1.0], [2.0]])
    for zone in (-0.1, math.nan, math.inf):
        with pytest.raises(ValueError, match="zone"):
            verdict_over_worlds([[1.0, 2.0], [2.0, 3.0]], zone)


# Design


@pytest.mark.parametrize("within", [0.5, 4.0, 30.0])
@pytest.mark.parametrize("cost_world", [0.0, 1.0, 20.0])
def test_replicates_for_the_mean(within, cost_world):
    n = replicates_a_world(1.5, within, cost_world, 2.0)
    best = max(math.sqrt(within * cost_world / (1.5 * 2.0)), 1.0)
    assert math.floor(best) <= n <= math.ceil(best)


def test_replicates_at_the_ends():
    assert replicates_a_world(1.0, 9.0) == 1
    assert replicates_a_world(1.0, 0.0, 5.0) == 1
    assert replicates_a_world(0.0, 1.0) == 1
    assert replicates_a_world(0.0, 1.0, 0.1) == MOST_REPLICATES
    assert replicates_a_world(0.0, 1.0, purpose="probability") == 2
    assert replicates_a_world(5.0, 0.1, purpose="probability", gain=1.0) == 2
    # Much chance: a share needs several replicates, though worlds cost nothing.
    assert replicates_a_world(1.0, 16.0, purpose="probability", gain=1.0) > 4


@pytest.mark.parametrize(
    ("name", "value"),
    [("between", -1.0), ("within", math.nan), ("cost_world", -1.0), ("cost_run", 0.0)],
)
def test_refused_designs(name, value):
    with pytest.raises(ValueError, match=name):
        replicates_a_world(**({"between": 1.0, "within": 1.0} | {name: value}))
    with pytest.raises(ValueError, match="purpose"):
        replicates_a_world(1.0, 1.0, purpose="median")


@pytest.mark.parametrize(("within", "replicates"), [(1.0, 2), (4.0, 4), (4.0, 2)])
@pytest.mark.parametrize("gain", [-0.4, 1.0])
def test_error_of_a_share_against_simulation(within, replicates, gain):
    # Drawn-in means (Louis) of 2000 worlds, 1500 times: their SD has an error of 1.8 %; 4 of them,
    # and 2 % for what the delta method leaves out.
    rng = np.random.default_rng(12)
    worlds, found = 2000, []
    for _ in range(1500):
        means = gain + rng.normal(0, math.sqrt(1 + within / replicates), worlds)
        freedom = worlds * (replicates - 1)
        chance = within * rng.chisquare(freedom) / freedom / replicates
        total = means.var(ddof=1)
        f = math.sqrt(1 - chance / total)
        found.append((means.mean() + f * (means - means.mean()) > 0).mean())
    error = share_error(gain, 1.0, within, replicates, worlds)
    assert error == pytest.approx(np.std(found, ddof=1), rel=0.09)


@given(st.floats(0, 1), st.floats(0.004, 0.6))
def test_worlds_needed_are_the_fewest(p, error):
    worlds = worlds_needed(p, error)
    assert least_error(p, worlds) <= error
    assert worlds == 1 or least_error(p, worlds - 1) > error
    assert worlds_needed(1 - p, error) == pytest.approx(worlds, abs=1)


def test_worlds_needed_by_hand():
    assert worlds_needed(0.5, 0.05) == 100 and least_error(0.5, 100) == 0.05
    assert worlds_needed(0.9, 0.02) == 225
    assert least_error(0.0, 98) == pytest.approx(math.sqrt(0.01 * 0.99 / 98))
    for p in (-0.1, 1.1, math.nan):
        with pytest.raises(ValueError, match="p is"):
            worlds_needed(p, 0.1)
    with pytest.raises(ValueError, match="error"):
        worlds_needed(0.5, 0.0)
    with pytest.raises(ValueError, match="worlds"):
        least_error(0.5, 0)


# Currencies


def two_policies():
    """A yields more by the day and takes more hours for it."""
    rng = np.random.default_rng(13)
    worlds = rng.normal(0, 0.5, size=(40, 1))
    a = {"yield": 12 + worlds + rng.normal(0, 0.3, (40, 3)), "hours": np.full((40, 3), 4.0)}
    b = {"yield": 9 + worlds + rng.normal(0, 0.3, (40, 3)), "hours": np.full((40, 3), 2.0)}
    return a, b


CURRENCIES = {"grams": ("yield", None), "grams per hour": ("yield", "hours")}


def test_currencies_that_disagree():
    a, b = two_policies()
    found = in_currencies(a, b, CURRENCIES)
    assert list(found.table["currency"]) == list(CURRENCIES)
    assert list(found.table["ahead"]) == ["a", "b"] and found.disagree
    alone = verdict_over_worlds(list(a["yield"] / a["hours"] - b["yield"] / b["hours"]))
    assert found.verdicts["grams per hour"] == alone
    row = found.table.set_index("currency").loc["grams per hour"]
    assert (row["expected_gain"], row["regret_a"]) == (alone.gain, alone.regret_a)
    assert not in_currencies(a, b, {"grams": ("yield", None)}).disagree


def test_a_currency_that_tells_nothing_is_no_disagreement():
    a, b = two_policies()
    # As many worlds in which A is ahead as those in which B is.
    a["other"], b["other"] = (
        np.tile([1.0, -1.0], 20)[:, None] + np.zeros((40, 3)),
        np.zeros((40, 3)),
    )
    found = in_currencies(a, b, {"grams": ("yield", None), "other": ("other", None)})
    assert list(found.table["ahead"]) == ["a", ""] and not found.disagree
    # In a zone that is wider than all gains nobody is ahead.
    wide = in_currencies(a, b, CURRENCIES, {"grams per hour": 50.0})
    assert list(wide.table["ahead"]) == ["a", ""]


def test_currencies_of_unequal_replicates():
    a = {"yield": [[1.0, 2.0], [3.0]], "hours": [[1.0, 2.0], [2.0]]}
    b = {"yield": [[1.0, 1.0], [1.0]], "hours": [[1.0, 1.0], [1.0]]}
    found = in_currencies(a, b, CURRENCIES).verdicts["grams per hour"]
    assert found.runs == 3 and found.gain == pytest.approx(0.25)


def test_refused_currencies():
    a, b = two_policies()
    idle = a | {"hours": np.zeros((40, 3))}
    short = b | {"yield": b["yield"][:, :2], "hours": b["hours"][:, :2]}
    ragged = a | {"hours": a["hours"][:, :2]}
    for first, second, currencies, zones, named in (
        (idle, b, CURRENCIES, None, "'grams per hour'.*policy A in world 1"),
        (a, short, CURRENCIES, None, "'grams'.*A and B differ"),
        (ragged, b, CURRENCIES, None, "yield and hours of policy A"),
        (a, b, {"losses": ("yield", "losses")}, None, "'losses'.*lacks"),
        (a, b, CURRENCIES, {"euro": 1.0}, "euro"),
        (a, b, CURRENCIES, {"grams": -1.0}, "'grams'.*zone"),
        (a, b, {}, None, "no currency"),
    ):
        with pytest.raises(ValueError, match=named):
            in_currencies(first, second, currencies, zones)


def test_a_world_lived_more_often_does_not_set_the_spread_of_all():
    """One far world of 64, lived twice as seven others are: shares stay those of the worlds."""
    rng = np.random.default_rng(3)
    expected = np.r_[-18.0, rng.normal(0.0, 0.3, 63)]
    gains = [g + rng.normal(0.0, 0.05, 2 if i < 8 else 1) for i, g in enumerate(expected)]
    found = verdict_over_worlds(gains, zone=0.5)
    assert found.probability_a == pytest.approx((expected > 0.5).mean(), abs=0.02)
    assert found.sd_worlds == pytest.approx(expected.std(ddof=1), rel=0.02)
