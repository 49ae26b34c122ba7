"""Sweeps: every run once, nothing repeated, tables that follow from the runs."""

from __future__ import annotations

import json
import os
import signal
import sys
import tracemalloc

import numpy as np
import pandas as pd
import pytest
from answers import of_folder
from commandline import EXPERIMENT, cli, start, told, tree, wait_for
from inline import Inline, made_up

import colony_sim
from colony_sim.commands.main import run
from colony_sim.errors import InputError
from colony_sim.experiment.design import full_factorial, parse_vary
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.measuring.catalogue import catalogue
from colony_sim.running.executor import run_points
from colony_sim.running.protocol import TaskResult, WorkerLost
from colony_sim.running.runner import Interrupted
from colony_sim.running.store import open_store, read_store
from colony_sim.statistics.paired import all_paired_differences, paired_differences, policy_summary
from colony_sim.statistics.pointwise import ranking
from colony_sim.studies.sweep import run as sweep_module
from colony_sim.studies.sweep.run import plan_sweep, run_sweep

THREE = EXPERIMENT + '\n[[policy]]\nname = "longer"\nrotation.interval_days = 35\n'
SEEDS = [16823399, 2940995229, 2290007392, 1039507385]
FRACTIONS = "harvest.fraction=0.5,0.6,0.7"


@pytest.fixture
def place(tmp_path, monkeypatch):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    (tmp_path / "three.toml").write_text(THREE)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def swept(folder, monkeypatch, *, file="three.toml", executor=None, **options):
    executor = executor or Inline()
    monkeypatch.setattr(sweep_module, "open_executor", lambda *_: executor)
    options.setdefault("vary", [FRACTIONS])
    result = run_sweep(plan_sweep(load(file), **options), folder)
    return result, executor


def tables(folder) -> dict[str, bytes]:
    kept = ("manifest.json", ".lock", "runs.sqlite")
    return {name: data for name, data in tree(folder).items() if name not in kept}


def test_every_run_is_there_once_and_paired(place, monkeypatch):
    result, _ = swept(place / "out", monkeypatch, replicates=12)
    runs = result.table("sweep")
    assert len(runs) == result.n_runs == 3 * 3 * 12 and result.n_failed == 0
    assert not runs.duplicated(["point", "policy", "replicate"]).any()
    seeds = runs.groupby(["point", "policy"])["seed"].apply(tuple)
    assert seeds.nunique() == 1 and len(set(seeds.iloc[0])) == 12
    points = result.table("points")
    assert points["harvest.fraction"].tolist() == [0.5, 0.6, 0.7]
    assert runs.groupby("point")["harvest.fraction"].unique().map(list).tolist() == [
        [0.5], [0.6], [0.7],
    ]  # fmt: skip
    pd.testing.assert_frame_equal(runs, pd.read_csv(place / "out/sweep.csv"), check_dtype=False)


def test_summaries_are_those_of_a_comparison_at_each_point(place, monkeypatch):
    result, _ = swept(place / "out", monkeypatch, replicates=12)
    keys = list(catalogue())
    summary, pairs, ranking = (result.table(n) for n in ("summary", "differences", "ranking"))
    for point, runs in result.table("sweep").groupby("point"):
        assert (runs["status"] == "unsettled").any()
        for found, expected in (
            (summary, policy_summary(runs, measures=keys)),
            (pairs, paired_differences(runs, "short", measures=keys).drop(columns="p_sign_flip")),
        ):
            here = found[found["point"] == point].reset_index(drop=True)[expected.columns]
            pd.testing.assert_frame_equal(here, expected, check_dtype=False, rtol=1e-9)
        every = all_paired_differences(runs, measures=["yield_g_per_day"])
        every = every.set_index(["policy", "baseline"])
        here = ranking[ranking["point"] == point].set_index("rank")
        assert here["mean"].is_monotonic_decreasing and len(here) == 3
        for rank in (2, 3):
            row = every.loc[(here.loc[1, "policy"], here.loc[rank, "policy"])]
            assert here.loc[rank, "p_holm"] == pytest.approx(row["p_holm"])
            clear = (row["low"] > 0 or row["high"] < 0) and row["p_holm"] < 0.05
            assert here.loc[rank, "ties_with_first"] == (not clear)


