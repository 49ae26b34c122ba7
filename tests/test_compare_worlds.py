"""Comparisons over worlds: stages, which run lives in which world, what is said of it."""

from __future__ import annotations

import os
import signal
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from answers import of_folder
from commandline import EXPERIMENT, cli, start, stored_runs
from made_up_worlds import PROFILE

from colony_sim.commands import compare as commands
from colony_sim.commands.ending import Ending
from colony_sim.errors import InputError
from colony_sim.experiment.asks import Asks, asks_of, in_order
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.experiment.worlds import write_worlds
from colony_sim.measuring.catalogue import catalogue
from colony_sim.statistics.over_worlds import verdict_over_worlds
from colony_sim.studies.comparison.over_words import (
    answer,
    disagreement,
    in_words,
    means_left_over,
)
from colony_sim.studies.comparison.over_worlds import CURRENCIES, FIRST, OverWorlds, over_worlds
from colony_sim.studies.comparison.stages import (
    LIVED_TWICE,
    MOST_TIMES,
    STAGE,
    WorldsRule,
    expected_runs,
    make_rule,
    next_stage,
)
from colony_sim.studies.search import equal_means

WORLDS, TIMES = 6, 3
PAIR = ("A", "B")


def made_up_runs(gain: np.ndarray, chance: float = 0.0) -> pd.DataFrame:
    """Runs of A and B in worlds of known gain (g/day), `TIMES` in each.

    A takes twice the hours and as many bins.
    """
    rng = np.random.default_rng(1)
    rows = []
    for replicate in range(1, WORLDS * TIMES + 1):
        noise = chance * rng.standard_normal()
        for policy, more in (("A", gain[(replicate - 1) % WORLDS] + noise), ("B", 0.0)):
            values = dict.fromkeys(catalogue(), 1.0)
            values |= {
                "world": 1 + (replicate - 1) % WORLDS,
                "status": "settled",
                "yield_g_per_day": 10.0 + more,
                "work_hours_per_week": 2.0 if policy == "A" else 1.0,
                "bins_in_use": 5.0,
                "yield_g_per_kg_bran": 200.0,
                "adult_losses_per_100_per_day": 1.0 if policy == "A" else 3.0,
            }
            rows.append({"policy": policy, "replicate": replicate, "seed": replicate, **values})
    return pd.DataFrame(rows)


def test_worlds_are_told_from_chance_and_currencies_from_each_other():
    gain = np.array([-1.0, 0.5, 1.0, 1.5, 2.0, 2.5])
    found = over_worlds(made_up_runs(gain), ("B", "A"), PAIR)
    grams = found.first
    assert (grams.worlds, grams.runs) == (WORLDS, WORLDS * TIMES)
    assert grams.gain == pytest.approx(gain.mean())
    assert grams.sd_chance == pytest.approx(0.0, abs=1e-9)
    assert grams.sd_worlds == pytest.approx(gain.std(ddof=1))
    assert grams.probability_a == pytest.approx(5 / 6, abs=0.02)
    assert grams.regret_a == pytest.approx(1 / 6, abs=0.02)
    rows = found.table.set_index("currency")
    assert list(rows.index) == list(CURRENCIES)
    # Half the hours for nearly the same: B is ahead by the hour; A loses fewer beetles.
    per_hour = (10.0 + gain) * 7 / 2 - 70.0
    assert rows.loc["g per hour of work", "expected_gain"] == pytest.approx(per_hour.mean())
    assert rows.loc["beetles spared per 100 a day", "expected_gain"] == pytest.approx(2.0)
    assert rows.loc["g per kg of bran", "expected_gain"] == 0.0
    assert found.gains.loc[found.gains["currency"] == FIRST, "gain"].to_list() == pytest.approx(
        gain
    )
    assert found.standings.set_index("policy")["best_share"].to_dict() == pytest.approx(
        {"A": 5 / 6, "B": 1 / 6}
    )
    assert found.standings.set_index("policy")["regret"]["A"] == pytest.approx(1 / 6)
    assert "“A” if it is larvae" in disagreement(found) and "“B” if it is time" in disagreement(
        found
    )
    assert "Of single pairs of runs “A” won 83 of 100" in " ".join(in_words(found, "published"))


def test_swapping_the_policies_mirrors_the_verdict():
    runs = made_up_runs(np.array([-1.0, 0.5, 1.0, 1.5, 2.0, 2.5]), chance=0.5)
    one, other = (
        over_worlds(runs, policies, pair).first
        for policies, pair in ((("B", "A"), PAIR), (("A", "B"), PAIR[::-1]))
    )
    assert one.probability_a == pytest.approx(other.probability_b)
    assert (one.low, one.high) == pytest.approx((-other.high, -other.low))
    assert one.regret_a == pytest.approx(other.regret_b)


