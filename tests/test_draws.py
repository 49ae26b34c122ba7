"""The keyed draws: known answers, an independent implementation, and statistical tests.

Every test has fixed seeds. Alarm rates say how often a right generator would fail if the
seeds were drawn anew; together they stay below 1 in 1,000.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import randomgen
from scipy import stats

from colony_sim.biology.development import duration_factor, weibull_life
from colony_sim.population.draws import (
    Block,
    blocks,
    identity,
    normals,
    philox,
    poisson,
    uniforms,
    unit,
    words,
)

LAST = 2**32 - 1
MANY = 100_000
SEED = 20_240_117


def as_hex(*groups):
    return [tuple(int(word, 16) for word in group.split()) for group in groups]


# kat_vectors of Random123 (Salmon et al. 2011): counter, key, answer of philox4x32 with 10 rounds.
KNOWN = [
    as_hex("0 0 0 0", "0 0", "6627e8d5 e169c58d bc57ac4c 9b00dbd8"),
    as_hex(
        "ffffffff ffffffff ffffffff ffffffff",
        "ffffffff ffffffff",
        "408f276d 41c83b0e a20bc7c6 6d5451fd",
    ),
    as_hex(
        "243f6a88 85a308d3 13198a2e 03707344",
        "a4093822 299f31d0",
        "d16cfe09 94fdcceb 5001e420 24126ea1",
    ),
]


def words32(values):
    return [np.uint32(value) for value in values]


def on_words(function, *arguments):
    """`function` of each row of scalars as an array."""
    return np.array([function(*row) for row in zip(*arguments, strict=True)])


@pytest.mark.parametrize(("counter", "key", "answer"), KNOWN)
def test_known_answers(counter, key, answer):
    assert tuple(int(w) for w in philox(*words32(counter), *words32(key))) == answer


def reference_block(counter: tuple[int, ...], key: tuple[int, ...]) -> list[int]:
    """The block by the package randomgen, which adds 1 to the counter before the first block."""
    number = sum(word << (32 * place) for place, word in enumerate(counter))
    generator = randomgen.Philox(
        counter=(number - 1) % 2**128, key=key[0] | key[1] << 32, number=4, width=32
    )
    return [int(word) for word in generator.random_raw(4)]


def test_known_answers_hold_for_the_reference_too():
    """Guards the way this file drives the reference."""
    for counter, key, answer in KNOWN:
        assert tuple(reference_block(counter, key)) == answer


def test_agrees_with_an_independent_implementation():
    rng = np.random.default_rng(5)
    for row in rng.integers(0, 2**32, (400, 6), dtype=np.uint64):
        counter, key = tuple(map(int, row[:4])), tuple(map(int, row[4:]))
        mine = [int(w) for w in philox(*words32(counter), *words32(key))]
        assert mine == reference_block(counter, key)


def test_the_key_fills_counter_and_key_words():
    seed, ident, day = 0x0123456789ABCDEF, 0xFEDCBA9876543210, 77
    for block in Block:
        expected = reference_block(
            (0x76543210, 0xFEDCBA98, day, int(block)), (0x89ABCDEF, 0x01234567)
        )
        assert [int(w) for w in words(np.uint64(seed), int(block), np.uint64(ident), day)] == (
            expected
        )
        assert blocks(seed, block, np.array([ident], np.uint64), day)[0].tolist() == expected
        for lane in range(4):
            drawn = uniforms(seed, block, lane, np.array([ident], np.uint64), day)
            assert drawn[0] == (expected[lane] + 0.5) / 2**32


def test_no_two_processes_share_a_block():
    assert len({int(block) for block in Block}) == len(Block)


def test_draws_depend_on_the_individual_and_not_on_its_place():
    idents = np.arange(1000, dtype=np.uint64)
    order = np.random.default_rng(0).permutation(1000)
    here = uniforms(SEED, Block.SORT, 0, idents, 9)
    uniforms(SEED, Block.SORT, 1, idents, 9)  # a draw in between changes nothing
    assert np.array_equal(uniforms(SEED, Block.SORT, 0, idents[order], 9), here[order])


def test_unit_is_strictly_between_0_and_1():
    assert 0.0 < unit(np.uint32(0)) < 1e-9
    assert 1.0 - 1e-9 < unit(np.uint32(LAST)) < 1.0


@pytest.mark.parametrize("block", list(Block))
def test_every_lane_is_uniform(block):
    """Chi-square of 256 cells and KS of each lane.

    Alarm rate: 17 blocks x 4 lanes x (2e-7 + 1e-7) = 2e-5.
    """
    drawn = (blocks(SEED, block, np.arange(MANY, dtype=np.uint64), 3) + 0.5) / 2**32
    for lane in range(4):
        counts = np.bincount((drawn[:, lane] * 256).astype(int), minlength=256)
        p = stats.chisquare(counts).pvalue
        assert 1e-7 < p < 1 - 1e-7
        assert stats.kstest(drawn[:, lane], "uniform").pvalue > 1e-7


def series(seed=SEED, block=Block.EGG_FATE, lane=0, first=0, day=3):
    idents = np.arange(first, first + MANY, dtype=np.uint64)
    return uniforms(seed, block, lane, idents, day)


PAIRS = {
    "neighbours": (series(), series(first=1)),
    "neighbours in the high word": (series(), series(first=2**32)),
    "next day": (series(), series(day=4)),
    "next seed": (series(), series(seed=SEED + 1)),
    "seed one high bit away": (series(), series(seed=SEED ^ 2**63)),
    **{
        f"lanes {a} and {b}": (series(lane=a), series(lane=b))
        for a, b in itertools.combinations(range(4), 2)
    },
    **{
        f"{a.name} and {b.name}": (series(block=a), series(block=b))
        for a, b in itertools.pairwise(Block)
    },
}


@pytest.mark.parametrize("pair", PAIRS)
def test_related_keys_are_independent(pair):
    """Correlation, and chi-square of a 16 x 16 table, which also sees nonlinear dependence.

    Alarm rate: 27 pairs x (6e-7 + 1e-6) = 4e-5.
    """
    a, b = PAIRS[pair]
    assert abs(np.corrcoef(a, b)[0, 1]) * np.sqrt(MANY) < 5.0
    table = np.bincount((a * 16).astype(int) * 16 + (b * 16).astype(int), minlength=256)
    assert stats.chisquare(table).pvalue > 1e-6


def test_avalanche():
    """Any one bit of ident, day, block or seed flips each bit of the answer half of the time.

    Alarm rate: 192 flips x 128 bits at |z| > 6.5 = 2e-6, and 192 means at |z| > 6 = 4e-7.
    """
    rng = np.random.default_rng(11)
    samples = 400
    keys = rng.integers(0, 2**32, (samples, 6), dtype=np.uint32)
    base = np.array([philox(*row) for row in keys], np.uint32)
    for bit in range(192):
        changed = keys.copy()
        changed[:, bit // 32] ^= np.uint32(1 << (bit % 32))
        other = np.array([philox(*row) for row in changed], np.uint32)
        flipped = np.unpackbits((base ^ other).view(np.uint8), axis=1)
        shares = flipped.mean(axis=0)
        assert np.abs(shares - 0.5).max() < 6.5 * 0.5 / np.sqrt(samples)
        assert abs(flipped.sum(axis=1).mean() - 64.0) < 6.0 * np.sqrt(32.0 / samples)


def word_pairs(count=MANY, block=Block.HATCHED):
    return blocks(SEED, block, np.arange(count, dtype=np.uint64), 0)


def test_normal_deviates_are_standard_normal_and_independent():
    """KS, skewness, kurtosis and correlation. Alarm rate: 2 x (1e-7 + 2 x 6e-7) + 6e-7."""
    drawn = word_pairs()
    both = on_words(normals, drawn[:, 0], drawn[:, 1])
    for deviates in both.T:
        assert stats.kstest(deviates, "norm").pvalue > 1e-7
        assert abs(stats.skew(deviates)) < 5.0 * np.sqrt(6.0 / MANY)
        assert abs(stats.kurtosis(deviates)) < 5.0 * np.sqrt(24.0 / MANY)
    assert abs(np.corrcoef(both.T)[0, 1]) < 5.0 / np.sqrt(MANY)


@pytest.mark.parametrize("mean", [1e-6, 0.1, 1.7, 6.0, 40.0, 100.0])
def test_poisson_is_the_inverse_of_the_distribution(mean):
    u = series()[:5000]
    drawn = on_words(poisson, u, np.full(u.size, mean))
    assert np.array_equal(drawn, stats.poisson.ppf(u, mean))


def test_poisson_of_mean_zero_is_zero():
    assert poisson(1.0 - 1e-12, 0.0) == 0


def test_poisson_ends_at_the_largest_word():
    for mean in (0.5, 6.0, 100.0):
        assert mean < poisson(unit(np.uint32(LAST)), mean) < 1000


@pytest.mark.parametrize("cv", [0.06, 0.15, 0.5])
def test_duration_factor_is_lognormal_with_mean_1(cv):
    """KS, mean, and the logarithm's spread. Alarm rate: 3 x (1e-7 + 2 x 6e-7) = 4e-6."""
    drawn = word_pairs()
    deviates = on_words(normals, drawn[:, 0], drawn[:, 1])[:, 0]
    factors = on_words(duration_factor, deviates, np.full(MANY, cv))
    sigma = np.sqrt(np.log(1 + cv**2))
    reference = stats.lognorm(s=sigma, scale=np.exp(-(sigma**2) / 2))
    assert reference.mean() == pytest.approx(1.0)
    assert reference.std() == pytest.approx(cv)
    assert stats.kstest(factors, reference.cdf).pvalue > 1e-7
    assert abs(factors.mean() - 1.0) < 5.0 * cv / np.sqrt(MANY)
    assert abs(np.log(factors).std() / sigma - 1.0) < 5.0 / np.sqrt(2 * MANY)