def test_the_first_of_many_is_adjusted_for_having_been_picked():
    # Ten seeds, four policies; the first is a little ahead of the second.
    rng = np.random.default_rng(2)
    noise = rng.normal(size=10)
    noise = (noise - noise.mean()) / noise.std(ddof=1)
    lead = 0.8  # t = 0.8 sqrt(10) = 2.53, p = 0.032; over six pairs 0.032 times 1 to 6
    values = {"a": np.zeros(10), "b": noise - lead, "c": 5 * noise - 1, "d": 9 * noise - 1.5}
    runs = pd.concat(
        pd.DataFrame({"point": 1, "policy": k, "seed": range(10), "y": v})
        for k, v in values.items()
    )
    table = ranking(runs, list(values), "y", more=True).set_index("policy")
    alone = ranking(runs[runs["policy"].isin(["a", "b"])], ["a", "b"], "y", more=True)
    assert alone["p_holm"].iloc[1] == pytest.approx(0.0321, abs=1e-3)
    assert not alone["ties_with_first"].iloc[1]
    assert table["rank"].to_dict() == {"a": 1, "b": 2, "c": 3, "d": 4}
    assert table.loc["b", "ties_with_first"] and table.loc["b", "holm_family"] == 6
    assert table.loc["b", "p_holm"] == pytest.approx(6 * alone["p_holm"].iloc[1])


def test_tables_do_not_depend_on_how_many_points_are_in_memory(place, monkeypatch):
    def some_fail(task):
        if task.scenario.seed == SEEDS[3] and task.scenario.parameters["harvest.fraction"] > 0.55:
            return TaskResult(None, "Traceback\nRuntimeError: bin 3 is on fire", 0.1, None)
        return made_up(task)

    until = {"until": ["yield_g_per_day=0.9"], "least": 4, "most": 9}
    swept(place / "whole", monkeypatch, executor=Inline(some_fail), **until)
    monkeypatch.setattr("colony_sim.studies.sweep.tables.CHUNK_RUNS", 5)
    result, _ = swept(place / "parts", monkeypatch, executor=Inline(some_fail), **until)
    assert result.n_failed == 2 * 3
    first, second = (tables(place / name) for name in ("whole", "parts"))
    assert first.keys() == second.keys() and len(first) == 16
    for name in first:
        if name.endswith(".csv"):
            assert first[name] == second[name], name
            file = name.replace("csv", "parquet")
            whole, parts = (pd.read_parquet(place / part / file) for part in ("whole", "parts"))
            pd.testing.assert_frame_equal(whole, parts)


def test_policies_that_never_differ_are_called_a_tie(place, monkeypatch):
    def same(task):
        return TaskResult({**made_up(task).outcome, "yield_g_per_day": 5.0}, None, 0.1, None)

    result, _ = swept(place / "out", monkeypatch, executor=Inline(same), replicates=10)
    assert result.table("ranking")["ties_with_first"].all()
    assert any("ties with it at 3." in line for line in result.finding)
    assert not any("yields more than “short” at 1" in line for line in result.finding)


def test_an_extension_runs_only_what_is_new(place, monkeypatch):
    folder = place / "out"
    _, first = swept(folder, monkeypatch, replicates=2)
    assert len(first.ran) == 3 * 3 * 2
    vary = ["harvest.fraction=0.4,0.5,0.6,0.7"]
    result, second = swept(folder, monkeypatch, vary=vary, replicates=3)
    assert len(second.ran) == 4 * 3 * 3 - len(first.ran) and result.n_reused == len(first.ran)
    assert not {task.key for task in first.ran} & {task.key for task in second.ran}
    whole, _ = swept(place / "whole", monkeypatch, vary=vary, replicates=3)
    assert tables(folder) == tables(place / "whole")
    assert swept(folder, monkeypatch, vary=vary, replicates=3)[1].ran == []


