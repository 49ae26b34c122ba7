"""The benchmark's plain-numpy step lives the same day as the kernels."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from conftest import make_colony

from colony_sim.biology.growth import Law
from colony_sim.population import census, kernels
from colony_sim.population.draws import Block, blocks
from colony_sim.population.insects import FIELDS
from colony_sim.population.ledger import Event, Flow
from tests.benchmarks import numpy_step

BUSY = {
    "larva.duration_days": 45.0,
    "predation.larva_egg": 0.02,
    "predation.larva_pupa": 0.002,
    "predation.larva_from_mg": 1.0,
    "predation.adult_pupa": 0.05,
    "predation.injured_share": 0.5,
    "moisture.visible_skins_per_dm2": 10.0,
    "harvest.fraction": 0.3,
}
#: Bran runs short, so that intake and the sums that depend on it are limited.
HUNGRY = {
    **BUSY,
    "bran.start_g": 60.0,
    "bran.supply": "fixed",
    "bran.top_up_g": 0.0,
    "pupae.isolate": False,
    "predation.larva_egg": 0.2,
}
#: Small deep bins, where contact, heat of the insects and depth of eggs all tell.
CLOSE = {
    **BUSY,
    "rack.bin_area_dm2": 2.0,
    "heat.loss_w_per_m2_k": 5.0,
    "egg.lifetime_days": 9.0,
    "egg.lifetime_shape": 5.0,
    "fecundity.laying_depth_cm": 2.0,
    "pupae.isolate": False,
}
#: Events of the insects' own day; the others are the keeper's.
KEEPERS = ("HANDLING", "HARVESTED", "SURPLUS")


def warm_and_wild(days: int) -> np.ndarray:
    air = np.full(days, 27.0)
    air[::9], air[4::13] = 38.5, -5.2
    return air


def compare_days(values: dict, temperatures: np.ndarray, warm_up: int) -> np.ndarray:
    """Live each day after `warm_up` in both; events seen (shape (events,))."""
    model = make_colony(
        values, temperature_c=temperatures, breeders=60, larvae=900, days=temperatures.size, seed=9
    )
    seen = np.zeros(len(Event), np.int64)
    for _ in range(temperatures.size):
        if model.day >= warm_up:
            seen += compare_a_day(model)
        model.step()
    return seen


def compare_a_day(model) -> np.ndarray:
    day = model.day + 1
    room_c = float(model.temperatures[day - 1])
    results = []
    for step in (kernels.step, numpy_step.step):
        insects, substrate = copy.deepcopy(model.insects), copy.deepcopy(model.substrate)
        events, flows = np.zeros_like(model.events), np.zeros(len(Flow), np.int64)
        step(
            model.constants, room_c, model.run_seed, day, insects, substrate, model.table, events,
            flows,
        )  # fmt: skip
        table = census.count(insects, model.tray + 1, model.constants.predator_mass)
        results.append((insects, substrate, events, flows, table))
    (a, stocks_a, events_a, flows_a, table_a), (b, stocks_b, events_b, flows_b, table_b) = results
    assert np.array_equal(table_a, table_b), f"day {day}: stage counts and masses per bin"
    assert np.array_equal(events_a, events_b), f"day {day}: events per bin"
    assert np.array_equal(flows_a, flows_b), f"day {day}: mass flows"
    for name, column in vars(stocks_a).items():
        assert np.allclose(column, getattr(stocks_b, name), rtol=1e-12, atol=0), (day, name)
    assert a.n == b.n
    for name, kind in FIELDS.items():
        ours, theirs = a.view(name), b.view(name)
        if np.issubdtype(kind, np.floating):
            # numpy's own log and exp may differ from the C library's in the last bit.
            assert np.allclose(ours, theirs, rtol=3e-7, atol=1e-12), (day, name)
        else:
            assert np.array_equal(ours, theirs), (day, name)
    return events_a.sum(axis=0)


def test_numpy_lives_the_same_days_as_the_kernels():
    seen = compare_days(BUSY, warm_and_wild(60), warm_up=20)
    seen += compare_days(HUNGRY, warm_and_wild(75), warm_up=10)
    quiet = [e.name for e in Event if seen[e] == 0 and not any(k in e.name for k in KEEPERS)]
    assert quiet == [], "nothing of this kind was compared"


@pytest.mark.parametrize("law", [law.name.lower() for law in Law])
@pytest.mark.parametrize(
    ("crowding", "refuge", "heat"), [("per_volume", "depth", True), ("per_area", "none", False)]
)
def test_numpy_lives_under_each_law_and_mechanism(law, crowding, refuge, heat):
    values = {
        **CLOSE,
        "growth.law": law,
        "growth.crowding": crowding,
        "predation.refuge": refuge,
        "heat.own": heat,
        "fecundity.needs_male": heat,
    }
    seen = compare_days(values, warm_and_wild(24), warm_up=8)
    for event in (Event.EGG_EATEN_ADULTS, Event.EGG_HATCHED, Event.PUPA_FORMED):
        assert seen[event] > 0, event.name


def test_numpy_draws_the_same_words():
    ident = np.random.default_rng(3).integers(0, 2**64, 500, dtype=np.uint64)
    seed = 2**63 + 12345
    ours = np.stack(numpy_step.words(seed, Block.MOVE, ident, 77), axis=1)
    assert np.array_equal(ours, blocks(seed, Block.MOVE, ident, 77))
