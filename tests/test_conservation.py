"""Nothing appears or vanishes: insects, mass, bran, frass and moisture, every day."""

from __future__ import annotations

import numpy as np
import pytest
from conftest import gaps, make_colony
from test_keeper import done

from colony_sim.colony.bins import Phase
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import ENTRIES, EXITS, Event, Flow

DAYS = 170
FAST = {"larva.duration_days": 40.0, "larva.reference_c": 27.0}  # more generations in fewer days
YEAR = 19.0 + 11.0 * np.sin(np.arange(DAYS) / 20.0)

SCENARIOS = {
    "default": ({}, {}),
    "fast generations": (FAST, {}),
    "pupae left where they are": ({**FAST, "pupae.isolate": False}, {}),
    "split": ({**FAST, "rotation.surplus": "split", "rotation.most_breeders_per_bin": 20}, {}),
    "remove": ({**FAST, "rotation.surplus": "remove", "rotation.most_breeders_per_bin": 20}, {}),
    "wait for a bin": ({**FAST, "rack.bins": 3, "rotation.when_no_bin_free": "wait"}, {}),
    "clear the oldest": ({**FAST, "rack.bins": 3, "rotation.interval_days": 7}, {}),
    "two bins": ({**FAST, "rack.bins": 2, "rotation.interval_days": 9}, {}),
    "beetles among larvae, crowded rack": (
        {
            **FAST,
            "rack.bins": 3,
            "pupae.isolate": False,
            "rotation.collect_days": 100,
            "rotation.most_breeders_per_bin": 25,
            "rotation.killed_share": 0.4,
            "predation.adult_pupa": 0.0,
            "predation.adult_egg": 0.0,
            "harvest.fraction": 0.2,
        },
        {},
    ),
    "sorted anew each time": ({**FAST, "harvest.set_apart": False, "harvest.fraction": 0.3}, {}),
    "everything harvested": ({**FAST, "harvest.fraction": 1.0}, {}),
    "rough handling": (
        {
            **FAST,
            "rotation.missed_share": 0.3,
            "rotation.injured_share": 0.3,
            "rotation.killed_share": 0.3,
            "rotation.eggs_lost_share": 0.5,
            "pupae.killed_share": 0.4,
        },
        {},
    ),
    "frequent clearing": (
        {**FAST, "rack.clear_after_days": 30, "rack.clear_below_insects": 200},
        {},
    ),
    "no bran": (
        {
            **FAST,
            "bran.start_g": 5.0,
            "bran.supply": "fixed",
            "bran.top_up_g": 0.0,
            "growth.bran_days": 1.0,
        },
        {},
    ),
    "little bran": (
        {
            **FAST,
            "bran.start_g": 20.0,
            "bran.supply": "fixed",
            "bran.top_up_g": 8.0,
            "bran.top_up_below_g": 10.0,
        },
        {},
    ),
    "lost bins": ({**FAST, "rack.bin_loss_per_year": 5.0}, {}),
    "rules that look": (
        {
            **FAST,
            "rack.bins": 4,
            "rotation.when": "larvae",
            "harvest.when": "when_ready",
            "rack.clear_when": "little_left",
            "rack.small_larvae": "sift",
            "bran.start_g": 20.0,
        },
        {},
    ),
    "wet": (
        {**FAST, "moisture.start": "always", "moisture.breeding_g_per_day": 10.0},
        {},
    ),
    "strong predation": (
        {
            **FAST,
            "predation.adult_egg": 0.1,
            "predation.larva_egg": 0.05,
            "predation.adult_pupa": 0.1,
            "predation.larva_pupa": 0.02,
            "predation.injured_share": 0.6,
            "pupae.isolate": False,
        },
        {},
    ),
    "waves of heat and cold": (FAST, {"temperature_c": YEAR}),
    "deadly heat": (FAST, {"temperature_c": np.where(np.arange(DAYS) < 40, 27.0, 41.0)}),
    "deadly cold": (FAST, {"temperature_c": np.where(np.arange(DAYS) < 40, 27.0, -16.0)}),
    "no founders": ({}, {"breeders": 0, "larvae": 0}),
}
#: Columns of the daily series by which each stage's stock rises and falls.
IN_AND_OUT = {
    "eggs": (
        ["eggs_laid"],
        [
            "eggs_hatched",
            "eggs_eaten_adults",
            "eggs_eaten_larvae",
            "eggs_lost_handling",
            "eggs_unhatched",
        ],
    ),
    "larvae": (
        ["eggs_hatched"],
        ["pupae_formed", "larvae_died", "harvest_larvae", "larvae_lost_handling"],
    ),
    "pupae": (
        ["pupae_formed"],
        [
            "adults_emerged",
            "pupae_injured",
            "pupae_eaten_adults",
            "pupae_eaten_larvae",
            "pupae_died",
            "pupae_lost_handling",
        ],
    ),
    "adults": (
        ["adults_emerged", "pupae_injured"],
        [
            "adults_died_age",
            "adults_died_background",
            "adults_died_handling",
            "adults_removed_surplus",
        ],
    ),
}


