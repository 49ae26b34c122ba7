"""Profiles: the file, the draws of a plan, and what the commands make of them."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from decimal import ROUND_FLOOR

import numpy as np
import pandas as pd
import pytest
from commandline import EXPERIMENT, cli, tree
from inline import Inline

from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.commands import main
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand, single
from colony_sim.experiment.profile import (
    Profile,
    fitted_ranges,
    read_profile,
    write_profile,
)
from colony_sim.measuring.catalogue import catalogue as measures
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.results import manifest
from colony_sim.running.executor import point_plan, run_points
from colony_sim.running.protocol import TaskResult
from colony_sim.running.store import open_store
from colony_sim.running.task import Task
from colony_sim.statistics.information import narrowing, runs_needed
from colony_sim.studies import points
from colony_sim.studies.comparison.assumptions import find_assumptions, uncertain
from colony_sim.studies.comparison.this_colony import ThisColony
from colony_sim.studies.origin import Origin
from colony_sim.studies.profile_words import circumstances, this_colony_in_words
from colony_sim.studies.repeat import first_difference
from colony_sim.studies.sensitivity.run import sensitivity
from colony_sim.studies.sweep.run import plan_sweep
from colony_sim.words.estimate import number

EGG, LAID, LIFE = "predation.adult_egg", "fecundity.peak_eggs_per_day", "adult.life_mean_days"
KEYS = (EGG, LAID, LIFE)


def made_up(draws: int = 40, name: str = "shed", keys=KEYS) -> Profile:
    """An invented profile: log-normal around the defaults."""
    rng = np.random.default_rng(5)
    middle = np.log([catalogue()[key].value for key in keys])
    table = np.exp(rng.normal(middle, 0.25, size=(draws, len(keys))))
    facts = {"log": 'a "log".csv', "days": 400, "fitted": True, "dates": ["2031-01-01", "é\n"]}
    return Profile(name, keys, table, facts)


PROFILE = made_up()


@pytest.fixture
def experiment(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    return load(tmp_path / "demo.toml")


# ---- The file


def test_round_trip_is_exact(tmp_path):
    path = tmp_path / "shed.profile.toml"
    write_profile(path, PROFILE)
    found = read_profile(path)
    assert found == PROFILE and found.draws.tobytes() == PROFILE.draws.tobytes()
    assert (found.keys, found.facts) == (PROFILE.keys, PROFILE.facts)
    again = tmp_path / "again.toml"
    write_profile(again, found)
    assert again.read_bytes() == path.read_bytes()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["again.toml", "shed.profile.toml"]
    odd = Profile("odd", (EGG,), np.array([[0.1 + 0.2], [1e-300], [5e-324], [0.0], [10.0]]))
    write_profile(path, odd)
    assert read_profile(path) == odd


def test_the_file_can_be_read_by_people(tmp_path):
    path = tmp_path / "p.toml"
    write_profile(path, PROFILE)
    text = path.read_text()
    a, b = np.quantile(PROFILE.draws[:, 0], [0.25, 0.75])
    c, d = np.quantile(PROFILE.draws[:, 0], [0.05, 0.95])
    line = f"half of the draws from {a:.4g} to {b:.4g}, 90 % from {c:.4g} to {d:.4g}"
    middle = float(np.median(PROFILE.draws[:, 0]))
    assert f"# dm2/(adult d): {line}\n{EGG} = {middle!r}\n" in text
    assert text.startswith("# Profile “shed”") and "[draws]" in text


def test_facts_are_plain(tmp_path):
    full = replace(PROFILE, facts={"n": np.int64(3), "x": np.float64(0.5), "none": None, "t": (1,)})
    assert full.facts == {"n": 3, "x": 0.5, "t": [1]}
    write_profile(tmp_path / "p.toml", full)
    assert read_profile(tmp_path / "p.toml") == full
    for facts in ({"x": float("nan")}, {"a b": 1}, {"name": "x"}, {"d": {"a": 1}}):
        with pytest.raises(InputError):
            replace(PROFILE, facts=facts)


FILE = """\
[profile]
name = "shed"
format = 1
[biology]
predation.adult_egg = 0.02
fecundity.peak_eggs_per_day = 6.0
[draws]
predation.adult_egg = [0.01, 0.02, 0.03]
fecundity.peak_eggs_per_day = [5.0, 6.0, 7]
"""


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("[profile]", "[profil]", ["[profile] = None", "colony-sim fit"]),
        ("[draws]", "[drawn]", ["[draws] = None"]),
        ("[biology]", "[other]\n[biology]", ["[other]", "[profile], [biology] and [draws]"]),
        ('"shed"', '"A shed"', ["profile.name = 'A shed'"]),
        ("format = 1", "format = 2", ["profile.format = 2; allowed: 1"]),
        ("format = 1", "", ["profile.format = None"]),
        ("name =", "name", ["no TOML"]),
        ("adult_egg = [", "adult_eg = [", ["unknown key", "predation.adult_egg"]),
        ("predation.adult_egg = [", "harvest.fraction = [", ["keys of the biology only"]),
        ("0.03]", "0.03, 0.04]", ["number of draws of fecundity", "= 3; allowed: 4"]),
        ("0.03]", "11.0]", ["draw 3: predation.adult_egg = 11.0", "from 0 to 10"]),
        ("0.03]", "-0.1]", ["draw 3: predation.adult_egg"]),
        ("0.03]", "nan]", ["draw 3"]),
        ("0.03]", "true]", ["draw 3: predation.adult_egg = True"]),
        ("0.03]", '"much"]', ["draw 3"]),
        ("[0.01, 0.02, 0.03]", "0.02", ["draws of predation.adult_egg = 0.02", "a list"]),
        ("[0.01, 0.02, 0.03]", "[]", ["a list of numbers"]),
        ("egg = 0.02", "egg = 0.021", ["biology.predation.adult_egg = 0.021", "the median"]),
        ("egg = 0.02\n", 'egg = "0.02"\n', ["biology.predation.adult_egg"]),
        ("predation.adult_egg = 0.02\n", "", ["missing"]),
        ("day = 6.0", "day = 6.0\negg.mass_mg = 0.5", ["egg.mass_mg", "keys that [draws] has"]),
    ],
)
def test_a_bad_file_is_one_line(tmp_path, old, new, expected):
    path = tmp_path / "p.toml"
    path.write_text(FILE)
    assert read_profile(path).draw(3) == {EGG: 0.03, LAID: 7.0}
    assert old in FILE
    path.write_text(FILE.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_profile(path)
    line = caught.value.line
    assert line.startswith(str(path)) and "\n" not in line
    assert all(words in line for words in expected), line


def test_a_draw_that_breaks_the_order_of_keys_is_named(tmp_path):
    path = tmp_path / "p.toml"
    mass = "larva.mature_mass_mg = [150.0, 400.0]\nlarva.asymptotic_mass_mg = [200.0, 300.0]\n"
    medians = "[biology]\nlarva.mature_mass_mg = 275.0\nlarva.asymptotic_mass_mg = 250.0\n"
    path.write_text(f'[profile]\nname = "a"\nformat = 1\n{medians}[draws]\n{mass}')
    with pytest.raises(InputError, match=r"draw 2: larva.mature_mass_mg = 400.0; allowed: below"):
        read_profile(path)
    keys = ("larva.mature_mass_mg", "larva.asymptotic_mass_mg")
    with pytest.raises(InputError, match="draw 1"):
        write_profile(tmp_path / "q.toml", Profile("a", keys, np.array([[400.0, 300.0]])))
    assert not (tmp_path / "q.toml").exists()


def test_shapes_and_names_of_a_profile():
    for keys, draws in (
        ((EGG,), np.ones((3, 2))), ((EGG,), np.ones(3)), ((EGG, EGG), np.ones((3, 2))),
        ((), np.ones((3, 0))), ((EGG,), np.ones((0, 1))), (("pupae.isolate",), np.ones((3, 1))),
    ):  # fmt: skip
        with pytest.raises(InputError):
            Profile("a", keys, draws)
    with pytest.raises(InputError, match="profile.name"):
        Profile("../a", (EGG,), np.ones((3, 1)))
    with pytest.raises(ValueError, match="read-only"):
        PROFILE.draws[0, 0] = 1.0


def test_medians_intervals_and_parts():
    assert PROFILE.medians() == dict(zip(KEYS, np.median(PROFILE.draws, axis=0), strict=True))
    assert PROFILE.interval(LAID, 0.9) == tuple(np.quantile(PROFILE.draws[:, 1], [0.05, 0.95]))
    assert PROFILE.draw(1) == PROFILE.draw(41) != PROFILE.draw(2)
    assert PROFILE.without([]) is PROFILE and PROFILE.without(KEYS) is None
    rest = PROFILE.without([LAID])
    assert rest.keys == (EGG, LIFE) and np.array_equal(rest.draws, PROFILE.draws[:, [0, 2]])


def test_ranges_of_fitted_keys_are_those_of_the_draws():
    entries = {entry.key: entry for entry in fitted_ranges(uncertain(), PROFILE)}
    for entry in uncertain():
        here = entries[entry.key]
        if entry.key in KEYS:
            assert (here.low, here.high) == PROFILE.interval(entry.key, 0.9)
            assert (here.basis, here.source) == ("fitted", "profile shed")
        else:
            assert here == entry
    assert fitted_ranges(uncertain(), None) == uncertain()


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
    assert plan.profile is None and plan.at_medians() is plan
    assert all(run.scenario.parameters is p.parameters
               for run, p in zip(plan.runs(), plan.policies * 4, strict=True))  # fmt: skip


def test_medians_in_place_of_draws(experiment):
    plan = expand(experiment, profile=PROFILE)
    middle = plan.at_medians()
    assert middle.profile is None
    for run in middle.runs():
        assert {key: run.scenario.parameters[key] for key in KEYS} == PROFILE.medians()
    part = plan.at_medians([EGG])
    assert part.profile.keys == (LAID, LIFE)
    first = next(part.runs()).scenario.parameters
    assert first[EGG] == PROFILE.medians()[EGG] and first[LAID] == PROFILE.draws[0, 1]


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
    heavy = Profile("heavy", keys, np.array([[150.0], [170.0]]))
    plan = expand(experiment, profile=heavy)
    point = {"larva.asymptotic_mass_mg": 160.0}
    with open_store(tmp_path) as store, pytest.raises(InputError, match="point 1, draw 2"):
        list(run_points(plan, [point], store, executor=Inline()))
    with pytest.raises(InputError, match="draw 2"):
        plan_sweep(experiment, vary=["larva.asymptotic_mass_mg=160"], profile=heavy)
    tight = EXPERIMENT + "\n[biology]\nlarva.asymptotic_mass_mg = 160.0\n"
    (tmp_path / "tight.toml").write_text(tight)
    with pytest.raises(InputError, match="profile heavy, draw 2"):
        expand(load(tmp_path / "tight.toml"), profile=heavy)


def test_one_run_takes_medians_or_a_draw(experiment):
    medians = single(experiment, profile=PROFILE).scenario.parameters
    assert {key: medians[key] for key in KEYS} == PROFILE.medians()
    third = single(experiment, profile=PROFILE, draw=3).scenario.parameters
    assert tuple(third[key] for key in KEYS) == tuple(PROFILE.draws[2])
    with pytest.raises(InputError, match="only with `profile`"):
        single(experiment, draw=3)
    with pytest.raises(InputError, match="from 1 to 40"):
        single(experiment, profile=PROFILE, draw=41)


def test_the_manifest_alone_gives_the_plan_back(experiment):
    for profile in (None, PROFILE):
        plan = expand(experiment, profile=profile)
        stored = json.loads(json.dumps(manifest.build(plan, [], "")))
        again = manifest.plan_from(stored, "x")
        assert again == plan
        assert [run.key for run in again.runs()] == [run.key for run in plan.runs()]
    assert Origin.of(stored).profile == "shed"
    stored["profile"]["draws"][1] = [1.0]
    with pytest.raises(InputError, match="damaged"):
        manifest.plan_from(stored, "x")


# ---- The commands


@pytest.fixture(scope="module")
def answered(tmp_path_factory):
    """A comparison with a profile, of which the first key alone moves the (fake) difference."""
    place = tmp_path_factory.mktemp("answered")
    (place / "demo.toml").write_text(EXPERIMENT)
    write_profile(place / "shed.toml", PROFILE)
    words = ("compare", "demo.toml", "--profile", "shed.toml", "--replicates", 16)
    code, out, err = cli(*words, cwd=place, faults="eggs=eaten")
    assert (code, err) == (0, [line for line in err if "demo-shed" in line])
    return place, out


def test_compare_answers_for_this_colony(answered):
    place, out = answered
    folder = place / "results/demo-shed"
    verdict = (folder / "verdict.txt").read_text()
    assert "In this model with profile “shed” and under its other assumptions:" in verdict
    for text in verdict.strip().split("\n\n"):
        assert text == "Which interval gives more?" or "".join(text.split()) in "".join(out.split())
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
    table = pd.read_parquet(folder / "narrowing.parquet")
    assert set(table["key"]) == set(KEYS) and table["key"][0] == EGG
    first = table.iloc[0]
    assert first["share"] > 0.7 and first["shown"] and not table["shown"][1:].any()
    verdict = (folder / "verdict.txt").read_text()
    assert f"settle most: knowing {EGG} would remove about" in verdict
    assert f"To measure {EGG}: put a counted number of eggs" in verdict
    assert f"from {number(first['range_now'])} to {number(first['range_after'])} g/day" in verdict


def test_the_default_in_the_folder_of_a_profile_is_refused(answered, monkeypatch, capsys):
    place, _ = answered
    before = tree(place)
    stored = json.loads((place / "results/demo-shed/manifest.json").read_text())
    assert stored["profile"] == PROFILE.as_dict()
    assert stored["experiment"]["name"] == "demo-shed"
    code, err = here(place, monkeypatch, capsys, "compare", "demo.toml", "--out",
                     "results/demo-shed")  # fmt: skip
    assert code == 2 and "demo-shed" in err
    assert tree(place) == before


def test_repeat_needs_the_manifest_alone(answered, tmp_path):
    place, _ = answered
    (place / "shed.toml").unlink()
    code, out, err = cli("repeat", "results/demo-shed", cwd=place, faults="eggs=eaten")
    assert code == 0, (out, err)
    write_profile(place / "shed.toml", PROFILE)
    again = tmp_path / "again"
    shutil.copytree(place / "results/demo-shed", again)
    table = pd.read_parquet(again / "narrowing.parquet")
    table.loc[0, "share"] += 1e-12
    table.to_parquet(again / "narrowing.parquet")
    difference = first_difference(place / "results/demo-shed", again)
    assert difference.startswith("narrowing.parquet: row 1")


def test_few_runs_say_how_many_are_needed():
    d = -PROFILE.draws[:8, 0] / 0.008
    row = {"measure": "yield_g_per_day", "pairs": 8, "default_pairs": 8, "profile_pairs": 8,
           "default_difference": 0.1, "default_low": -0.2, "default_high": 0.4, "default_sd": 0.1,
           "profile_difference": d.mean(), "profile_low": d.mean() - 1, "profile_high": -0.01,
           "change": 0.5, "change_low": -0.1, "change_high": 1.1}  # fmt: skip
    found = ThisColony(("long", "short"), pd.DataFrame([row]),
                       narrowing(KEYS, PROFILE.draws[:8], d), 0, d.min(), d.max())  # fmt: skip
    text = " ".join(this_colony_in_words(found, PROFILE))
    needed = runs_needed(3)
    assert "cannot be told: 8 pairs of runs are too few to show it" in text
    assert f"--replicates {needed} or more" in text and "the profile has 40 draws" in text
    assert "the verdict changes, from neither ahead to “short” ahead" in text
    assert f"went from {number(d.min(), ROUND_FLOOR)} to".replace("-", "−") in text
    assert "which the runs do not separate from no change" in text
    none = replace(found, against=pd.DataFrame([row | {"default_pairs": 0}]))
    assert (
        "cannot be told: of the seeds, 0 with the default" in this_colony_in_words(none, PROFILE)[0]
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
    middle = PROFILE.medians()[EGG]
    assert found.sampled[EGG].tolist() == [low, high, middle, middle]
    results = found.sampled[[c for c in found.sampled if c.startswith("result_")]]
    assert results.iloc[0].to_numpy() == pytest.approx(7 * low)
    assert found.central[0] == pytest.approx(7 * middle)
    drawn = {task.scenario.seed: task.scenario.parameters[LAID] for task in inline.ran}
    assert list(drawn.values()) == PROFILE.draws[:3, 1].tolist()
    row = found.table.set_index("key").loc[EGG]
    assert (row["low_value"], row["high_value"], row["basis"]) == (low, high, "fitted")
    said = " ".join(circumstances(plan, [EGG], ranges=True))
    assert f"{EGG} goes through the interval that holds 90 % of the draws" in said
    assert f"{LAID} and {LIFE} are drawn" in said


def test_assumptions_start_from_the_medians(experiment, tmp_path, monkeypatch):
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
    assert {task.scenario.parameters[LIFE] for task in inline.ran} == {PROFILE.medians()[LIFE]}
    rows = found.table[found.table["key"] == EGG].set_index("end")
    assert (rows["rank"] == 1).all() and (rows["basis"] == "fitted").all()
    assert (rows["default"] == PROFILE.medians()[EGG]).all()
    ends = [rows.loc[end, "value"] for end in ("low", "high")]
    assert ends == list(PROFILE.interval(EGG, 0.9))
    assert found.central[0] == pytest.approx(7 * PROFILE.medians()[EGG])
    assert "; fitted): at" in found.text and "Source: profile shed" in found.text
    assert "start from its medians here and go to the ends of the interval" in found.text


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
    assert f"{LAID} and {LIFE} are drawn from its 40 draws" in drawn
    assert f"{EGG} is varied as asked, not drawn" in varied
    assert circumstances(expand(experiment)) == []


def test_one_run_with_a_profile_keeps_it_in_its_manifest(answered):
    place, _ = answered
    words = ("run", "demo.toml", "--profile", "shed.toml", "--days", 30, "--draw", 3)
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
    assert out == "" and err.count("\n") == 1
    return end.value.code, err


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["compare", "--profile", "nowhere.toml"], "nowhere.toml: file = 'No such file"),
        (["sweep", "--profile", "demo.toml", "--vary", "harvest.fraction=0.5"], "[profile] = None"),
        (["run", "--draw", "2"], "--draw = 2; allowed: only with --profile"),
        (["search", "--profile", "demo.toml", "--keys", "harvest.fraction"], "[profile] = None"),
        (["breakeven", "--profile", "demo.toml", "--x", "harvest.fraction=0.5,0.6", "--y",
          "predation.adult_egg=0.01,0.02"], "[profile] = None"),
        (["sensitivity", "--profile", "demo.toml"], "[profile] = None"),
    ],
)  # fmt: skip
def test_bad_use_is_one_line_and_writes_nothing(tmp_path, monkeypatch, capsys, words, expected):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    code, err = here(tmp_path, monkeypatch, capsys, words[0], "demo.toml", *words[1:])
    assert code == 2 and expected in err
    assert tree(tmp_path).keys() == {"demo.toml"}
