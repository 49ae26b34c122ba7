"""Profiles: the draws of a plan, and what the commands make of them."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from decimal import ROUND_FLOOR

import numpy as np
import pandas as pd
import pytest
from commandline import EXPERIMENT, cli, told, tree
from inline import Inline
from made_up_worlds import EGG, KEYS, LAID, LIFE, PROFILE

from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.commands import main
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand, single
from colony_sim.experiment.worlds import Worlds, write_worlds
from colony_sim.measuring.catalogue import catalogue as measures
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.results import manifest
from colony_sim.results.methods import methods
from colony_sim.running.executor import point_plan, run_points
from colony_sim.running.protocol import TaskResult
from colony_sim.running.store import open_store
from colony_sim.running.task import Task
from colony_sim.statistics.information import narrowing
from colony_sim.studies import points
from colony_sim.studies.comparison.assumptions import find_assumptions
from colony_sim.studies.comparison.this_colony import ThisColony
from colony_sim.studies.origin import Origin
from colony_sim.studies.profile_words import circumstances, this_colony_in_words
from colony_sim.studies.repeat import first_difference
from colony_sim.studies.sensitivity.run import sensitivity
from colony_sim.studies.sweep.run import plan_sweep
from colony_sim.words import labels
from colony_sim.words.estimate import number

HEADER = "the header row world,KEY"
LAW, OWN = "growth.law", "heat.own"


@pytest.fixture
def experiment(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    return load(tmp_path / "demo.toml")


# ---- The draws of a plan


def test_replicates_take_draws_in_turn_and_policies_share_them(experiment):
    plan = expand(experiment, replicates=90, profile=PROFILE)
    runs = list(plan.runs())
    default = {run.policy: run for run in expand(experiment).runs() if run.replicate == 1}
    assert len({run.key for run in runs}) == 180
    for run in runs:
        p, base = run.scenario.parameters, default[run.policy].scenario.parameters
        row = PROFILE.draws[(run.replicate - 1) % 40]
        assert tuple(p[key] for key in KEYS) == tuple(row)
        assert all(p[key] == base[key] for key in p if key not in KEYS)
    assert plan.name == "demo-shed"
    assert expand(experiment, quick=True, profile=PROFILE).name == "demo-shed-quick"


def test_a_part_of_the_seeds_keeps_its_draws(experiment):
    plan = expand(experiment, replicates=30, profile=PROFILE)
    every = {run.key for run in plan.runs()}
    parts = [replace(plan, seeds=plan.seeds[a:b], first=a + 1) for a, b in ((0, 7), (7, 30))]
    assert {run.key for part in parts for run in part.runs()} == every


def test_a_plan_without_a_profile_is_as_it_was(experiment):
    plan = expand(experiment)
    assert plan.profile is None and plan.at_centre() is plan
    assert all(run.scenario.parameters is p.parameters
               for run, p in zip(plan.runs(), plan.policies * 4, strict=True))  # fmt: skip


def test_the_central_draw_in_place_of_all(experiment):
    plan = expand(experiment, profile=PROFILE)
    middle = plan.at_centre()
    assert middle.profile is None
    for run in middle.runs():
        assert {key: run.scenario.parameters[key] for key in KEYS} == PROFILE.centre()
    part = plan.at_centre([EGG])
    assert part.profile.keys == (LAID, LIFE)
    first = next(part.runs()).scenario.parameters
    assert first[EGG] == PROFILE.centre()[EGG] and first[LAID] == PROFILE.draws[0, 1]


def test_a_point_of_its_own_wins_over_the_draw(experiment, tmp_path):
    plan = expand(experiment, replicates=3, profile=PROFILE)
    inline = Inline()
    two = [{EGG: 0.02, "harvest.fraction": 0.5}, {"harvest.fraction": 0.5}]
    with open_store(tmp_path) as store:
        outcomes = list(run_points(plan, two, store, executor=inline))
    assert len(outcomes) == 12 == len(inline.ran)
    for task, point in zip(inline.ran, [1] * 6 + [2] * 6, strict=True):
        p = task.scenario.parameters
        row = PROFILE.draws[plan.seeds.index(task.scenario.seed)]
        assert p[EGG] == (0.02 if point == 1 else row[0]) and p[LAID] == row[1]
    at_point = point_plan(plan, two[0])
    assert at_point.profile.keys == (LAID, LIFE) and point_plan(plan, {}).profile is PROFILE


def test_a_point_that_does_not_go_with_a_draw_is_named(experiment, tmp_path):
    keys = ("larva.mature_mass_mg",)
    heavy = Worlds("heavy", keys, np.array([[150.0], [170.0]]))
    plan = expand(experiment, profile=heavy)
    point = {"larva.asymptotic_mass_mg": 160.0}
    with open_store(tmp_path) as store, pytest.raises(InputError, match="point 1, world 2"):
        list(run_points(plan, [point], store, executor=Inline()))
    # A sweep leaves such a world out, at every point alike.
    vary = ["larva.asymptotic_mass_mg=160,200"]
    swept = plan_sweep(experiment, vary=vary, replicates=3, profile=heavy)
    lived = {(run.point, run.scenario.parameters[keys[0]]) for run in swept.runs(SteadyMeasuring())}
    assert lived == {(1, 150.0), (2, 150.0)} and swept.left_out == 1
    assert swept.notes == (
        "1 possible colony does not go with every value that is varied (some keys must stay in "
        "order) and is left out everywhere.",
    )
    # If none goes with a point, it is told which keys clash.
    with pytest.raises(InputError, match="larva.asymptotic_mass_mg"):
        plan_sweep(experiment, vary=["larva.asymptotic_mass_mg=150"], profile=heavy)
    tight = EXPERIMENT + "\n[biology]\nlarva.asymptotic_mass_mg = 160.0\n"
    (tmp_path / "tight.toml").write_text(tight)
    with pytest.raises(InputError, match="profile heavy, world 2"):
        expand(load(tmp_path / "tight.toml"), profile=heavy)


def test_one_run_takes_the_central_draw_or_another(experiment):
    central = single(experiment, profile=PROFILE).scenario.parameters
    assert {key: central[key] for key in KEYS} == PROFILE.centre()
    third = single(experiment, profile=PROFILE, draw=3).scenario.parameters
    assert tuple(third[key] for key in KEYS) == tuple(PROFILE.draws[2])
    with pytest.raises(InputError, match="only with `profile`"):
        single(experiment, draw=3)
    with pytest.raises(InputError, match="from 1 to 40"):
        single(experiment, profile=PROFILE, draw=41)
    for draw, used, said in ((None, "centre", "the draw nearest the centre"), (3, 3, "draw 3")):
        run = single(experiment, profile=PROFILE, draw=draw)
        data = manifest.build_single("demo", run, "", PROFILE, draw)
        assert data["profile"]["used"] == used
        said = f"Biological values are those of {said} of the fitted profile “shed”."
        assert said in methods(data)


def test_the_manifest_alone_gives_the_plan_back(experiment):
    for profile in (None, PROFILE):
        plan = expand(experiment, profile=profile)
        stored = json.loads(json.dumps(manifest.build(plan, [], "")))
        again = manifest.plan_from(stored, "x")
        assert again == plan
        assert [run.key for run in again.runs()] == [run.key for run in plan.runs()]
    assert Origin.of(stored).profile == "shed"
    said = "drawn from the fitted profile “shed”, one joint draw for each replicate."
    assert said in methods(stored)
    stored["profile"]["draws"][1] = [1.0]
    with pytest.raises(InputError, match="damaged"):
        manifest.plan_from(stored, "x")


def structures(draws: int = 32) -> Worlds:
    """Two laws of growth; under the second beetles eat far more eggs."""
    rng = np.random.default_rng(6)
    law, own = rng.permuted(np.resize([0, 1], draws)), rng.integers(0, 2, draws)
    eaten = 0.006 * (1 + 3 * law) * np.exp(rng.normal(0, 0.3, draws))
    return Worlds("laws", (LAW, EGG, OWN), np.column_stack([law, eaten, own]))


def test_structures_are_drawn_with_the_numbers(experiment):
    worlds = structures()
    plan = expand(experiment, profile=worlds)
    for run in plan.runs():
        drawn = {key: run.scenario.parameters[key] for key in worlds.keys}
        assert drawn == worlds.draw(run.replicate)
        assert isinstance(drawn[LAW], str) and isinstance(drawn[OWN], bool)
    centre = next(plan.at_centre().runs()).scenario.parameters
    assert {key: centre[key] for key in worlds.keys} == worlds.centre()
    stored = json.loads(json.dumps(manifest.build(plan, [], "")))
    assert stored["profile"]["draws"][0] == list(worlds.draw(1).values())
    assert manifest.plan_from(stored, "x") == plan
    law, egg, own = map(labels.label, (LAW, EGG, OWN))
    assert f"{law}, {egg} and {own} are drawn from its 32 draws" in circumstances(plan)[0]


def test_values_fixed_at_the_centre_go_with_those_that_are_drawn(experiment):
    keys = ("larva.mature_mass_mg", "larva.asymptotic_mass_mg")
    masses = Worlds("a", keys, np.array([[140.0, 160.0], [150.0, 170.0], [130.0, 138.0]]))
    plan = expand(experiment, profile=masses)
    assert plan.at_centre(keys).profile is None
    with pytest.raises(InputError, match="central draw, world 3: larva.asymptotic_mass_mg = 138"):
        plan.at_centre(keys[:1])


# ---- The commands


@pytest.fixture(scope="module")
def answered(tmp_path_factory):
    """A comparison with a profile, of which the first key alone moves the (fake) difference."""
    place = tmp_path_factory.mktemp("answered")
    (place / "demo.toml").write_text(EXPERIMENT)
    write_worlds(place / "shed.csv", PROFILE)
    words = ("compare", "demo.toml", "--profile", "shed.csv", "--worlds", 16, "--replicates", 1)
    code, out, err = cli(*words, cwd=place, faults="eggs=eaten")
    assert code == 0, err
    return place, out


def test_compare_answers_for_this_colony(answered):
    place, out = answered
    folder = place / "results/demo-shed"
    verdict = (folder / "verdict.txt").read_text()
    answer = verdict.strip().split("\n\n")[1]
    assert answer.startswith("“short” gives more larvae than “long”: in 100 of 100")
    assert "".join(answer.split()) in "".join(out.split())
    # The fake model: the difference is minus the share of eggs eaten, in units of the default.
    eggs = PROFILE.draws[:16, 0] / Parameters.default()["predation.adult_egg"]
    runs = pd.read_parquet(folder / "runs.parquet")
    wide = runs.pivot(index="replicate", columns="policy", values="yield_g_per_day").dropna()
    eggs = eggs[wide.index - 1]
    assert len(wide) > 12 and np.corrcoef(wide["long"] - wide["short"], -eggs)[0, 1] > 0.9
    row = pd.read_parquet(folder / "against_default.parquet").set_index("measure")
    row = row.loc["yield_g_per_day"]
    assert row["default_difference"] == pytest.approx(-1, abs=0.05)
    assert row["profile_difference"] == pytest.approx(-eggs.mean(), abs=0.05)
    assert row["change"] == pytest.approx(row["profile_difference"] - row["default_difference"])
    assert row["change_low"] < row["change"] < row["change_high"] and row["pairs"] <= len(wide)
    assert "How the answer differs from the default" in verdict
    assert "the verdict stays the same (“short” ahead)" in verdict
    assert f"in 0 of {len(wide)} pairs of runs" in verdict


def test_compare_says_what_one_measurement_would_settle(answered):
    place, _ = answered
    folder = place / "results/demo-shed"
    table = pd.read_parquet(folder / "leans_on.parquet").set_index("key")
    # What nobody chooses of the handling is drawn with the profile.
    assert set(KEYS) < set(table.index) and table.loc["labour.move_minutes", "kind"] == "handling"
    assert table.loc[EGG, "share"] > 0.7 and table["share"].idxmax() == EGG
    # All worlds agree, so that no knowledge would change the choice.
    assert not table["told_apart"].any()
    assert "no single value is told apart" in (folder / "verdict.txt").read_text()


def test_compare_says_what_knowing_the_structure_would_settle(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    worlds = structures()
    write_worlds(tmp_path / "laws.csv", worlds)
    words = ("compare", "demo.toml", "--profile", "laws.csv", "--worlds", 32, "--replicates", 1)
    code, out, err = cli(*words, cwd=tmp_path, faults="eggs=eaten")
    assert code == 0, (out, err)
    folder = tmp_path / "results/demo-laws"
    table = pd.read_parquet(folder / "leans_on.parquet").set_index("key")
    runs = pd.read_parquet(folder / "runs.parquet")
    wide = runs.pivot(index="replicate", columns="policy", values="yield_g_per_day").dropna()
    y = (wide["long"] - wide["short"]).to_numpy()
    law = worlds.draws[wide.index - 1, 0]
    within = sum(((y[law == code] - y[law == code].mean()) ** 2).sum() for code in (0, 1))
    share = 1 - within / (len(y) - 2) / y.var(ddof=1)
    assert table.loc[LAW, "share"] == pytest.approx(share) and share > 0.5
    assert table.loc[LAW, "kind"] == table.loc[OWN, "kind"] == "structure"
    named = ", ".join(labels.label(key) for key in (LAW, EGG, OWN))
    assert f"{named} and" in (folder / "verdict.txt").read_text()


def test_the_default_in_the_folder_of_a_profile_is_refused(answered, monkeypatch, capsys):
    place, _ = answered
    before = tree(place)
    stored = json.loads((place / "results/demo-shed/manifest.json").read_text())
    # The worlds that were lived in, with the handling that nobody chooses.
    draws = [row[: len(KEYS)] for row in stored["profile"]["draws"]]
    assert (stored["profile"]["name"], draws) == ("shed", PROFILE.first(16).as_dict()["draws"])
    assert stored["experiment"]["name"] == "demo-shed"
    code, err = here(place, monkeypatch, capsys, "compare", "demo.toml", "--out",
                     "results/demo-shed")  # fmt: skip
    assert code == 2 and "demo-shed" in err
    assert tree(place) == before


def test_repeat_needs_the_manifest_alone(answered, tmp_path):
    place, _ = answered
    (place / "shed.csv").unlink()
    code, out, err = cli("repeat", "results/demo-shed", cwd=place, faults="eggs=eaten")
    assert code == 0, (out, err)
    write_worlds(place / "shed.csv", PROFILE)
    again = tmp_path / "again"
    shutil.copytree(place / "results/demo-shed", again)
    table = pd.read_parquet(again / "leans_on.parquet")
    table.loc[0, "share"] += 1e-12
    table.to_parquet(again / "leans_on.parquet")
    difference = first_difference(place / "results/demo-shed", again)
    assert difference.startswith("leans_on.parquet: row 1")


def test_the_change_from_the_default_in_words():
    d = -PROFILE.draws[:8, 0] / 0.008
    row = {"measure": "yield_g_per_day", "pairs": 8, "default_pairs": 8, "profile_pairs": 8,
           "default_difference": 0.1, "default_low": -0.2, "default_high": 0.4, "default_sd": 0.1,
           "profile_difference": d.mean(), "profile_low": d.mean() - 1, "profile_high": -0.01,
           "change": 0.5, "change_low": -0.1, "change_high": 1.1}  # fmt: skip
    found = ThisColony(("long", "short"), pd.DataFrame([row]),
                       narrowing(KEYS, PROFILE.draws[:8], d), 0, d.min(), d.max())  # fmt: skip
    text = " ".join(this_colony_in_words(found, PROFILE))
    assert "the verdict changes, from neither ahead to “short” ahead" in text
    assert f"went from {number(d.min(), ROUND_FLOOR)} to".replace("-", "−") in text
    assert "which the runs do not separate from no change" in text
    none = replace(found, against=pd.DataFrame([row | {"default_pairs": 0}]))
    assert (
        "cannot be told: of the pairs of runs, 0 with the default"
        in this_colony_in_words(none, PROFILE)[0]
    )


def test_sensitivity_moves_fitted_keys_through_their_draws(experiment, tmp_path, monkeypatch):
    def work(task: Task) -> TaskResult:
        p = task.scenario.parameters
        eaten = p[EGG] * p["rotation.interval_days"] + 0.001 * p[LAID]
        return TaskResult({"died_out_day": None, **dict.fromkeys(measures(), eaten)}, None, 0.1, 1)

    inline = Inline(work)
    monkeypatch.setattr(points, "open_executor", lambda workers: inline)
    plan = expand(experiment, profile=PROFILE)
    entries = [catalogue()[key] for key in (EGG, "egg.viable_share")]
    found = sensitivity(plan, tmp_path, method="oneway", entries=entries, replicates=3)
    low, high = PROFILE.interval(EGG, 0.9)
    middle = PROFILE.centre()[EGG]
    assert found.sampled[EGG].tolist() == [low, high, middle, middle]
    results = found.sampled[[c for c in found.sampled if c.startswith("result_")]]
    assert results.iloc[0].to_numpy() == pytest.approx(7 * low)
    assert found.central[0] == pytest.approx(7 * middle)
    drawn = {task.scenario.seed: task.scenario.parameters[LAID] for task in inline.ran}
    assert list(drawn.values()) == PROFILE.draws[:3, 1].tolist()
    row = found.table.set_index("key").loc[EGG]
    assert (row["low_value"], row["high_value"], row["basis"]) == (low, high, "fitted")
    said = " ".join(circumstances(plan, [EGG], ranges=True))
    assert f"{labels.label(EGG)} goes through the interval that holds 90 % of the draws" in said
    assert f"{labels.label(LAID)} and {labels.label(LIFE)} are drawn" in said


def test_assumptions_start_from_the_central_draw(experiment, tmp_path, monkeypatch):
    def work(task: Task) -> TaskResult:
        p = task.scenario.parameters
        eaten = p[EGG] * p["rotation.interval_days"] + p["egg.viable_share"]
        return TaskResult({"died_out_day": None, **dict.fromkeys(measures(), eaten)}, None, 0.1, 1)

    inline = Inline(work)
    monkeypatch.setattr(points, "open_executor", lambda workers: inline)
    plan = expand(experiment, profile=PROFILE)
    entries = [catalogue()[key] for key in (EGG, "egg.viable_share")]
    with points.open_points(tmp_path) as runner:
        found = find_assumptions(plan, ("long", "short"), runner, entries=entries)
    assert {task.scenario.parameters[LIFE] for task in inline.ran} == {PROFILE.centre()[LIFE]}
    rows = found.table[found.table["key"] == EGG].set_index("end")
    assert (rows["rank"] == 1).all() and (rows["basis"] == "fitted").all()
    assert (rows["default"] == PROFILE.centre()[EGG]).all()
    ends = [rows.loc[end, "value"] for end in ("low", "high")]
    assert ends == list(PROFILE.interval(EGG, 0.9))
    assert found.central[0] == pytest.approx(7 * PROFILE.centre()[EGG])
    assert "; fitted): at" in found.text and "Source: profile shed" in found.text
    assert "start from its central draw here and go to the ends of the interval" in found.text


def test_a_sweep_draws_what_it_does_not_vary(experiment):
    sweep = plan_sweep(
        experiment, vary=[f"{EGG}=0.008,0.024"], replicates=3, profile=PROFILE, policy="short"
    )
    assert sweep.plan.name == "demo-shed-sweep"
    found = [
        (run.point, run.scenario.parameters[EGG], run.scenario.parameters[LAID])
        for run in sweep.runs(SteadyMeasuring())
    ]
    assert found == [(p, e, PROFILE.draws[r, 1]) for p, e in ((1, 0.008), (2, 0.024))
                     for r in range(3)]  # fmt: skip
    drawn, varied = circumstances(sweep.plan, [EGG])
    # Handling that nobody chooses is drawn as well.
    assert (
        f"{labels.label(LAID)}, {labels.label(LIFE)}" in drawn
        and "are drawn from its 40 draws" in drawn
    )
    assert f"{labels.label(EGG)} is varied as asked, not drawn" in varied
    assert circumstances(expand(experiment)) == []


def test_one_run_with_a_profile_keeps_it_in_its_manifest(answered):
    place, _ = answered
    words = ("run", "demo.toml", "--profile", "shed.csv", "--days", 30, "--draw", 3)
    code, out, err = cli(*words, cwd=place)
    assert (code, err) == (0, []) and "draw 3 of profile “shed”" in out
    stored = json.loads((place / "results/demo-shed-run-short/manifest.json").read_text())
    assert {key: stored["parameters"][key] for key in KEYS} == PROFILE.draw(3)
    assert stored["profile"]["used"] == 3


def here(place, monkeypatch, capsys, *words):
    """Exit code and standard error of the command in this process, which prints nothing else."""
    monkeypatch.chdir(place)
    monkeypatch.setattr("sys.argv", ["colony-sim", *words])
    with pytest.raises(SystemExit) as end:
        main.run()
    out, err = capsys.readouterr()
    (line,) = told(err)
    assert out == ""
    return end.value.code, line


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["compare", "--profile", "nowhere.csv"], "nowhere.csv: file = 'No such file"),
        (["sweep", "--profile", "demo.toml", "--vary", "harvest.fraction=0.5"], HEADER),
        (["run", "--draw", "2"], "--draw = 2; allowed: only with --profile"),
        (["search", "--profile", "demo.toml", "--keys", "harvest.fraction"], HEADER),
        (["breakeven", "--profile", "demo.toml", "--x", "harvest.fraction=0.5,0.6", "--y",
          "predation.adult_egg=0.01,0.02"], HEADER),
        (["sensitivity", "--profile", "demo.toml"], HEADER),
    ],
)  # fmt: skip
def test_bad_use_is_one_line_and_writes_nothing(tmp_path, monkeypatch, capsys, words, expected):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    code, err = here(tmp_path, monkeypatch, capsys, words[0], "demo.toml", *words[1:])
    assert code == 2 and expected in err
    assert tree(tmp_path).keys() == {"demo.toml"}