def test_a_colony_that_died_out_yields_nothing_of_anything():
    runs = made_up_runs(np.zeros(WORLDS))
    dead = (runs["policy"] == "A") & (runs["replicate"] == 2)
    runs.loc[dead, ["yield_g_per_day", "work_hours_per_week", "bins_in_use"]] = 0.0
    runs.loc[dead, ["yield_g_per_kg_bran", "adult_losses_per_100_per_day"]] = np.nan
    verdicts = over_worlds(runs, ("B", "A"), PAIR).verdicts[PAIR]
    count = WORLDS * TIMES
    assert verdicts["g/day per bin in use"].runs == count
    assert verdicts["g/day per bin in use"].gain == pytest.approx(-2.0 / count)
    # Without a beetle there is no rate of loss: that pair is left out.
    assert verdicts["beetles spared per 100 a day"].runs == count - 1


def said(gain: np.ndarray, zone: float = 0.5) -> str:
    """The answer on A and B for these gains of worlds."""
    runs = made_up_runs(np.resize(gain, WORLDS))
    return answer(over_worlds(runs, ("B", "A"), PAIR, zone))


@pytest.mark.parametrize(
    ("gain", "start"),
    [
        ([2.0], "“A” gives more larvae than “B”: in 100 of 100"),
        ([-2.0], "“B” gives more larvae than “A”: in 100 of 100"),
        ([2.0, 2.0, 2.0, 2.0, 2.0, -2.0], "Probably “A” gives more"),
        ([2.0, -2.0], "Nobody knows yet which gives more larvae"),
        ([0.1, -0.1, 0.2], "It hardly matters: in 100 of 100"),
        ([2.0, 0.1, 0.2], "“A” gives as many larvae as “B” or more"),
    ],
)
def test_the_answer_is_no_stronger_than_the_probability(gain, start):
    assert said(np.array(gain)).startswith(start)


def test_a_policy_that_runs_the_colony_down_is_said_first():
    runs = made_up_runs(np.full(WORLDS, 2.0))
    runs.loc[(runs["policy"] == "B") & (runs["world"] <= 3), "status"] = "died_out"
    text = answer(over_worlds(runs, ("B", "A"), PAIR))
    assert text.startswith("“B” runs the colony down in 9 of 18 runs. “A” gives more")


def with_work(gain: np.ndarray, hours: tuple[float, float]) -> OverWorlds:
    """A and B with these hours a week, and ten larvae to the gram."""
    runs = made_up_runs(np.resize(gain, WORLDS))
    runs["yield_larvae_per_day"] = 10.0 * runs["yield_g_per_day"]
    runs["work_hours_per_week"] = runs["policy"].map(dict(zip(PAIR, hours, strict=True)))
    return over_worlds(runs, ("B", "A"), PAIR, 0.5)


@pytest.mark.parametrize(
    ("gain", "hours", "start"),
    [
        ([0.1], (2.5, 1.7), "“A” is not worth the work: it takes 2.50 hours of work a week against "
         "1.70 for “B”, and gives 0.1 g (1 larvae) a day more on average"),
        ([-2.0], (2.5, 1.7), "“A” is not worth the work"),
        ([2.0], (2.5, 1.7), "“A” gives more for more work: 2 g (20 larvae) a day more on average"),
        # The policy that takes more work is the one that is asked about.
        ([-2.0], (1.7, 2.5), "“B” gives more for more work: 2 g (20 larvae) a day more on average"),
        ([2.0, -2.0], (2.5, 1.7), "Nobody knows yet whether “A” is worth the work"),
        ([2.0], (2.0, 2.1), "“A” gives more larvae than “B”: in 100 of 100"),
    ],
)  # fmt: skip
def test_an_experiment_that_asks_about_the_work_is_told_the_hours(gain, hours, start):
    text = answer(with_work(np.array(gain), hours), Asks.WORTH)
    assert text.startswith(start)
    assert ("hours of work a week" in text) == (hours != (2.0, 2.1))


def test_each_hour_more_is_set_against_an_hour_of_the_other():
    text = answer(with_work(np.array([2.0]), (2.5, 1.5)), Asks.WORTH)
    # 2 g a day are 14 a week, for one hour more; 10 g a day are 70 a week for 1.5 hours.
    assert "each hour more brings 14 g, an hour of “B” 47 g" in text


