"""Trials at home: lived by the engine, valued for the choice at hand, and taken back."""

from __future__ import annotations

import math
import shutil

import numpy as np
import pandas as pd
import pytest
from answers import of_folder
from commandline import cli
from made_up_worlds import EGG, PROFILE
from pictures import readable
from scipy import stats
from test_compare_worlds import EXPERIMENT

from colony_sim.biology.parameters import Parameters
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.experiment.worlds import read_worlds, write_worlds
from colony_sim.studies.comparison.leans_on import DAYS_A_YEAR
from colony_sim.trial import back, boxes, lived, question, words
from colony_sim.trial.boxes import TRIALS
from colony_sim.trial.side import side_by_side
from colony_sim.trial.slides import slides
from colony_sim.trial.value import ranked

WORLDS = 14
BY_NAME = {trial.name: trial for trial in TRIALS}
PAIRS = [trial for trial in TRIALS if len(trial.numbers) == 2]


# ---- The boxes


def mean_numbers(name: str, changes: dict[str, float], runs: int = 12) -> np.ndarray:
    p = Parameters.default().with_values(changes, where="test")
    return np.mean([BY_NAME[name].live(p, seed, 25.0) for seed in range(runs)], axis=0)


def test_each_trial_tells_what_it_is_for():
    """The number moves with the value that the trial is about, and is level where there is none."""
    without, with_grid = mean_numbers("grid-7", {EGG: 0.0})
    assert without == pytest.approx(with_grid, rel=0.02)
    eaten, safe = mean_numbers("grid-7", {EGG: 0.02})
    assert eaten < 0.8 * safe and safe == pytest.approx(with_grid, rel=0.03)
    beside, alone = mean_numbers("larvae-on-eggs", {"predation.larva_egg": 0.0})
    assert beside == pytest.approx(alone, rel=0.03)
    more, _ = mean_numbers("larvae-on-eggs", {"predation.larva_egg": 0.005})
    assert more < 0.9 * alone
    left, apart = mean_numbers("split-bin", {"predation.adult_pupa": 0.05})
    assert left < 0.8 * apart
    few, many = (mean_numbers("laying", {"fecundity.peak_eggs_per_day": eggs}) for eggs in (6, 12))
    assert many == pytest.approx(2 * few, rel=0.1)
    short, long = (mean_numbers("beetle-lives", {"adult.life_mean_days": d}) for d in (40, 90))
    assert short < long
    slow, fast = (mean_numbers("fifty", {"larva.duration_days": d}) for d in (160, 80))
    assert slow < fast
    cool, warm = (mean_numbers("logger", {"heat.fed_mw_per_g": mw}) for mw in (4.0, 12.0))
    assert 0 < cool < warm


SEEDS = range(16)


@pytest.mark.parametrize("name", ["grid-1", "larvae-on-eggs", "split-bin"])
def test_two_boxes_have_luck_of_their_own(name):
    """What seeds would share cancels in a ratio, and a result would look surer than it is."""
    p = Parameters.default()
    lived = np.array([BY_NAME[name].live(p, seed, 25.0) for seed in SEEDS])
    assert abs(stats.pearsonr(*lived.T).statistic) < 0.5
    logs = np.log(lived)
    apart, alone = (logs[:, 0] - logs[:, 1]).var(ddof=1), logs.var(axis=0, ddof=1).sum()
    assert 0.5 < apart / alone < 1.5


def test_bran_is_as_much_as_the_steps_and_the_price_say(monkeypatch):
    given = []
    box, fresh = boxes._box, boxes._onto_fresh_bran
    monkeypatch.setattr(
        boxes, "_box", lambda p, seed, g=boxes._BRAN_G: (given.append(g), box(p, seed, g))[1]
    )
    monkeypatch.setattr(
        boxes, "_onto_fresh_bran", lambda own: (given.append(boxes._BRAN_G), fresh(own))
    )
    for trial in TRIALS:
        given.clear()
        trial.live(Parameters.default(), 1, 25.0)
        assert sum(given) == trial.bran_g
        for grams in set(given):
            assert ("bran", grams) in [pair for step in trial.steps for pair in step.amounts]


def test_written_numbers_have_the_error_of_a_count():
    trial, chance = BY_NAME["grid-1"], np.random.default_rng(1)
    rows = np.array([trial.written(np.array([400.0, 0.0]), chance) for _ in range(2000)])
    assert rows[:, 0].std() == pytest.approx(20.0, rel=0.1) and (rows[:, 1] == 0).all()
    assert (rows == np.round(rows)).all()


def test_workers_and_chunks_change_nothing():
    base = Parameters.default()
    one = lived.live(TRIALS, base, PROFILE, [1, 2, 3, 4, 5], 25.0, 1)
    two = lived.live(TRIALS, base, PROFILE, [1, 2, 3, 4, 5], 25.0, 1, workers=2)
    assert all(np.array_equal(a, b) for a, b in zip(one, two, strict=True))
    later = lived.live(TRIALS, base, PROFILE, [5], 25.0, 1)
    assert all(np.array_equal(a[-1:], b) for a, b in zip(one, later, strict=True))