def respired(flows) -> int:
    """Bran and water that neither stay in a body nor leave as frass, skin or egg (ng)."""
    return int(
        flows[Flow.BRAN_EATEN]
        + flows[Flow.WATER_DRUNK]
        - flows[Flow.FRASS_MADE]
        - flows[Flow.GAIN]
        - flows[Flow.SKIN_MASS]
        - flows[Flow.EGG_MASS]
    )


@pytest.mark.parametrize("name", SCENARIOS)
def test_ledgers_close_every_day(name):
    values, options = SCENARIOS[name]
    model = make_colony(values, **{"breeders": 40, "larvae": 150, "days": DAYS, **options})
    start = {s: int(model.table[:, s - 1].sum()) for s in (1, 2, 3, 4)}
    laid_before = 0
    for _ in range(DAYS):
        model.step()
        assert gaps(model) == {}, f"day {model.day}"
        s = model.substrate
        for stock in (s.bran, s.frass, s.moisture, s.skins, s.visible_skins, s.dead_adults):
            assert (stock >= 0).all()
        assert (s.visible_skins <= s.skins).all()
        for b in model.bins:
            if b.phase is Phase.FREE:
                assert b.insects == 0 and b.bran_g == b.frass_g == b.moisture_g == 0.0
            if b.phase is Phase.BREEDING:
                assert b.counts[3] > 0 or b.date_in == model.day
        assert respired(model.balance.flows) >= 0
        living = model.insects.view("stage") != Stage.DEAD
        assert (model.insects.view("bin")[living] <= model.tray).all()
        laid_before = int(model.balance.events[Event.EGG_LAID])
    daily = model.datacollector.get_model_vars_dataframe()
    assert (daily.drop(columns="temperature_c").to_numpy(float) >= 0).all()
    for place, (stock, (entries, exits)) in enumerate(IN_AND_OUT.items(), start=1):
        change = daily[entries].sum(axis=1) - daily[exits].sum(axis=1)
        assert (start[place] + change.cumsum() == daily[stock]).all(), stock
    fates = daily[IN_AND_OUT["eggs"][1]].to_numpy().sum()
    assert fates + daily["eggs"].iloc[-1] == laid_before == daily["eggs_laid"].sum()
    assert daily["moisture_given_g"].sum() >= daily["moisture_g"].iloc[-1]


def test_the_scenarios_reach_what_they_are_for():
    """Without this the ledgers could close because nothing happens."""

    def total(name, *columns, **more):
        values, options = SCENARIOS[name]
        model = make_colony(values, **{"breeders": 40, "larvae": 150, "days": DAYS, **options})
        for _ in range(DAYS):
            model.step()
        daily = model.datacollector.get_model_vars_dataframe()
        return [daily[c].sum() for c in columns], done(model.binlog.frame()).tolist()

    sums, actions = total("fast generations", "harvest_larvae", "adults_emerged", "pupae_formed")
    assert min(sums) > 20 and "beetles from tray to breeders" in actions
    sums, actions = total("beetles among larvae, crowded rack", "adults_removed_surplus")
    assert sums[0] > 0 and "cleared to make room" in actions
    sums, _ = total("rough handling", "adults_died_handling", "eggs_lost_handling")
    assert min(sums) > 10
    sums, _ = total("strong predation", "pupae_eaten_adults", "pupae_eaten_larvae",
                    "eggs_eaten_larvae", "pupae_injured")  # fmt: skip
    assert min(sums) > 0
    sums, _ = total("no bran", "bran_eaten_g", "larvae_died")
    assert min(sums) > 0
    sums, _ = total("deadly cold", "eggs_unhatched", "pupae_died", "adults_died_background")
    assert min(sums) > 0
    (lost,), actions = total("lost bins", "larvae_lost_handling")
    assert lost > 0 and "cleared as lost" in actions
    _, actions = total("rules that look")
    assert {"harvest", "beetles in", "bran added"} <= set(actions)
    _, actions = total("frequent clearing")
    assert {"cleared as old", "cleared as spent"} <= set(actions)


def test_every_event_is_an_entry_or_an_exit():
    """No event is left out of the stage balances, and none leaves two stages."""
    exits = [event for events in EXITS.values() for event in events]
    entries = [event for events in ENTRIES.values() for event in events]
    assert len(set(exits)) == len(exits) and len(set(entries)) == len(entries)
    assert set(exits) | set(entries) == set(Event)


def test_a_lost_insect_is_noticed():
    model = make_colony({}, breeders=10, larvae=10)
    model.step()
    model.insects.stage[0] = Stage.DEAD
    found = gaps(model)
    assert found["adult"] == -1 and found["insect_mass"] < 0


def test_lost_stocks_are_noticed():
    model = make_colony({}, breeders=10, larvae=10)
    model.step()
    model.substrate.bran[0] -= 1
    model.substrate.frass[0] += 2
    model.substrate.moisture[1] += 3
    assert gaps(model) == {"bran": -1, "frass": 2, "moisture": 3}


def test_skins_come_from_the_day_s_feed():
    """A shed skin is part of the bran eaten, so it cannot exceed what is not frass or gain."""
    model = make_colony({**FAST, "larva.exuvia_share": 0.06}, breeders=0, larvae=300)
    for _ in range(60):
        model.step()
        assert respired(model.flows) >= 0
    assert model.balance.flows[Flow.SKIN_MASS] > 0