def test_hours_are_told_unasked_where_they_differ():
    assert "“B” takes 1.70 hours of work a week, “A” 2.50." in answer(
        with_work(np.array([2.0]), (2.5, 1.7))
    )
    assert "hours" not in answer(with_work(np.array([2.0]), (2.5, 1.7)), Asks.YIELD)


@pytest.mark.parametrize(
    ("died", "start"),
    [
        ({}, "As much as was tried may be taken: even with “most” the colony lives on (0 of 10"),
        ({"most": 8}, "“most” runs the colony down in 8 of 10 runs; up to “more” the colony lives"),
        ({"more": 1, "most": 8}, "“more” runs the colony down in 1 of 10 runs, “most” in 8 of 10; "
         "up to “some” the colony lives on (0 of 10 runs died out, so at most 26 of 100)."),
        ({"some": 9, "more": 9, "most": 9}, "Each of them is too much: “some” runs the colony "
         "down in 9 of 10"),
    ],
)  # fmt: skip
def test_how_much_may_be_taken_is_told_by_what_the_colony_bears(died, start):
    names = ("some", "more", "most")
    rows = [
        {"policy": name, "replicate": world, "world": world, "yield_g_per_day": 9.0 + world + n,
         "status": "died_out" if world <= died.get(name, 0) else "settled"}
        for world in range(1, 11) for n, name in enumerate(names)
    ]  # fmt: skip
    found = over_worlds(
        pd.DataFrame(rows).assign(**dict.fromkeys(
            ("bins_in_use", "yield_g_per_kg_bran", "adult_losses_per_100_per_day",
             "work_hours_per_week"), 1.0)),
        ("more", "some", "most"), ("most", "more"), 0.5,
    )  # fmt: skip
    text = answer(found, Asks.SHARE, names)
    assert text.startswith(start) and "“most” gives most larvae, 16 g a day" in text


def test_ways_are_shown_in_the_order_of_what_varies(tmp_path):
    head = EXPERIMENT.split("[[policy]]")[0]
    shares = (0.8, 0.99, 0.5)
    ways = "".join(f'[[policy]]\nname = "{s}"\nharvest.fraction = {s}\n' for s in shares)
    (tmp_path / "demo.toml").write_text(head + ways)
    policies = load(tmp_path / "demo.toml").policies
    assert [one.name for one in policies] == ["0.8", "0.99", "0.5"]
    assert in_order(policies) == ["0.5", "0.8", "0.99"]
    assert asks_of("", policies) is Asks.SHARE and asks_of("yield", policies) is Asks.YIELD
    # Where more than one thing varies they stay as in the file.
    (tmp_path / "demo.toml").write_text(f"{head}{ways}pupae.isolate = false\n")
    policies = load(tmp_path / "demo.toml").policies
    assert in_order(policies) == ["0.8", "0.99", "0.5"] and asks_of("", policies) is None


