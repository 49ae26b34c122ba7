"""Whatever the parameters and the policy, some things always hold."""

from __future__ import annotations

import numpy as np
from conftest import gaps, make_colony
from hypothesis import given, settings
from hypothesis import strategies as st

from colony_sim.biology.parameters import catalogue
from colony_sim.biology.rates import constants, day_rates
from colony_sim.colony.bins import Phase
from colony_sim.population.insects import Stage

COMMON = {"deadline": None, "derandomize": True, "print_blob": True}
DAYS = 60
ENTRIES = catalogue()


def plausible(entry):
    """Values of one parameter within its plausible range."""
    if entry.kind == "boolean":
        return st.booleans()
    if entry.kind == "choice":
        return st.sampled_from(entry.choices)
    if entry.kind == "integer":
        return st.integers(entry.low, entry.high)
    ends = st.sampled_from([entry.low, entry.high])
    return ends | st.floats(entry.low, entry.high, allow_nan=False)


def sets(group=None, most=None, without=()):
    """Dictionaries of plausible values for any choice of keys."""
    keys = [k for k, e in ENTRIES.items() if group in (None, e.group) and k not in without]
    return st.lists(
        st.sampled_from(keys), unique=True, min_size=1, max_size=most or len(keys)
    ).flatmap(lambda chosen: st.fixed_dictionaries({k: plausible(ENTRIES[k]) for k in chosen}))


SEEDS = st.integers(0, 2**64 - 1)
ROOMS = st.floats(12.0, 34.0) | st.sampled_from([-30.0, 5.0, 36.0, 39.5, 50.0])
SMALL = {"rack.bins": 6}


def check_day(model):
    assert gaps(model) == {}
    s = model.substrate
    for stock in (s.bran, s.frass, s.moisture, s.skin_mass, s.skins, s.dead_adults):
        assert (stock >= 0).all()
    assert ((s.food >= 0) & (s.food <= 1)).all()
    assert ((s.wetness >= 0) & (s.wetness <= 1)).all()
    assert ((s.crowding > 0) & (s.crowding <= 1)).all()
    assert ((s.feeding >= 0) & (s.feeding <= 1)).all()
    assert (s.temperature >= model.temperature_c).all()
    limit = max(model.temperature_c, model.parameters["larva.upper_c"])
    assert (s.temperature <= limit).all() and s.temperature[-1] == model.temperature_c
    assert (model.events >= 0).all() and (model.flows >= 0).all()
    assert (model.table >= 0).all()
    for b in model.bins:
        assert b.phase is not Phase.FREE or b.insects == 0
        # Where the last beetle has died the bin is a growing one, but for a move that killed all.
        assert b.phase is not Phase.BREEDING or b.counts[3] > 0 or b.date_in == model.day
        assert (b.date_out is None) == (b.phase is not Phase.GROWING)
    assert model.keeper.minutes >= 0.0


def check_insects(model):
    insects = model.insects
    living = insects.view("stage") != Stage.DEAD
    assert np.unique(insects.view("ident")[living]).size == living.sum()
    assert (insects.view("mass")[living] > 0).all()
    for name in ("progress", "factor", "size"):
        values = insects.view(name)[living]
        assert np.isfinite(values).all() and (values >= 0).all()
    for stage in (Stage.EGG, Stage.PUPA):
        assert (insects.progress[insects.rows(stage)] < 1.0).all()
    larvae = insects.rows(Stage.LARVA)
    assert (insects.tally[larvae] >= 1).all()


def lived(values, seed, room, days=DAYS, breeders=25, larvae=80):
    model = make_colony({**SMALL, **values}, temperature_c=room, breeders=breeders,
                        larvae=larvae, seed=seed, days=days)  # fmt: skip
    for _ in range(days):
        model.step()
        check_day(model)
    check_insects(model)
    return model, model.datacollector.get_model_vars_dataframe()


@settings(max_examples=40, **COMMON)
@given(sets(), SEEDS, ROOMS)
def test_any_plausible_biology_and_policy_keep_the_books(values, seed, room):
    model, daily = lived(values, seed, room)
    assert len(daily) == DAYS
    assert (daily.drop(columns="temperature_c").to_numpy(float) >= 0).all()
    assert (daily["breeders"] <= daily["adults"]).all()
    assert (daily["bins_in_use"] <= model.parameters["rack.bins"]).all()


CHOICES = [k for k, e in ENTRIES.items() if e.group == "handling" and e.kind == "choice"]