def test_racks_side_by_side_live_as_their_ways_say_with_luck_of_their_own(tmp_path):
    (tmp_path / "x.toml").write_text(EXPERIMENT.replace("days = 700", "days = 250"))
    plan = expand(load(tmp_path / "x.toml"))
    alike = side_by_side(plan, ("short", "short"), 10.0, 50.0)
    ways = side_by_side(plan, ("long", "short"), 10.0, 50.0)
    p = plan.policies[0].parameters
    one, other = alike.live(p, 4, 20.0)
    assert one != other and one == pytest.approx(other, rel=0.2)
    first, second = ways.live(p, 4, 20.0)
    assert second == other and first != one
    assert alike.key != ways.key and ways.days == 250 and ways.minutes == 2500.0
    assert ways.summary(np.array([[5.0, 3.0]])).tolist() == [[2.0]]


def test_a_way_whose_name_has_braces_is_told_as_it_is(tmp_path):
    text = EXPERIMENT.replace('"long"', '"{long}"').replace('"short"', '"{short}"')
    (tmp_path / "x.toml").write_text(text)
    trial = side_by_side(expand(load(tmp_path / "x.toml")), ("{long}", "{short}"), 10.0, 50.0)
    assert "the first by “{long}” and the second by “{short}”" in words.instructions(trial, 20.0)
    assert [number.asked for number in trial.numbers] == ["larvae harvested in the year, g"] * 2


# ---- What a result is worth


def normal_worth(mean: float, spread: float, error: float) -> float:
    """Closed form for a gain N(mean, spread2) seen with an error: Raiffa and Schlaifer 1961."""
    known = spread**2 / math.sqrt(spread**2 + error**2)
    z = mean / known
    return known * stats.norm.pdf(z) + mean * stats.norm.cdf(z) - max(mean, 0.0)


@pytest.mark.parametrize(("mean", "error"), [(0.0, 0.5), (0.3, 1.0), (-0.5, 0.5)])
def test_worth_against_the_closed_form(mean, error):
    chance = np.random.default_rng(3)
    gains = mean + chance.standard_normal(4000)
    seen = gains + error * chance.standard_normal(4000)
    idle = chance.standard_normal(4000)
    table = ranked(PAIRS[:2], [np.column_stack([seen, idle]), idle[:, None]], gains).set_index(
        "trial"
    )
    first, second = table.loc[PAIRS[0].name], table.loc[PAIRS[1].name]
    exact = DAYS_A_YEAR * normal_worth(mean, 1.0, error)
    assert first["worth"] == pytest.approx(exact, abs=max(3 * first["worth_se"], 0.05 * exact))
    assert first["told_apart"] and not second["told_apart"]
    assert table.index[0] == PAIRS[0].name
    assert first["worth_per_minute"] == pytest.approx(first["worth"] / PAIRS[0].minutes)


def test_worth_against_nested_monte_carlo():
    """A count whose mean is a value of which the gain is no straight line."""
    chance = np.random.default_rng(4)

    def gain(value, other):
        return np.sin(2 * value) + 0.5 * value * other - 0.2

    outer, inner = 1500, 3000
    value = chance.standard_normal(outer)
    count = chance.poisson(np.exp(2 + 0.5 * value))
    fresh, others = chance.standard_normal(inner), chance.standard_normal(inner)
    means = []
    for seen in count:
        weights = stats.poisson.pmf(seen, np.exp(2 + 0.5 * fresh))
        means.append(np.average(gain(fresh, others), weights=weights))
    exact = np.mean(np.maximum(means, 0)) - max(np.mean(means), 0)
    many = chance.standard_normal((4000, 2))
    seen = chance.poisson(np.exp(2 + 0.5 * many[:, 0]))
    table = ranked(TRIALS[:1], [np.log1p(seen)[:, None]], gain(*many.T))
    found, error = table["worth"].iloc[0] / DAYS_A_YEAR, table["worth_se"].iloc[0] / DAYS_A_YEAR
    assert found == pytest.approx(exact, abs=3 * error + 0.01)


# ---- The command, and a result taken back


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    place = tmp_path_factory.mktemp("trial")
    (place / "demo.toml").write_text(EXPERIMENT)
    write_worlds(place / "shed.csv", PROFILE)
    words = ("compare", "demo.toml", "--profile", "shed.csv", "--worlds", WORLDS)
    code, _, err = cli(*words, cwd=place, faults="eggs=eaten")
    assert code == 0, err
    return place


def filled(folder, numbers) -> str:
    """The empty log of a trial with these numbers."""
    lines, left = [], list(numbers)
    for line in (folder / "grid-7.csv").read_text().splitlines():
        lines.append(line + str(left.pop(0)) if line.endswith(",") and left else line)
    return "\n".join(lines) + "\n"


