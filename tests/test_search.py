"""Search under limits: the front, fresh seeds, the test of persistence, going on after a stop."""

from __future__ import annotations

import json
import sqlite3
import subprocess
from contextlib import closing

import numpy as np
import pandas as pd
import pytest
from answers import of_folder
from commandline import EXPERIMENT, PROGRAM, cli, environment, tree
from scipy import stats

from colony_sim.commands.early import LINE
from colony_sim.commands.search import _specs
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.studies.origin import Origin
from colony_sim.studies.points import Window
from colony_sim.studies.search import draw as drawing
from colony_sim.studies.search.limits import Limits, came_to, expected_breeders, faded
from colony_sim.studies.search.proposing import NAME
from colony_sim.studies.search.run import OBJECTIVES, Search, needed, pareto, persistence
from colony_sim.studies.search.say import headline, in_words

SMALL = EXPERIMENT.replace("breeders = 300", "breeders = 20").replace("days = 700", "days = 40")
WORDS = ("search", "demo.toml", "--keys", "rotation.interval_days=7:21,harvest.fraction", "--bins",
         6, "--minutes-per-week", 500, "--breeders", 20, "--replicates", 1, "--fresh-seeds", 3,
         "--warm-up", 10, "--used", 30, "--persist", 0.95)  # fmt: skip


def rows(*values) -> pd.DataFrame:
    return pd.DataFrame(values, columns=list(OBJECTIVES))


def test_the_front_is_what_no_other_betters():
    table = rows((10, 100, 2), (9, 100, 1), (9, 100, 2), (10, 100, 2), (12, 300, 3), (1, 10, 1))
    assert pareto(table) == [0, 1, 4, 5]
    rng = np.random.default_rng(1)
    many = pd.DataFrame(rng.random((60, 3)), columns=list(OBJECTIVES))
    front = many.loc[pareto(many)]
    worth = many.to_numpy() * [1, -1, -1]
    for label, row in many.iterrows():
        beaten = (worth >= row.to_numpy() * [1, -1, -1]).all(axis=1).sum() > 1
        assert beaten != (label in front.index)


def test_runs_that_show_persistence():
    assert needed(0.95) == 59 and needed(0.5) == 5
    low, word = persistence(59, 59, 0.95)
    assert word == "shown" and low == pytest.approx(0.05 ** (1 / 59))
    assert persistence(58, 58, 0.95)[1] == "open"
    assert persistence(58, 59, 0.95)[1] == "open"
    assert persistence(50, 59, 0.95)[1] == "not met"
    assert persistence(0, 5, 0.95) == (0.0, "not met")
    low, _ = persistence(50, 60, 0.95)
    # The limit is where 50 or more of 60 become a one in twenty event.
    assert stats.binom.sf(49, 60, low) == pytest.approx(0.05)


def runs_of(**columns) -> pd.DataFrame:
    """Runs of a candidate, healthy but for what is given."""
    count = len(next(iter(columns.values())))
    table = {
        "died_out_day": pd.array([None] * count, dtype="Int64"), "yield_g_per_day": [4.0] * count,
        "adult_losses_per_100_per_day": [1.0] * count, "work_hours_per_week": [2.0] * count,
        "eggs_laid_per_day": [50.0] * count, "breeders_alive": [90.0] * count,
        "yield_g_per_kg_bran": [100.0] * count, "bins_in_use": [8.0] * count,
    }  # fmt: skip
    return pd.DataFrame(table | columns)


def test_a_colony_fades_if_it_dies_lays_no_more_or_is_short_of_breeders():
    runs = runs_of(
        died_out_day=pd.array([None, None, 20, None], dtype="Int64"),
        yield_g_per_day=[3.0, 6.0, 0.0, 3.0], eggs_laid_per_day=[5.0, 0.0, 0.0, 5.0],
        adult_losses_per_100_per_day=[1.0, 2.0, np.nan, 1.5],
        breeders_alive=[50.0, 80.0, 0.0, 49.9], work_hours_per_week=[1.0, 2.0, 0.0, 1.0],
    )  # fmt: skip
    assert faded(runs, 100).tolist() == [False, True, True, True]
    came = came_to(runs, 100, Limits(persist=0.5))
    assert came.persisted == 1 and not came.feasible and came.short == {"persist": 0.25}
    assert came.means == {
        "yield_g_per_day": 3.0, "adult_losses": 1.5, "minutes_per_week": 60.0, "fading": 0.75,
    }  # fmt: skip


