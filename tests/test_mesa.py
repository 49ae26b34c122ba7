"""The colony is a proper Mesa model."""

from __future__ import annotations

import gc
import subprocess
import sys
import warnings

import mesa
import numpy as np
import pandas as pd
import pytest
from conftest import live, make_colony
from mesa.datacollection import DataCollector

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.bins import Bin
from colony_sim.colony.daily import DAILY_COLUMNS
from colony_sim.colony.keeper import Keeper
from colony_sim.colony.model import Colony
from colony_sim.colony.simulate import Scenario, simulate
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.measuring.series import WholeSeries
from colony_sim.running.task import Task

RUN = """
import numpy as np
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.bins import Bin
from colony_sim.colony.model import Colony
model = Colony(Parameters.default(), np.full(30, 27.0), 2**63 + 1, 50, 100, record_bins=True)
for _ in range(30):
    model.step()
assert len(model.datacollector.get_model_vars_dataframe()) == 30
assert len(model.datacollector.get_agenttype_vars_dataframe(Bin)) == 30 * 14
"""


def test_no_warnings_in_a_process_of_its_own():
    done = subprocess.run(
        [sys.executable, "-W", "error::DeprecationWarning", "-W", "error::FutureWarning",
         "-W", "error::UserWarning", "-W", "error::RuntimeWarning", "-c", RUN],
        capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_no_warnings_at_all_once_imported():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        live(make_colony({}, breeders=20, larvae=50, record_bins=True), 40)


def test_mesa_is_given_a_generator_and_no_seed(monkeypatch):
    given = []
    plain = mesa.Model.__init__

    def spy(self, *args, **kwargs):
        given.append((args, kwargs))
        plain(self, *args, **kwargs)

    monkeypatch.setattr(mesa.Model, "__init__", spy)
    make_colony({}, seed=2**64 - 1)
    make_colony({}, seed=5)
    assert [set(kwargs) for _, kwargs in given] == [{"rng"}, {"rng"}]
    assert all(args == () for args, _ in given)
    assert given[0][1]["rng"] != given[1][1]["rng"]


def test_no_fate_is_drawn_from_the_generators_of_mesa():
    model = make_colony({}, breeders=30, larvae=50)
    before = (model.rng.bit_generator.state, model.random.getstate())
    live(model, 40)
    assert (model.rng.bit_generator.state, model.random.getstate()) == before


def test_bins_and_keeper_are_agents():
    model = make_colony({"rack.bins": 9})
    assert isinstance(model, mesa.Model)
    assert len(model.agents_by_type[Bin]) == 9
    assert list(model.agents_by_type[Keeper]) == [model.keeper]
    assert [bin_.label for bin_ in model.bins] == list(range(1, 10))
    assert all(isinstance(agent, mesa.Agent) for agent in model.agents)


def test_daily_series_comes_from_the_data_collector():
    model = make_colony({}, breeders=20)
    daily = live(model, 12)
    assert list(daily.columns) == list(DAILY_COLUMNS)
    assert daily["day"].tolist() == list(range(1, 13))


def test_bins_are_recorded_only_when_asked_for():
    quiet = make_colony({}, breeders=5)
    live(quiet, 3)
    assert quiet.datacollector.agenttype_reporters == {}
    loud = make_colony({}, breeders=5, record_bins=True)
    live(loud, 3)
    assert len(loud.datacollector.get_agenttype_vars_dataframe(Bin)) == 3 * 14


@pytest.mark.parametrize("days", [1, 17])
def test_run_model_steps_one_day_at_a_time(days):
    model = make_colony({}, breeders=5)
    for _ in range(days):
        model.step()
    assert model.day == days == model.steps


class Watched(Colony):
    """A colony as a user of Mesa sets one up: keywords to vary, and a collector of one's own."""

    def __init__(self, interval=21, seed=1, days=40):
        p = Parameters.default().with_values({"rotation.interval_days": interval}, where="test")
        super().__init__(p, np.full(days, 27.0), seed, breeders=40, larvae=500)
        self.datacollector = DataCollector(
            model_reporters={"alive": "alive", "moves": lambda m: m.keeper.last_move},
            agenttype_reporters={Bin: {"label": "label", "grams": "bran_g"}},
        )


def test_the_batch_runner_of_mesa_drives_colonies():
    rows = mesa.batch_run(
        Watched, {"interval": [10, 21], "seed": [1, 2], "days": 40},
        data_collection_period=1, display_progress=False,
    )  # fmt: skip
    found = pd.DataFrame(rows)
    # A colony stops with its last temperature; the runner alone would go on to day 1001.
    assert found.groupby(["interval", "seed"])["Step"].count().tolist() == [40] * 4
    last = found.groupby(["interval", "seed"])["moves"].max()
    assert last.tolist() == [40, 40, 21, 21]
    for (interval, seed), mine in found.groupby(["interval", "seed"]):
        p = Parameters.default().with_values({"rotation.interval_days": interval}, where="test")
        daily = simulate(Scenario(p, constant(27.0), 40, seed, 40, 500)).daily
        total = daily[["eggs", "larvae", "pupae", "adults"]].sum(axis=1)
        assert mine["alive"].tolist() == total.tolist()


def test_the_default_collector_goes_through_the_batch_runner():
    given = {"parameters": [Parameters.default()], "temperatures": [np.full(30, 27.0)],
             "seed": [5], "breeders": [30], "larvae": [200]}  # fmt: skip
    (row,) = mesa.batch_run(Colony, given, display_progress=False)
    scenario = Scenario(Parameters.default(), constant(27.0), 30, 5, 30, 200)
    last = simulate(scenario).daily.iloc[-1]
    assert {name: row[name] for name in DAILY_COLUMNS} == last.to_dict()


def test_a_collector_of_ones_own_sees_bins_and_run_model_stops():
    model = Watched(days=25)
    model.run_model()
    assert model.day == 25 and not model.running
    bins = model.datacollector.get_agenttype_vars_dataframe(Bin)
    assert len(bins) == 25 * 14 and set(bins["label"]) == set(range(1, 15))
    assert bins["grams"].groupby("Step").sum().iloc[-1] == pytest.approx(
        model.substrate.bran.sum() / 1e9
    )
    gone = make_colony({}, breeders=0, days=300)
    gone.run_model()
    assert gone.day == 1 and not gone.running


def test_a_colony_that_is_over_can_be_freed():
    """Mesa 3.3 keeps models in a class attribute; long sweeps must not pile them up."""
    import gc

    def alive():
        gc.collect()
        return sum(type(thing) is Colony for thing in gc.get_objects())

    before = alive()
    for seed in range(3):
        simulate(Scenario(Parameters.default(), constant(25.0), 3, seed, 5))
    assert alive() == before


def test_a_worker_keeps_nothing_of_a_run():
    """Colony and keeper hold each other; runs must not pile up until Python looks for that."""
    scenario = Scenario(Parameters.default(), constant(27.0), days=5, seed=1, breeders=10)
    measuring = WholeSeries()
    task = Task("key", scenario, measuring, model_fingerprint(), measuring.digest)
    gc.collect()
    gc.disable()
    try:
        assert task.run().error is None
        assert gc.collect() == 0
    finally:
        gc.enable()
        gc.unfreeze()