def test_an_interrupted_sweep_goes_on_where_it_stopped(place, monkeypatch):
    folder = place / "out"

    def stop_at_ten(task):
        if len(stopping.ran) == 10:
            raise KeyboardInterrupt
        return made_up(task)

    stopping = Inline(stop_at_ten)
    with pytest.raises(Interrupted) as stopped:
        swept(folder, monkeypatch, executor=stopping, replicates=4)
    assert (stopped.value.done, stopped.value.total) == (9, 36)
    assert not (folder / "sweep.parquet").exists()
    _, rest = swept(folder, monkeypatch, replicates=4)
    assert len(rest.ran) == 36 - 9
    swept(place / "whole", monkeypatch, replicates=4)
    assert tables(folder) == tables(place / "whole")


def test_another_model_or_way_to_measure_is_another_run(place, monkeypatch):
    swept(place / "out", monkeypatch, replicates=2)
    monkeypatch.setattr("colony_sim.experiment.plan.model_fingerprint", lambda: "edited")
    assert len(swept(place / "out", monkeypatch, replicates=2)[1].ran) == 18
    monkeypatch.setattr("colony_sim.measuring.outcome._source_digest", lambda: "edited")
    assert len(swept(place / "out", monkeypatch, replicates=2)[1].ran) == 18


def test_a_lost_process_is_tried_alone_and_then_recorded(place, monkeypatch):
    class Fragile(Inline):
        """Loses every task under way while the one of a certain seed is among them."""

        under_way: list = []

        def submit(self, task):
            self.under_way.append(task)
            return super().submit(task)

        def result(self, future):
            broken = any(task.scenario.seed == SEEDS[1] for task in self.under_way[-4:])
            if broken:
                raise WorkerLost
            return future.result()

        def restart(self):
            self.under_way.clear()

    result, executor = swept(place / "out", monkeypatch, executor=Fragile(), replicates=4)
    runs = result.table("sweep")
    assert len(runs) == 36
    failed = runs["status"] == "failed"
    assert (failed == (runs["seed"] == SEEDS[1])).all()
    assert runs.loc[failed, "note"].str.contains("memory ran out").all()


def test_policies_that_differ_only_in_what_is_varied_are_run_once(place):
    sweep = plan_sweep(load("demo.toml"), vary=["rotation.interval_days=7:35:7"])
    assert [policy.name for policy in sweep.plan.policies] == ["short"]
    assert sweep.n_runs == 5 * 4
    assert "“long” differs from “short” only in what is varied" in sweep.notes[0]


def test_one_policy_may_be_swept_alone(place, monkeypatch):
    result, executor = swept(place / "out", monkeypatch, policy="longer", replicates=3)
    assert {task.scenario.parameters["rotation.interval_days"] for task in executor.ran} == {35}
    assert not (place / "out/differences.parquet").exists()
    assert len(result.table("summary")) == 3 * len(catalogue())


def test_a_point_is_laid_over_policies_and_founders(place, monkeypatch):
    vary = ["start.breeders=50,60", "start.larvae=7,8", "predation.adult_egg=0.01,0.02"]
    _, executor = swept(place / "out", monkeypatch, vary=vary, replicates=2)
    found = {
        (s.breeders, s.larvae, s.parameters["predation.adult_egg"])
        for s in (task.scenario for task in executor.ran)
    }
    assert found == {(b, n, e) for b in (50, 60) for n in (7, 8) for e in (0.01, 0.02)}