def test_idle_bins_and_a_full_breeding_bin_are_named(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    policies = expand(load(tmp_path / "demo.toml")).policies
    runs = made_up_runs(np.zeros(WORLDS)).replace({"policy": {"A": "short", "B": "long"}})
    bins = float(policies[0].parameters["rack.bins"])
    runs["adult_surplus_removed_per_100_per_day"] = 0.0
    runs["bins_in_use"] = bins
    assert means_left_over(policies, runs) == []
    runs.loc[runs["policy"] == "long", "bins_in_use"] = bins - 4
    runs.loc[runs["policy"] == "short", "adult_surplus_removed_per_100_per_day"] = 5.0
    (text,) = means_left_over(policies, runs)
    assert f"“long” leaves 4 of {bins:g} bins idle" in text and "Under “short” the breeding" in text
    assert "--equal-means" in text
    # Who has been set at the best already is not told to.
    assert "--equal-means" not in means_left_over(policies, runs, equal=True)[0]


# ---- Stages


def lived(rule: WorldsRule, gains: np.ndarray, chance: float, seed: int = 1) -> list[list[int]]:
    """Stages of the rule in worlds of these gains."""
    rng = np.random.default_rng(seed)
    stages: list[list[int]] = []
    runs: dict[int, list[float]] = {}
    while True:
        counts = [len(runs[world]) for world in sorted(runs)]
        found = []
        if runs:
            found = [verdict_over_worlds([runs[w] for w in sorted(runs)], rule.zone)]
        coming = next_stage(rule, counts, found)
        if not coming:
            return stages
        assert expected_runs(rule, counts, found) >= sum(counts)
        stages.append(coming)
        for world in coming:
            noise = chance * rng.standard_normal()
            runs.setdefault(world, []).append(float(gains[world - 1] + noise))


def test_stages_have_fixed_sizes_and_stop_at_the_error_asked_for():
    gains = np.random.default_rng(2).normal(0.0, 3.0, 1024)
    stages = lived(WorldsRule(1024, 0.05, None, 0.0), gains, 0.5)
    assert stages[:2] == [[1, 2], [3, 4]]
    assert sorted(set(stages[2]) - {1, 2, 3, 4}) == list(range(5, STAGE + 1))
    for number, stage in enumerate(stages[2:], start=1):
        assert max(stage) == STAGE * number
    # A probability of one half to 0.05 takes 100 worlds.
    assert 96 <= STAGE * (len(stages) - 2) <= 128
    # Of several runs a world the first stage is one, so that runs keep their seeds.
    assert lived(WorldsRule(16, None, 2, 0.0), gains, 0.5)[0] == [1, 2, 3, 4] * 2
    twice = [world for stage in stages for world in stage]
    assert {world for world in twice if twice.count(world) > 1} == {
        *range(1, LIVED_TWICE + 1), *range(LIVED_TWICE, max(twice) + 1, LIVED_TWICE)
    }  # fmt: skip


def test_where_chance_is_large_every_world_is_lived_more_often():
    gains = np.random.default_rng(2).normal(0.5, 1.0, 1024)
    stages = lived(WorldsRule(1024, 0.1, None, 0.0), gains, 1.5)
    worlds = [world for stage in stages for world in stage]
    counts = np.bincount(worlds)[1:]
    assert counts.min() >= 2 and counts.max() <= MOST_TIMES
    # Where chance is small, most are lived once.
    few = np.bincount([w for s in lived(WorldsRule(1024, 0.1, None, 0.0), gains, 0.1) for w in s])
    assert np.median(few[1:]) == 1


def test_a_fixed_number_of_worlds_is_lived_whole():
    gains = np.random.default_rng(2).normal(0.0, 3.0, 40)
    worlds = [w for stage in lived(WorldsRule(40, None, 2, 0.5), gains, 0.5) for w in stage]
    assert np.bincount(worlds)[1:].tolist() == [2] * 40


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ({"error": 0.01}, "error = 0.01; allowed: from 0.016, which 1024 worlds allow"),
        ({"error": 0.5}, "error"),
        ({"error": 0.04, "worlds": 100}, "which 100 worlds allow"),
        ({"worlds": 1}, "worlds = 1; allowed: 2 to 1024"),
        ({"zone": -1.0}, "zone"),
        ({"times": 9}, "replicates"),
    ],
)
def test_what_the_worlds_do_not_allow_is_refused(options, named):
    with pytest.raises(InputError) as refused:
        make_rule(1024, **options)
    assert named in refused.value.line


def test_one_world_takes_no_rule():
    assert make_rule(None, times=4) is None
    with pytest.raises(InputError, match="not together with `one_world`"):
        make_rule(None, error=0.1)


# ---- The command


@pytest.fixture
def place(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    write_worlds(tmp_path / "shed.csv", PROFILE)
    return tmp_path


WORDS = ("compare", "demo.toml", "--profile", "shed.csv")


def files(folder) -> dict[str, bytes]:
    """Tables, texts and answer, without what tells when and by which command."""
    kept = (".csv", ".parquet", ".txt", "answer.json")
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name.endswith(kept)}


def test_compare_lives_every_world_as_often_as_asked(place):
    words = (*WORDS, "--worlds", 5, "--replicates", 2)
    code, out, _ = cli(*words, cwd=place, faults="eggs=eaten")
    assert code == 0
    folder = place / "results/demo-shed"
    runs = pd.read_parquet(folder / "runs.parquet")
    assert sorted(runs["replicate"].unique()) == list(range(1, 11))
    assert runs.groupby(["policy", "world"]).size().to_list() == [2] * 10
    table = pd.read_parquet(folder / "over_worlds.parquet")
    assert list(table["currency"]) == list(CURRENCIES) and not table["of_single_pairs"].any()
    # The fake model: the difference of a pair hangs on the eggs eaten in its world.
    gains = pd.read_parquet(folder / "gains.parquet").query("currency == @FIRST")
    assert abs(np.corrcoef(gains["gain"], PROFILE.draws[:5, 0])[0, 1]) > 0.9
    # One run a world in the tables of means.
    policies = pd.read_parquet(folder / "policies.parquet")
    assert set(policies["n_runs"]) == {5}
    assert "5 colonies that profile “shed” allows" in " ".join(out.split())
    document = of_folder(folder, "comparison")
    assert (document["worlds"]["name"], document["worlds"]["lived"]) == ("shed", 5)
    assert [row["probability_a"] for row in document["over_worlds"]] == pytest.approx(
        table["probability_a"].to_list()
    )