def test_beetles_that_a_colony_is_measured_by(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    plan = expand(load(tmp_path / "demo.toml"))  # 300 founders, at most 300 a bin.
    assert expected_breeders(plan, {}) == 300
    assert expected_breeders(plan, {"start.breeders": 40}) == 40
    assert expected_breeders(plan, {"rotation.most_breeders_per_bin": 50}) == 50


def test_limits_are_shares_of_runs():
    runs = runs_of(
        work_hours_per_week=[1.0, 1.0, 3.0, 3.0],  # 60 and 180 minutes.
        yield_g_per_day=[5.0, 0.0, 5.0, 1.0],
        yield_g_per_kg_bran=[10.0, np.nan, 5.0, 10.0],  # 3.5, none, 7 and 0.7 kg a week.
    )
    limits = Limits(minutes_per_week=100, bran_kg_per_week=4, grams_per_day=2, sure=0.6)
    came = came_to(runs, 100, limits)
    assert came.kept == {"minutes": 0.5, "bran": 0.75, "grams": 0.5} and came.all_kept == 0.25
    assert came.short == pytest.approx(
        {"minutes": 0.1, "bran": -0.15, "grams": 0.1, "persist": -0.2}
    )
    assert came_to(runs, 100, Limits(minutes_per_week=100, sure=0.5)).feasible


def test_commas_inside_a_list_of_values():
    assert _specs("a.b,c.d=1,2.5,3,e.f=1:2") == ["a.b", "c.d=1,2.5,3", "e.f=1:2"]
    assert _specs("a.b=x,y,c.d") == ["a.b=x,y", "c.d"]


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    place = tmp_path_factory.mktemp("search")
    (place / "demo.toml").write_text(SMALL)
    code, out, err = cli(*WORDS, "--candidates", 5, cwd=place, faults=None)
    assert code == 0 and all("search" in line for line in err), err
    return place, out


def test_the_command_on_the_model_itself(done):
    place, out = done
    folder = place / "results/demo-search"
    candidates, front = (
        pd.read_parquet(folder / f"{name}.parquet") for name in ("candidates", "front")
    )
    assert len(candidates) == 5 and (front["runs"] == 3).all()
    assert candidates["rotation.interval_days"].between(7, 21).all()
    # The first trial is the baseline of the file.
    assert candidates.loc[0, ["rotation.interval_days", "harvest.fraction"]].tolist() == [14, 0.8]
    assert front["candidate"].iloc[-1] == "as in the file"
    facts = json.loads((folder / "manifest.json").read_text())
    assert facts["study"]["limits"] == {
        "bins": 6, "minutes_per_week": 500.0, "breeders": 20, "persist": 0.95, "sure": 0.8,
        "bran_kg_per_week": None, "grams_per_day": None,
    }  # fmt: skip
    assert "pareto.png" in facts["files"]
    assert of_folder(folder, "search")["settings"]["limits"] == facts["study"]["limits"]
    assert "59 runs without a loss or more; 3 cannot" in " ".join(out.split())


def test_a_candidate_that_was_changed_is_found_and_proposed_again(tmp_path):
    (tmp_path / "demo.toml").write_text(SMALL)
    place, again = tmp_path, (*WORDS, "--candidates", 5)
    assert cli(*again, cwd=place, faults=None)[0] == 0
    folder = place / "results/demo-search"
    assert cli("check", folder, cwd=place)[0] == 0
    whole = {name: text for name, text in tree(folder).items() if name.endswith(".csv")}
    change = (
        lambda kept: kept.execute("UPDATE trial_values SET value = value * 3"),
        lambda kept: kept.execute("UPDATE trial_user_attributes SET value_json = '{'"),
        lambda kept: kept.execute("DROP TABLE trial_values"),
    )
    for one in (*change, None):
        if one is None:
            (folder / NAME).write_bytes(b"no database")
        else:
            with closing(sqlite3.connect(folder / NAME)) as kept, kept:
                one(kept)
        code, _, err = cli("check", folder, cwd=place)
        assert code == 1 and NAME in err[-1], err
        code, _, err = cli(*again, cwd=place, faults=None)
        assert code == 0 and any("proposed again" in line for line in err), err
        now = {name: text for name, text in tree(folder).items() if name.endswith(".csv")}
        assert now == whole and cli("check", folder, cwd=place)[0] == 0


def test_it_goes_on_where_it_stopped(done):
    place, _ = done
    folder = place / "results/demo-search"
    before = pd.read_parquet(folder / "candidates.parquet")
    tables = {name: text for name, text in tree(folder).items() if name.endswith(".csv")}
    assert cli(*WORDS, "--candidates", 5, cwd=place, faults=None)[0] == 0
    same = {name: text for name, text in tree(folder).items() if name.endswith(".csv")}
    assert same == tables
    assert cli(*WORDS, "--candidates", 7, cwd=place, faults=None)[0] == 0
    after = pd.read_parquet(folder / "candidates.parquet")
    assert len(after) == 7
    pd.testing.assert_frame_equal(after.head(5), before)
    assert len(after.drop_duplicates(["rotation.interval_days", "harvest.fraction"])) == 7


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--keys", "predation.adult_egg"), "a handling key"),
        (("--keys", "rack.bins", "--bins", 6), "keys other than rack.bins"),
        (("--keys", "harvest.fraction", "--persist", 1.5), "above 0 and at most 0.999"),
        (("--keys", "harvest.fraction", "--minutes-per-week", 0), "above 0"),
        (("--keys", "harvest.fraction", "--bins", 1), "--bins: rack.bins = 1"),
        (("--keys", "harvest.fraction", "--breeders", 0), "start.breeders = 0"),
    ],
)
def test_bad_limits_are_one_line(tmp_path, words, told):
    (tmp_path / "demo.toml").write_text(SMALL)
    code, _, err = cli("search", "demo.toml", *words, cwd=tmp_path)
    assert code == 2 and len(err) == 1 and told in err[0], err