def test_the_file_may_say_what_to_sweep(place):
    text = '\n[sweep]\nvary = ["harvest.fraction=0.2:0.8"]\ndesign = "sobol"\npoints = 8\n'
    (place / "own.toml").write_text(EXPERIMENT + text + "replicates = 3\ndesign_seed = 9\n")
    own = plan_sweep(load("own.toml"))
    options = {"vary": ["harvest.fraction=0.2:0.8"], "design": "sobol", "points": 8}
    told_so = plan_sweep(load("demo.toml"), **options, replicates=3, design_seed=9)
    pd.testing.assert_frame_equal(own.points, told_so.points)
    assert own.n_runs == told_so.n_runs == 8 * 2 * 3
    assert len(plan_sweep(load("own.toml"), points=16, replicates=2).points) == 16
    (place / "own.toml").write_text(EXPERIMENT + text.replace("sobol", "grid"))
    with pytest.raises(InputError, match="sweep.design = 'grid'; allowed: factorial, lhs or sobol"):
        load("own.toml")


def test_memory_does_not_grow_with_the_number_of_runs(place):
    plan = expand(load("demo.toml"))
    points = full_factorial([parse_vary("harvest.fraction=0.5,0.6")])
    peaks = []
    for count in (50, 500):
        (place / str(count)).mkdir()
        executor = Inline()
        executor.ran = type("Nothing", (), {"append": lambda self, task: None})()
        with open_store(place / str(count)) as store:
            tracemalloc.start()
            runs = run_points(plan, points, store, seeds=range(count), executor=executor)
            assert sum(1 for _ in runs) == 4 * count
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
    # Ten times the runs; a driver that kept them would need some MB more.
    assert peaks[1] < peaks[0] + 300_000


def test_the_library_does_it_in_one_call(place, monkeypatch):
    executor = Inline()
    monkeypatch.setattr(sweep_module, "open_executor", lambda *_: executor)
    result = colony_sim.sweep("demo.toml", [FRACTIONS], replicates=2, one_world=True)
    assert (result.n_runs, str(result.folder)) == (12, "results/demo-sweep")
    assert result.table("sweep")["seed"].unique().tolist() == SEEDS[:2]


def test_a_damaged_store_is_told_in_one_line(place, monkeypatch):
    (place / "out").mkdir()
    (place / "out/runs.sqlite").write_bytes(b"no database at all" * 100)
    with pytest.raises(InputError, match="runs.sqlite: file = 'file is not a database'"):
        swept(place / "out", monkeypatch, replicates=2)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--vary", "seed=1,2"], "--vary: key = 'seed'; allowed: a key of the model"),
        (["--vary", "harvest.fraction=0.5,7"], "harvest.fraction = 7"),
        (["--vary", "egg.lower_c=49"], "egg.lower_c"),
        ([], "vary = 'nothing'; allowed: at least one key"),
        (["--vary", FRACTIONS, "--policy", "weekly"], "--policy = 'weekly'; allowed: one of \"sh"),
        (["--vary", FRACTIONS, "--design", "grid"], "--design = 'grid'; allowed: one of"),
        (["--vary", FRACTIONS, "--points", "4"], "--points = 4; allowed: only with --design"),
        (["--vary", FRACTIONS, "--workers", "0"], "--workers = 0; allowed"),
        (["--vary", FRACTIONS, "--replicates", "1"], "--replicates = 1; allowed"),
        (["--vary", FRACTIONS, "--until", "yield=1"], "measure = 'yield'; allowed"),
        (["--vary", FRACTIONS, "--least", "4"], "--least = 4; allowed: only with --until"),
        (["--vary", FRACTIONS, "--out", "demo.toml"], "a folder that can be written"),
        (["--vary", FRACTIONS, "--cluster", "here"], "--cluster = 'here'; allowed: an address"),
    ],
)
def test_bad_use_ends_with_2_and_one_line_and_nothing_is_written(
    place, monkeypatch, capsys, words, expected
):
    (place / "three.toml").unlink()
    monkeypatch.setattr(sys, "argv", ["colony-sim", "sweep", "demo.toml", *words])
    with pytest.raises(SystemExit) as end:
        run()
    out, err = capsys.readouterr()
    assert (end.value.code, out) == (2, "")
    assert err.count("\n") == 1 and expected in err
    assert tree(place).keys() == {"demo.toml"}