def test_the_command_ranks_says_how_and_takes_a_result_back(place):
    trial = ("trial", "results/demo-shed", "--workers", 1)
    code, out, err = cli(*trial, cwd=place, faults=None)
    assert code == 0, err
    folder = place / "results/demo-shed-trial"
    table = pd.read_parquet(folder / "ranking.parquet")
    assert set(table["trial"]) == set(BY_NAME) and (table["worth"] > -1e-9).all()
    written = pd.read_parquet(folder / "written.parquet")
    assert written["world"].nunique() == WORLDS
    top = question.read(place / "results/demo-shed").named(table["trial"].iloc[0])
    steps = (folder / "instructions.txt").read_text()
    assert all(words.in_house(step) in steps for step in top.steps) and "mask" in steps
    assert of_folder(folder, "trial")["settings"]["worlds"] == WORLDS
    (slide,) = slides(folder)
    readable(slide)
    assert slide.title.split(":")[0] in " ".join(out.split())

    code, _, err = cli(*trial, "--only", "grid-7", cwd=place, faults=None)
    assert code == 0, err
    # Filled in where it lies, as anybody would.
    mine = folder / "grid-7.csv"
    one = written[(written["trial"] == "grid-7") & (written["world"] == 3)]
    mine.write_text(filled(folder, one["number"]))
    before = mine.read_bytes()
    code, out, err = cli(*trial, "--only", "grid-7", "--result", mine, cwd=place, faults=None)
    assert code == 0, err
    assert mine.read_bytes() == before
    assert "After this result" in out and "Before it" in out
    profile = read_worlds(folder / "demo-shed-trial.profile.csv")
    assert set(profile.keys) > set(PROFILE.keys) and len(profile.draws) == back.DRAWS

    shutil.copytree(place / "results/demo-shed", place / "results/demo")
    (place / "results/demo/gains.parquet").unlink()
    before = set((place / "results").iterdir())
    code, _, err = cli("trial", "results/demo", cwd=place, faults=None)
    assert code == 2 and "of one world" in err[-1]
    code, _, err = cli("trial", "results/demo-shed", "--only", "grid-3", cwd=place, faults=None)
    assert code == 2 and "--only = 'grid-3'; allowed: grid-1" in err[-1]
    assert set((place / "results").iterdir()) == before


def test_a_result_moves_the_possible_colonies_its_way():
    """Much eaten: colonies in which beetles eat more eggs are left; a wild one is said to be."""
    numbers = np.arange(1, len(PROFILE.draws) + 1)
    base, trial = Parameters.default(), BY_NAME["grid-14"]
    written = lived.live(TRIALS, base, PROFILE, numbers.tolist(), 25.0, 1)[TRIALS.index(trial)]
    eaten = PROFILE.draws[:, PROFILE.keys.index(EGG)]
    gains = 3 * (np.median(eaten) - eaten) / eaten.std()

    class Asked(question.Question):
        base = property(lambda self: Parameters.default())

    asked = Asked(None, ("a", "b"), PROFILE, numbers, gains, 0.5, 25.0, 1.0, 1.0)
    said = trial.summary(written)[:, 0]
    for extreme, way in ((np.argmin(said), "second"), (np.argmax(said), "first")):
        found = back.answer(asked, trial, written, written[extreme], 1, "x")
        assert getattr(found.after, way) > getattr(found.before, way) + 0.1
        assert 1 < found.effective <= len(numbers)
    most = back.answer(asked, trial, written, np.array([1.0, 5000.0]), 1, "x")
    assert most.strange
    head, lines = words.said(asked, most)
    assert head.startswith("Hardly a possible colony") and lines[0].startswith("If it holds: ")
    assert abs(most.after.gain) <= 1.5 * np.abs(gains).max()
    middle = back.answer(asked, trial, written, written[np.argsort(said)[20]], 1, "x")
    assert not middle.strange


HEAD = "trial,box,what,number\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("bin,number\n1,2\n", "header = 'bin,number'"),
        (HEAD + "no-such,box,x,3\n", "trial = 'no-such'"),
        (HEAD + "grid-1,with grid,x,3\n", "a row of box without grid"),
        (HEAD + "grid-1,with grid,x,3\ngrid-1,without grid,x,many\n", "from 0 to 1000000"),
        (HEAD + "grid-1,with grid,x,\ngrid-1,without grid,x,5\n", "number of box with grid = ''"),
        (HEAD + "grid-1,with grid,x,3\ngrid-1,without grid,x,5\ngrid-1,other,x,5\n", "'other'"),
    ],
)
def test_a_log_that_is_none_is_refused_in_one_line(tmp_path, text, said):
    (tmp_path / "log.csv").write_text(text)
    with pytest.raises(InputError) as error:
        back.read(tmp_path / "log.csv", TRIALS)
    assert said in error.value.line and "\n" not in error.value.line


def test_semicolons_and_decimal_commas_are_read(tmp_path):
    (tmp_path / "log.csv").write_text("trial;box;what;number\nsample;bin;weight;2,4\n")
    trial, numbers = back.read(tmp_path / "log.csv", TRIALS)
    assert trial.name == "sample" and numbers.tolist() == [2.4]