def test_a_missing_extra_is_one_line_and_exit_code_2(tmp_path):
    (tmp_path / "demo.toml").write_text(SMALL)
    (tmp_path / "sitecustomize.py").write_text("import sys\nsys.modules['optuna'] = None\n")
    env = environment() | {"PYTHONPATH": str(tmp_path)}
    words = [*PROGRAM, "search", "demo.toml", "--keys", "harvest.fraction"]
    found = subprocess.run(words, cwd=tmp_path, env=env, capture_output=True, text=True)
    # A busy machine takes its time to load, and says so.
    lines = [line for line in found.stderr.splitlines() if line != LINE]
    assert found.returncode == 2 and len(lines) == 1, lines
    assert "python -m pip install 'optuna>=5.0'" in lines[0]
    assert not (tmp_path / "results").exists()


def made_up() -> Search:
    """Two candidates and the file, of which the candidates are the front."""
    front = pd.DataFrame({
        "candidate": ["A", "B", "as in the file"], "harvest.fraction": [0.9, 0.7, 0.8],
        "yield_g_per_day": [9.0, 7.0, 8.0], "adult_losses": [2.0, 1.5, 2.0],
        "minutes_per_week": [300.0, 150.0, 400.0], "runs": 59, "persisted": [59, 59, 40],
        "persist_low": [0.9505, 0.9505, 0.57], "persistence": ["shown", "shown", "not met"],
        "within_limits": [True, True, False], "fading": [0.0, 0.0, 0.32], "kept": [0.9, 1.0, 0.4],
        "gain": [1.0, -1.0, 0.0], "gain_se": [0.1, 0.1, 0.0], "ahead": [0.9, 0.1, 0.0],
        "ahead_se": [0.04, 0.04, 0.02], "yield_in_search": [9.6, 7.2, np.nan],
        "on_front": [True, True, False],
    })  # fmt: skip
    for name, column in (("yield", "yield_g_per_day"), ("losses", "adult_losses"),
                         ("minutes", "minutes_per_week")):  # fmt: skip
        front[f"{name}_low"], front[f"{name}_high"] = 0.9 * front[column], 1.1 * front[column]
    candidates = front[["harvest.fraction", *OBJECTIVES, "adult_losses"]].assign(
        feasible=[True, True, False]
    )
    return Search(("harvest.fraction",), Limits(8, 350.0, 100), Window(20, 40), 3, 59, candidates,
                  front)  # fmt: skip


def test_words_and_figure():
    result = made_up()
    assert headline(result) == (
        "candidate A yields most, 9.00 g/day for 300 minutes a week; candidate B "
        "takes the least work, 150 minutes a week for 7.00 g/day"
    )
    text = in_words(result)
    assert text.startswith("What to do: share harvested 0.900 (candidate A).")
    assert "Limits: 8 bins, 100 founder beetles, 350 minutes a week in 80 % of runs" in text
    assert "Yields in the search were 0.400 g/day higher on average" in text
    assert "What would change it: if you lack time, candidate B" in text
    assert "fades in 32 of 100 (limit not met); all limits kept in 40; beyond a limit" in text
    assert len(text.splitlines()) <= 25
    axes = drawing.figure(result, Origin("demo", 7, True)).axes[0]
    assert axes.get_xlabel() == "Work (minutes a week)" and axes.get_ylabel() == "Yield (g/day)"
    assert {note.get_text() for note in axes.texts} == {"A", "B", "File", "limit 350"}


def test_the_headline_weakens_where_intervals_overlap():
    result = made_up()
    result.front.loc[1, ["yield_high", "minutes_high"]] = [8.5, 310.0]
    assert headline(result) == (
        "candidate A has the highest mean yield, 9.00 g/day for 300 minutes a week, "
        "not told from 1 other; candidate B has the least mean work, 150 minutes a week for 7.00 "
        "g/day"
    )