@settings(max_examples=20, **COMMON)
@given(
    st.fixed_dictionaries({key: plausible(ENTRIES[key]) for key in CHOICES}),
    sets("handling", most=8, without=(*CHOICES, "rack.bins", "rack.bin_loss_per_year")),
    st.integers(2, 6),
    st.sampled_from([0.0, 2.0, 50.0]),
    SEEDS,
)
def test_any_mix_of_rules_that_look_and_lost_bins(choices, values, bins, loss, seed):
    values = {**values, **choices, "rack.bins": bins, "rack.bin_loss_per_year": loss}
    lived({**values, "larva.duration_days": 40.0, "bran.start_g": 20.0}, seed, 27.0, days=90)


@settings(max_examples=15, **COMMON)
@given(sets("handling", most=10), SEEDS, st.lists(st.floats(-20.0, 45.0), min_size=3, max_size=9))
def test_any_policy_in_any_weather(values, seed, weather):
    lived(values, seed, np.resize(weather, DAYS))


@settings(max_examples=10, **COMMON)
@given(sets("handling", most=8, without=("harvest.fraction",)), SEEDS)
def test_no_yield_at_harvest_fraction_0(values, seed):
    values = {**values, "larva.duration_days": 40.0, "harvest.fraction": 0.0}
    _, daily = lived(values, seed, 27.0)
    assert daily["harvest_larvae"].sum() == 0 and daily["harvest_g"].sum() == 0.0


@settings(max_examples=10, **COMMON)
@given(sets("handling", most=8, without=("harvest.fraction",)), SEEDS)
def test_nothing_of_harvest_size_is_left_at_harvest_fraction_1(values, seed):
    values = {**values, "larva.duration_days": 40.0, "harvest.fraction": 1.0}
    model, _ = lived(values, seed, 27.0, days=1)
    interval = model.parameters["harvest.interval_days"]
    model, _ = lived(values, seed, 27.0, days=interval)
    for bin_ in model.bins:
        if bin_.phase is Phase.GROWING:
            rows = model.insects.rows(Stage.LARVA, bin_.index)
            assert (model.insects.mass[rows] < model.parameters["harvest.smallest_mg"] * 1e6).all()


@settings(max_examples=10, **COMMON)
@given(sets("biology", most=10), SEEDS, ROOMS)
def test_no_founders_no_insects(values, seed, room):
    model, daily = lived(values, seed, room, days=10, breeders=0, larvae=0)
    assert model.alive == 0 and daily["eggs_laid"].sum() == 0


@settings(max_examples=8, **COMMON)
@given(sets("handling", most=8), SEEDS)
def test_a_run_repeats_itself(values, seed):
    first, second = (lived(values, seed, 26.0, days=40)[1] for _ in range(2))
    assert first.equals(second)


@settings(max_examples=10, **COMMON)
@given(sets("handling", most=6, without=("pupae.isolate",)), SEEDS)
def test_the_tray_is_empty_without_isolation(values, seed):
    values = {**values, "larva.duration_days": 40.0, "pupae.isolate": False}
    model = make_colony({**SMALL, **values}, breeders=25, larvae=80, seed=seed, days=DAYS)
    for _ in range(DAYS):
        model.step()
        assert model.table[model.tray].sum() == 0


def numbers(bundle):
    """Every number and array of a bundle of bundles."""
    for value in bundle:
        if isinstance(value, tuple):
            yield from numbers(value)
        else:
            yield np.asarray(value, float)


@settings(max_examples=60, **COMMON)
@given(sets("biology"), st.floats(-30.0, 50.0))
def test_rates_are_finite_and_not_negative(values, room):
    parameters = make_colony(values, days=1).parameters
    assert all(np.isfinite(rate) and rate >= 0 for rate in day_rates(parameters, room))
    c = constants(parameters)
    assert all(np.isfinite(value).all() for value in numbers(c))
    assert (np.diff(c.molt_mass.astype(np.int64)) >= 0).all()


@settings(max_examples=20, **COMMON)
@given(sets("biology", most=10), SEEDS)
def test_larvae_neither_shrink_nor_outgrow_their_asymptote(values, seed):
    values = {"larva.duration_days": 30.0, **values}
    model = make_colony({**SMALL, **values}, breeders=0, larvae=60, seed=seed)
    ident = model.insects.view("ident").copy()
    before = dict(zip(ident.tolist(), model.insects.view("mass").tolist(), strict=True))
    for _ in range(25):
        model.step()
        rows = model.insects.rows(Stage.LARVA)
        top = model.parameters["larva.asymptotic_mass_mg"] * 1e6
        limit = top * model.insects.size[rows].astype(float) * (1 + 1e-5)
        assert (model.insects.mass[rows] <= limit).all()
        for name, mass in zip(model.insects.ident[rows].tolist(),
                              model.insects.mass[rows].tolist(), strict=True):  # fmt: skip
            assert mass >= before.get(name, 0)
            before[name] = mass