def test_from_the_dry_run_to_a_failed_run_as_a_user_does(place):
    words = ("sweep", "demo.toml", "--vary", "harvest.fraction=0.5,0.6", "--replicates", 3,
             "--one-world")  # fmt: skip
    code, out, err = cli(*words, "--dry-run", cwd=place)
    assert (code, told_of(err)) == (0, [])
    # Said before the pilot run, which can take a minute.
    assert "demo-sweep: 12 runs in all; working out how long they take" in err
    out = " ".join(out.split())
    assert "2 points (factorial) x 2 policies x 3 replicates = 12 runs; 0 are stored" in out
    assert "one pilot run, made just now and not kept" in out and "Memory: about" in out
    assert not (place / "results").exists()

    code, out, err = cli(*words, cwd=place, faults=f"fail={SEEDS[2]}")
    folder = place / "results/demo-sweep"
    assert code == 1
    (line,) = told_of(err)
    assert "4 of 12 runs failed; the first: point 1 (harvest.fraction = 0.5), policy short" in line
    assert "RuntimeError: bin 3 is on fire" in line and "failures.csv" in line
    assert len(of_folder(folder, "sweep")["tables"]["failures"]["records"]) == 4
    failures = pd.read_parquet(folder / "failures.parquet")
    assert failures["seed"].tolist() == [SEEDS[2]] * 4
    assert failures["traceback"].str.contains("Traceback").all()
    inputs = json.loads(failures.loc[3, "parameters"])
    assert (inputs["harvest.fraction"], inputs["rotation.interval_days"]) == (0.6, 21)
    assert (inputs["days"], inputs["start.breeders"]) == (700, 300)
    runs = pd.read_parquet(folder / "sweep.parquet")
    assert (runs["status"] == "failed").sum() == 4 and len(runs) == 12
    assert "Grams a day (95 % interval)" in out and "Results: results/demo-sweep" in out

    code, out, err = cli(*words, "--dry-run", cwd=place)
    out = " ".join(out.split())
    assert "8 are stored, 4 to do" in out and "mean of 8 stored runs" in out
    log = place / "log"
    code, out, err = cli(*words, cwd=place, log=log)
    assert (code, told_of(err)) == (0, [])
    assert sorted(log.read_text().split()[1::3]) == [str(SEEDS[2])] * 4
    assert not (folder / "failures.parquet").exists()
    assert "8 runs were finished before" in out


def test_a_killed_worker_and_ctrl_c_lose_no_run_that_was_finished(place):
    words = ("sweep", "demo.toml", "--vary", FRACTIONS, "--replicates", 3, "--policy", "short",
             "--one-world")  # fmt: skip
    folder, log = place / "results/demo-sweep", place / "log"
    process = start(*words, cwd=place, faults=f"slow=0.0004,exit={SEEDS[2]}", log=log)
    wait_for(lambda: log.exists() and len(log.read_text().splitlines()) >= 6)
    os.kill(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=20)
    (line,) = told_of(err)
    assert process.returncode == 130
    with read_store(folder) as store:
        kept = store.cost().runs
    assert f"Stopped. {kept} of 9 runs are finished and kept" in line and 1 <= kept < 9
    code, _, err = cli(*words, cwd=place, faults=f"exit={SEEDS[2]}")
    assert code == 1 and "3 of 9 runs failed" in told_of(err)[0]
    runs = pd.read_parquet(folder / "sweep.parquet")
    assert ((runs["status"] == "failed") == (runs["seed"] == SEEDS[2])).all()


def told_of(err) -> list[str]:
    lines = err if isinstance(err, list) else told(err)
    return [line for line in lines if not line.startswith("demo-sweep: ")]
