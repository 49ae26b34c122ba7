"""Keyed draws in the engine: order and company do not matter, policies share all other fates.

Nothing here is statistical: each test is exact.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from conftest import live, make_colony, put, quiet_colony

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_MG
from colony_sim.colony.simulate import Scenario, simulate
from colony_sim.population.draws import Block, uniforms
from colony_sim.population.insects import FIELDS, Flag, Stage

FAST = {"larva.duration_days": 40.0, "pupae.inspection_days": 3}
FOUNDERS = {"breeders": 60, "larvae": 300, "seed": 12}
ODD_SEEDS = [0, 1, 2**32, 2**63, 2**64 - 1]


def by_ident(model, stage=None):
    """State of the living by identity."""
    frame = pd.DataFrame({name: model.insects.view(name) for name in FIELDS})
    chosen = frame["stage"] != Stage.DEAD if stage is None else frame["stage"] == stage
    return frame[chosen].set_index("ident").sort_index()


def record(values, seed=12, days=80):
    scenario = Scenario(
        Parameters.default().with_values({**FAST, **values}, "test"), constant(27.0), days, seed,
        60, 300,
    )  # fmt: skip
    return simulate(scenario, record_bins=True)


def test_same_seed_same_bytes():
    a, b = record({}), record({})
    for name in ("daily", "bin_log", "bins_daily"):
        x, y = getattr(a, name), getattr(b, name)
        pd.testing.assert_frame_equal(x, y, check_exact=True)
        assert x.to_csv().encode() == y.to_csv().encode()


@pytest.mark.parametrize("seed", ODD_SEEDS)
def test_each_seed_is_a_run_of_its_own(seed):
    ours = record({}, seed, days=15).daily["eggs_laid"].tolist()
    for other in {*ODD_SEEDS, 12} - {seed}:
        assert ours != record({}, other, days=15).daily["eggs_laid"].tolist()


def shuffle(model, rng):
    order = rng.permutation(model.insects.n)
    for name in FIELDS:
        column = model.insects.view(name)
        column[:] = column[order]


@pytest.mark.parametrize(
    "values",
    [
        {},
        {"rotation.surplus": "split", "rotation.most_breeders_per_bin": 25},
        {"rotation.most_breeders_per_bin": 25, "pupae.isolate": False, "rack.bins": 3},
        {"predation.larva_egg": 0.02, "predation.adult_pupa": 0.02, "bran.start_g": 40.0,
         "bran.supply": "fixed", "bran.top_up_g": 5.0},
        {"rotation.when": "eggs", "rotation.eggs_per_dm2": 20.0, "harvest.when": "when_ready",
         "rack.clear_when": "little_left", "rack.small_larvae": "sift", "rack.bins": 3,
         "rack.bin_loss_per_year": 3.0, "bran.start_g": 40.0},
    ],
)  # fmt: skip
def test_order_of_rows_does_not_matter(values):
    plain = make_colony({**FAST, **values}, **FOUNDERS)
    mixed = make_colony({**FAST, **values}, **FOUNDERS)
    rng = np.random.default_rng(3)
    for day in range(100):
        if day % 7 == 0:
            shuffle(mixed, rng)
        plain.step()
        mixed.step()
    pd.testing.assert_frame_equal(live(plain, 0), live(mixed, 0), check_exact=True)
    pd.testing.assert_frame_equal(plain.binlog.frame(), mixed.binlog.frame(), check_exact=True)
    pd.testing.assert_frame_equal(by_ident(plain), by_ident(mixed), check_exact=True)
    assert not np.array_equal(plain.insects.view("ident"), mixed.insects.view("ident"))


def test_dropping_dead_rows_does_not_matter():
    plain, tidy = make_colony(FAST, **FOUNDERS), make_colony(FAST, **FOUNDERS)
    for _ in range(60):
        plain.step()
        tidy.step()
        tidy.insects.compact()
    pd.testing.assert_frame_equal(live(plain, 0), live(tidy, 0), check_exact=True)


def test_policies_that_differ_in_labour_alone_share_every_fate():
    a = record({}).daily
    b = record({"labour.move_minutes": 40.0, "labour.pick_seconds": 5.0}).daily
    assert (a["work_minutes"] != b["work_minutes"]).any()
    pd.testing.assert_frame_equal(
        a.drop(columns="work_minutes"), b.drop(columns="work_minutes"), check_exact=True
    )


LATE_HARVEST = {
    "harvest.interval_days": 20,
    "harvest.smallest_mg": 40.0,  # so that there is much to take
    "rack.clear_below_insects": 0,
}
DIFFER_FROM = {
    "rotation.interval_days": ({"rotation.interval_days": 14}, {"rotation.interval_days": 23}, 14),
    "pupae.inspection_days": ({"pupae.inspection_days": 30}, {"pupae.inspection_days": 60}, 30),
    "harvest.interval_days": ({"harvest.interval_days": 9}, {"harvest.interval_days": 10}, 9),
    # No bin is cleared before, since clearing a bin harvests it.
    "harvest.fraction": (LATE_HARVEST, {**LATE_HARVEST, "harvest.fraction": 0.5}, 20),
    "rotation.killed_share": ({}, {"rotation.killed_share": 0.5}, 14),
}  # fmt: skip


@pytest.mark.parametrize("name", DIFFER_FROM)
def test_policies_are_identical_until_the_day_they_differ(name):
    first, second, day = DIFFER_FROM[name]
    a, b = record(first, days=60), record(second, days=60)
    same = (a.daily == b.daily).all(axis=1).to_numpy()
    assert same[: day - 1].all() and not same[day - 1]
    before = a.bin_log["day"] < day
    pd.testing.assert_frame_equal(
        a.bin_log[before], b.bin_log[b.bin_log["day"] < day], check_exact=True
    )


@pytest.fixture(scope="module")
def two_policies():
    """Colonies of one seed after 45 days under policies that differ in much.

    Without heat of the insects, which lets a policy change the temperature that eggs are laid at
    and so their viability.
    """
    founders = {**FOUNDERS, "larvae": 2000}
    fast = {**FAST, "heat.own": False}
    gentle = make_colony(
        {**fast, "rotation.interval_days": 10, "moisture.start": "always"}, **founders
    )
    rough = make_colony(
        {
            **fast,
            "rotation.interval_days": 17,
            "pupae.isolate": False,
            "moisture.start": "always",
            "moisture.growing_g_per_day": 8.0,
            "harvest.fraction": 0.3,
            "rotation.killed_share": 0.3,
            "rotation.eggs_lost_share": 0.3,
        },
        **founders,
    )
    live(gentle, 45)
    live(rough, 45)
    return gentle, rough


def test_shared_insects_have_the_same_nature(two_policies):
    """Sex, pace, size and length of life go with the identity, not with the policy."""
    gentle, rough = two_policies
    for stage, natural in (
        (Stage.EGG, ["factor"]),
        (Stage.LARVA, ["factor", "size"]),
        (Stage.PUPA, ["factor"]),
        (Stage.ADULT, ["factor"]),
    ):
        a, b = by_ident(gentle, stage), by_ident(rough, stage)
        shared = a.index.intersection(b.index)
        assert len(shared) >= (100 if stage <= Stage.LARVA else 20), stage
        for name in natural:
            assert (a.loc[shared, name] == b.loc[shared, name]).all(), (stage, name)
        assert a.loc[shared, natural].nunique().min() > len(shared) * 0.6
    a, b = by_ident(gentle), by_ident(rough)
    shared = a.index.intersection(b.index)
    mask = np.uint8(Flag.FEMALE | Flag.VIABLE)
    assert ((a.loc[shared, "flags"] & mask) == (b.loc[shared, "flags"] & mask)).all()
    assert not a.loc[shared, "mass"].equals(b.loc[shared, "mass"])  # the policies do differ


def test_identities_are_unique(two_policies):
    for model in two_policies:
        assert by_ident(model).index.is_unique


def test_a_larger_colony_holds_the_smaller_one():
    """Founders more do not change the founders there."""
    small, large = (by_ident(make_colony({}, breeders=n, larvae=2 * n, seed=3)) for n in (40, 90))
    nature = ["stage", "progress", "factor", "size", "mass", "flags"]
    assert set(small.index) < set(large.index)
    pd.testing.assert_frame_equal(small[nature], large.loc[small.index, nature], check_exact=True)


def harvested(fraction):
    """Identities taken on the first harvest day, and of all larvae the evening before."""
    model = make_colony({"harvest.fraction": fraction}, breeders=10, larvae=2000, seed=5)
    live(model, 6)
    before = set(by_ident(model, Stage.LARVA).index)
    daily = live(model, 1)
    gone = before - set(by_ident(model).index)
    assert len(gone) >= daily["harvest_larvae"].iloc[-1] > 0
    return gone, int(daily["harvest_larvae"].iloc[-1])


def test_harvest_is_coupled_monotonely():
    """What the smaller fraction takes, the larger takes as well."""
    sets = [harvested(fraction) for fraction in (0.3, 0.5, 0.8, 1.0)]
    for (few, n_few), (many, n_many) in zip(sets, sets[1:], strict=False):
        assert few < many and n_few < n_many


def test_beetles_killed_are_coupled_monotonely():
    killed = []
    for share in (0.2, 0.5):
        model = make_colony(
            {"rotation.killed_share": share, "rotation.interval_days": 2}, breeders=300, seed=5
        )
        live(model, 1)
        before = set(by_ident(model, Stage.ADULT).index)
        live(model, 1)
        killed.append(before - set(by_ident(model, Stage.ADULT).index))
    assert killed[0] < killed[1]


def test_further_draws_elsewhere_change_nothing():
    plain, drawing = make_colony(FAST, **FOUNDERS), make_colony(FAST, **FOUNDERS)
    for _ in range(40):
        plain.step()
        for block in Block:
            uniforms(drawing.run_seed, block, 0, drawing.insects.view("ident"), drawing.day + 1)
        drawing.random.random()
        drawing.rng.random(7)
        np.random.random(3)  # noqa: NPY002
        drawing.step()
    pd.testing.assert_frame_equal(live(plain, 0), live(drawing, 0), check_exact=True)


def test_one_process_more_leaves_the_other_fates_alone():
    """With background death of adults on, all survivors live exactly as they would have.

    Their bin must not be cooler for the loss of the others.
    """
    calm = {
        "fecundity.peak_eggs_per_day": 0.0, "adult.hazard_per_day": 0.0, "heat.own": False,
    }  # fmt: skip
    off = make_colony(calm, breeders=300, seed=9)
    on = make_colony({**calm, "adult.hazard_per_day": 0.03}, breeders=300, seed=9)
    live(off, 30)
    live(on, 30)
    a, b = by_ident(off, Stage.ADULT), by_ident(on, Stage.ADULT)
    shared = a.index.intersection(b.index)
    assert 50 < len(shared) < len(a)
    assert (a.loc[shared, ["progress", "factor"]] == b.loc[shared, ["progress", "factor"]]).all(
        axis=None
    )
    assert set(b.index) <= set(a.index)


def test_runs_side_by_side_do_not_touch_each_other():
    alone = make_colony(FAST, **FOUNDERS)
    live(alone, 30)
    one, two = make_colony(FAST, **FOUNDERS), make_colony(FAST, **{**FOUNDERS, "seed": 13})
    for _ in range(30):
        one.step()
        two.step()
    pd.testing.assert_frame_equal(live(alone, 0), live(one, 0), check_exact=True)
    assert not live(one, 0).equals(live(two, 0))


@pytest.mark.parametrize("threads", [2, 3])
def test_threads_share_a_day_and_change_no_byte(threads):
    values = {**FAST, "rotation.most_breeders_per_bin": 25, "predation.adult_pupa": 0.2}
    one, other = (make_colony(values, **FOUNDERS) for _ in range(2))
    other.threads = threads
    for _ in range(60):
        one.step()
        other.step()
        assert np.array_equal(one.events, other.events) and np.array_equal(one.flows, other.flows)
        for name in FIELDS:
            assert np.array_equal(one.insects.view(name), other.insects.view(name)), name
        for name, column in vars(one.substrate).items():
            assert np.array_equal(column, getattr(other.substrate, name), equal_nan=True), name
    assert one.event_totals.sum() > 0 and other.insects.n > 1000


# ---- Tolerances

HAZARDS = {
    Stage.EGG: "predation.adult_egg",
    Stage.LARVA: "larva.hazard_per_day",
    Stage.PUPA: "pupa.hazard_per_day",
    Stage.ADULT: "adult.hazard_per_day",
}


def last_days(stage: Stage, hazard: float, days: int = 25) -> dict[int, int]:
    """Day until which each insect of a group lives, the last if it lives through all of them."""
    values = {"predation.refuge": "none", "fecundity.peak_eggs_per_day": 0.0}
    model = quiet_colony({**values, HAZARDS[stage]: hazard}, seed=5)
    beetles = 40 if stage is Stage.EGG else 0
    put(model, Stage.ADULT, beetles, mass=100 * NG_PER_MG, factor=1e9, first=10**6)
    rows = put(
        model, stage, 3000, mass=50 * NG_PER_MG, factor=1e9 if stage is Stage.ADULT else 1e-3
    )
    idents = model.insects.ident[rows].tolist()
    last = dict.fromkeys(idents, 0)
    for day in range(1, days + 1):
        live(model, 1)
        alive = set(model.insects.ident[model.insects.rows(stage)].tolist())
        last.update(dict.fromkeys(alive.intersection(idents), day))
    return last


@pytest.mark.parametrize("stage", HAZARDS)
def test_who_meets_more_hazard_never_falls_later(stage):
    low, high = (0.004, 0.006) if stage is Stage.EGG else (0.02, 0.03)
    less, more = last_days(stage, low), last_days(stage, high)
    assert all(more[ident] <= less[ident] for ident in less)
    assert sum(more[ident] < less[ident] for ident in less) > 300


def test_a_tolerance_in_single_precision_holds_for_a_life():
    """After 1,000 days at a hazard that no float holds exactly, the day of death is the one that
    whole sums in double precision give, but for those within rounding of midnight."""
    hazard = 1.0 / 700.0
    model = quiet_colony({"larva.hazard_per_day": hazard, "bran.start_g": 1e5}, seed=5, days=1000)
    rows = put(model, Stage.LARVA, 4000, mass=50 * NG_PER_MG, factor=1e-6)
    stands = -np.log(uniforms(5, Block.HATCHED, 2, model.insects.ident[rows], 0))
    expected = np.floor(stands / hazard)
    seen = np.zeros(4000)
    place = {ident: k for k, ident in enumerate(model.insects.ident[rows].tolist())}
    for day in range(1, 1001):
        live(model, 1)
        alive = model.insects.ident[model.insects.rows(Stage.LARVA)].tolist()
        seen[[place[ident] for ident in alive]] = day
    differs = np.flatnonzero(seen != np.minimum(expected, 1000))
    assert (expected < 1000).sum() > 0 and differs.size <= 12
    near = np.abs(stands[differs] / hazard - np.rint(stands[differs] / hazard))
    assert (near < 1e-2).all()