def test_any_number_of_workers_and_an_extension_give_the_same_bytes(place):
    found = []
    for count in (1, 3):
        out = place / f"out{count}"
        words = (*WORDS, "--worlds", 6, "--workers", count, "--out", out)
        code, said, err = cli(*words, cwd=place, faults="eggs=eaten")
        assert code == 0 and any(line.startswith("First answer") for line in err)
        found.append((said.replace(str(out), ""), files(out)))
    assert found[0] == found[1]
    assert len(found[0][0].splitlines()) <= 25
    # More worlds go on from these runs.
    out, log = place / "out1", place / "log"
    before = stored_runs(out)
    words = (*WORDS, "--worlds", 8, "--workers", 2, "--out", out)
    assert cli(*words, cwd=place, faults="eggs=eaten", log=log)[0] == 0
    after = stored_runs(out)
    assert before.items() < after.items()
    assert len(log.read_text().splitlines()) == len(after) - len(before)


def test_ctrl_c_reports_the_last_whole_stage(place):
    words = (*WORDS, "--worlds", 40, "--workers", 2)
    process = start(*words, cwd=place, faults="eggs=eaten,slow=0.001")
    lines = []
    for line in process.stderr:
        lines.append(line)
        if line.startswith("First answer"):
            break
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 3, err
    table = pd.read_parquet(place / "results/demo-shed/runs.parquet")
    lived = table["world"].max()
    assert lived in (2, 4)  # The second stage may end before the signal is there.
    assert f"{lived} colonies that profile “shed” allows" in " ".join(out.split())
    assert "Stopped early" in err and "goes on" in err


def test_policies_at_equal_means_are_judged_where_they_were_not_chosen(place, monkeypatch):
    """The search is tested on its own; here, that its handling is compared, in other worlds."""
    asked = {}

    def searched(plan, folder, **options):
        handling = {"rotation.surplus": "split"}
        policies = tuple(
            replace(one, parameters=one.parameters.with_values(handling, where="test"))
            for one in plan.policies
        )
        changes = pd.DataFrame({
            "policy": ["short", "long"], "key": ["rotation.surplus"] * 2,
            "as_in_file": ["remove"] * 2, "best": ["split"] * 2, "changed": [True] * 2,
        })  # fmt: skip
        return SimpleNamespace(plan=replace(plan, policies=policies), changes=changes)

    def compared(plan, folder, *, rule, handling, **options):
        asked.update(plan=plan, folder=folder, rule=rule, handling=handling)
        raise KeyboardInterrupt

    monkeypatch.chdir(place)
    monkeypatch.setattr(equal_means, "at_equal_means", searched)
    monkeypatch.setattr(commands, "compare_plan", compared)
    with pytest.raises(Ending):
        commands.run_compare(
            place / "demo.toml", quick=False, workers=1, out=None, fresh=False, replicates=None,
            seed=None, equal_means=True,
        )  # fmt: skip
    assert asked["plan"].name == "demo-equal-means" == asked["folder"].name
    assert {one.parameters["rotation.surplus"] for one in asked["plan"].policies} == {"split"}
    assert asked["rule"].worlds == 1024 - 18 and len(asked["handling"]) == 2


@pytest.mark.parametrize("count", [0, 41])
def test_more_worlds_than_there_are_are_refused(count, place):
    code, out, err = cli(*WORDS, "--worlds", count, cwd=place)
    assert (code, out, len(err)) == (2, "", 1)
    assert "--worlds" in err[0] and "2 to 40" in err[0]
    assert not (place / "results").exists()


@pytest.mark.parametrize(
    "words",
    [
        ("--zone", 1, "--one-world"),
        ("--profile", "shed.csv", "--one-world"),
        ("--worlds", 9, "--until", "yield_g_per_day=1"),
        ("--worlds", 9, "--assumptions"),
    ],
)
def test_options_of_one_world_and_of_many_do_not_mix(words, place):
    code, out, err = cli("compare", "demo.toml", *words, cwd=place)
    assert (code, out, len(err)) == (2, "", 1) and "one-world" in err[0]
    assert not (place / "results").exists()