def test_duration_factor_without_spread_is_1():
    assert duration_factor(1.7, 0.0) == 1.0


@pytest.mark.parametrize("shape", [0.7, 1.0, 2.5, 20.0])
def test_life_has_the_weibull_survival_function(shape):
    u = series(block=Block.EMERGED)[:5000]
    lives = on_words(weibull_life, u, np.full(u.size, shape))
    assert stats.weibull_min.sf(lives, shape) == pytest.approx(u, rel=1e-9, abs=1e-12)


def test_identities_of_a_million_eggs_differ():
    """1,000 mothers by 1,000 eggs. Alarm rate: 1e12 / 2 / 2^64 = 3e-8."""
    mothers = blocks(SEED, Block.FOUNDER, np.arange(1000, dtype=np.uint64), 0).astype(np.uint64)
    ident = (mothers[:, 0] << np.uint64(32)) | mothers[:, 1]
    eggs = np.empty((1000, 1000), np.uint64)
    for ordinal in range(1000):
        block = blocks(SEED, Block.LINEAGE, ident, ordinal).astype(np.uint64)
        eggs[:, ordinal] = (block[:, 0] << np.uint64(32)) | block[:, 1]
    assert int(eggs[17, 41]) == int(identity(np.uint64(SEED), ident[17], 41))
    assert np.unique(np.append(eggs.ravel(), ident)).size == 1_001_000


def test_seeds_give_different_identities():
    mother = np.uint64(7)
    found = {int(identity(np.uint64(seed), mother, 0)) for seed in range(1000)}
    assert len(found) == 1000
