"""The one day loop, and keepers of one's own in it and in studies."""

from __future__ import annotations

import ast
import dataclasses
import importlib.util
import sys
from pathlib import Path

import own_rules
import pandas as pd
import pytest

import colony_sim
from colony_sim import colony
from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.own_keeper import OwnKeeper, own_keeper
from colony_sim.colony.simulate import Scenario, day_by_day, live, simulate
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import content_key, expand, single
from colony_sim.results import manifest
from colony_sim.studies.comparison.relive import retrace
from colony_sim.studies.comparison.stored import planned

RULES = Path(own_rules.__file__)
EXPERIMENT = """\
[experiment]
name = "own"
days = 60
replicates = 2
baseline = "long"
[climate]
kind = "constant"
temperature_c = 27.0
[start]
breeders = 40
larvae = 2000
[[policy]]
name = "long"
rotation.interval_days = 21
[[policy]]
name = "short"
rotation.interval_days = 14
"""


def scenario(days=40, **changes) -> Scenario:
    return Scenario(Parameters.default(), constant(27.0), days, 3, 40, 2000, **changes)


@pytest.fixture
def experiment(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(EXPERIMENT, encoding="utf-8")
    return load(path)


# ---- The loop


def test_observers_see_every_day_in_order():
    seen = []
    observers = [lambda c: seen.append(("a", c.day, c.alive)), lambda c: seen.append(("b", c.day))]
    ended = live(scenario(12), observers=observers)
    assert [entry[:2] for entry in seen] == [(who, d) for d in range(1, 13) for who in "ab"]
    assert ended.day == 12 and seen[-2][2] == ended.alive > 0


def test_day_by_day_gives_day_0_and_each_day_and_what_simulate_gives():
    stocks = [(c.day, int(c.stock_totals[:4].sum())) for c in day_by_day(scenario(20))]
    daily = simulate(scenario(20)).daily
    total = daily[["eggs", "larvae", "pupae", "adults"]].sum(axis=1)
    assert stocks == [(0, 2040), *zip(daily["day"], total, strict=True)]


def test_a_run_ends_when_no_insect_is_left_or_when_it_is_over():
    cold = dataclasses.replace(scenario(400), climate=constant(-10.0), larvae=0)
    record = simulate(cold)
    assert record.died_out_day == len(record.daily) < 400
    assert record.daily.iloc[-1][["eggs", "larvae", "pupae", "adults"]].sum() == 0
    assert live(cold, over=lambda c: c.day == 3).day == 3
    assert live(scenario(0)).day == 0


def test_what_an_observer_raises_ends_the_run():
    class Enough(Exception):
        pass

    def stop(model):
        if model.day == 4:
            raise Enough

    days = []
    with pytest.raises(Enough):
        live(scenario(), observers=[lambda c: days.append(c.day), stop])
    assert days == [1, 2, 3, 4]


def test_a_ledger_that_does_not_close_is_told():
    with pytest.raises(RuntimeError, match="ledger does not close: {'bran': "):
        simulate(scenario(5), keeper=own_rules.Careless)


# ---- A keeper of one's own


def test_any_object_with_work_can_be_the_keeper():
    ended = live(scenario(9), own_rules.Idle)
    assert ended.keeper.days == list(range(1, 10)) and ended.binlog.rows == []
    assert ended.datacollector.get_model_vars_dataframe()["work_minutes"].sum() == 0


@pytest.mark.parametrize("given", [
    own_rules.Generous, own_rules.lively, "own_rules:Generous", f"{RULES}:Generous",
])  # fmt: skip
def test_a_keeper_handed_in_is_the_one_that_works(experiment, given):
    plain = colony_sim.simulate_policy(experiment)
    own = colony_sim.simulate_policy(experiment, keeper=given)
    assert own.daily["bran_given_g"].sum() > plain.daily["bran_given_g"].sum() + 100
    carried = dataclasses.replace(scenario(), keeper=own_keeper(given))
    pd.testing.assert_frame_equal(
        simulate(carried).daily, simulate(scenario(), keeper=own_rules.Generous).daily
    )


def test_studies_take_a_keeper_of_ones_own(experiment, tmp_path):
    options = {"figures": False, "workers": 1, "keeper": own_rules.Generous}
    own = colony_sim.compare(
        experiment, one_world=True, assumptions=False, out=tmp_path / "own", **options
    )
    fraction = experiment.policies[0].parameters["harvest.fraction"]
    swept = colony_sim.sweep(
        experiment,
        [f"harvest.fraction={fraction}"],
        one_world=True,
        out=tmp_path / "swept",
        **options,
    ).table("sweep")
    same = swept.merge(own.runs, on=["policy", "seed"], suffixes=("", "_own"))
    alike = same["policy"] == experiment.policies[0].name
    assert (
        alike.any()
        and (same["yield_g_per_kg_bran"] == same["yield_g_per_kg_bran_own"])[alike].all()
    )
    few = {"replicates": 2, "warm_up": 5, "used": 10}
    keys = ["predation.adult_egg"]
    for folder, keeper in (("with", own_rules.Generous), ("without", None)):
        options = {"figures": False, "workers": 1, "keeper": keeper, "out": tmp_path / folder}
        found = colony_sim.sensitivity(experiment, method="oneway", keys=keys, **few, **options)
        data = manifest.read(found.folder, ("sensitivity",))
        assert bool(data.get("keeper")) == (keeper is not None)


@pytest.mark.parametrize("given", [own_rules.Generous, f"{RULES}:Generous"])
def test_compare_with_a_keeper_in_worker_processes(experiment, tmp_path, given):
    """Spawned workers import it; runs with and without it do not share a key."""
    options = {"figures": False, "assumptions": False, "workers": 2, "out": tmp_path / "out"}
    found = colony_sim.compare(experiment, keeper=given, one_world=True, **options)
    assert found.verdict
    run = next(expand(experiment).runs())
    daily = pd.read_parquet(tmp_path / "out" / "daily.parquet")
    mine = daily[(daily["policy"] == run.policy) & (daily["seed"] == run.scenario.seed)]
    lived = simulate(run.scenario, keeper=own_rules.Generous).daily
    # A run that is not steady is lived on; it begins as the run of its own days.
    assert mine["bran_given_g"].tolist()[: len(lived)] == lived["bran_given_g"].tolist()
    assert lived["bran_given_g"].sum() > simulate(run.scenario).daily["bran_given_g"].sum()
    data = manifest.read(tmp_path / "out")
    assert data["keeper"]["name"] == "Generous"
    assert {r["key"] for r in data["runs"]}.isdisjoint(r.key for r in planned(expand(experiment)))
    # Lived again from the manifest, by the same keeper.
    traces = retrace(tmp_path / "out", seed=run.scenario.seed)
    assert traces.plan.keeper == own_keeper(given)


def test_the_key_of_a_run_goes_by_the_source_of_its_keeper(experiment, tmp_path):
    def key(given) -> str:
        own = None if given is None else own_keeper(given)
        return single(dataclasses.replace(experiment, keeper=own)).key

    path = tmp_path / "mine.py"
    text = "from own_rules import Idle\n\nclass Mine(Idle):\n    pass\n"
    path.write_text(text)
    first = key(f"{path}:Mine")
    assert first == key(f"{path}:Mine") and first != key(None)
    assert key(own_rules.Generous) == key(f"{RULES}:Generous") != key(own_rules.Idle)
    path.write_bytes(text.replace("\n", "\r\n").encode())
    assert key(f"{path}:Mine") == first
    path.write_text(text + "    # another rule\n")
    assert key(f"{path}:Mine") != first
    plain = single(experiment).scenario
    assert content_key(plain) == single(experiment).key


def test_source_that_changed_or_is_gone_is_refused(tmp_path):
    path = tmp_path / "mine.py"
    path.write_text("from own_rules import Idle\n\nclass Mine(Idle):\n    pass\n")
    own = own_keeper(f"{path}:Mine")
    path.write_text(path.read_text() + "\n")
    with pytest.raises(InputError, match="unchanged source"):
        simulate(scenario(2, keeper=own))
    path.unlink()
    with pytest.raises(InputError, match="No such file") as caught:
        simulate(scenario(2, keeper=own))
    assert "\n" not in caught.value.line


def test_a_file_loaded_by_hand_is_found_by_its_path(tmp_path, monkeypatch):
    path = tmp_path / "by_hand.py"
    path.write_text("from own_rules import Idle\n\nclass Mine(Idle):\n    pass\n")
    spec = importlib.util.spec_from_file_location("by_hand", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setitem(sys.modules, "by_hand", module)
    monkeypatch.delattr(module, "__spec__")
    own = own_keeper(module.Mine)
    assert own == own_keeper(f"{path}:Mine") and own.source == str(path.resolve())


@pytest.mark.parametrize("given", [
    lambda rack: own_rules.Idle(rack), type("Mine", (own_rules.Idle,), {"__module__": "__main__"}),
    own_rules.Idle.__new__, own_rules.NoKeeper, "nowhere:Mine", "own_rules:Absent", "Mine", 7,
    "own_rules.py:Generous", "own_rules:RULES",
])  # fmt: skip
def test_a_keeper_that_no_worker_can_import_is_one_line(experiment, tmp_path, given):
    with pytest.raises(InputError) as caught:
        colony_sim.compare(experiment, keeper=given, one_world=True, out=tmp_path / "out")
    line = caught.value.line
    assert line.startswith("keeper: ") and "rules.py:Class" in line and "\n" not in line
    assert not (tmp_path / "out").exists()


def test_a_class_of_a_notebook_will_do_for_one_run(experiment):
    class Here(own_rules.Idle):
        pass

    assert colony_sim.simulate_policy(experiment, keeper=Here).bin_log.empty
    with pytest.raises(InputError, match="notebook"):
        own_keeper(Here)


def test_own_keepers_are_equal_by_what_they_are():
    assert own_keeper(own_rules.Idle) == own_keeper("own_rules:Idle")
    assert isinstance(own_keeper(own_rules.lively), OwnKeeper)


# ---- Imports


def test_imports_of_the_colony_run_one_way():
    """Also those for types only: a module that is imported knows nothing of who imports it."""
    folder = Path(colony.__path__[0])
    needs = {}
    for file in folder.glob("*.py"):
        names = set()
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(
                "colony_sim.colony"
            ):
                part = node.module.split(".")[2:]
                names |= {part[0]} if part else {alias.name for alias in node.names}
        needs[file.stem] = names
    assert needs["model"] >= {"founders", "keeper", "rack"}
    left = dict(needs)
    while left:
        free = [name for name, of in left.items() if not of & left.keys()]
        assert free, f"a circle among {sorted(left)}"
        for name in free:
            del left[name]
