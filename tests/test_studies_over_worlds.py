"""Sweep, break-even map and sensitivity over worlds, against closed forms and plain counting."""

from __future__ import annotations

import io
import math

import numpy as np
import pandas as pd
import pytest
from commandline import EXPERIMENT
from inline import Inline
from made_up_worlds import EGG, LAID, LIFE, PROFILE
from rich.console import Console

from colony_sim.biology.parameters import catalogue as every_key
from colony_sim.commands.sweep import show_sweep
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.experiment.worlds import SHIPPED, Worlds, read_worlds
from colony_sim.measuring.catalogue import YIELD, catalogue
from colony_sim.running.protocol import TaskResult
from colony_sim.statistics.over_worlds import verdict_over_worlds
from colony_sim.statistics.worlds_pointwise import NOBODY, gains_in_worlds, verdicts_at_points
from colony_sim.studies import points
from colony_sim.studies.breakeven import draw as breakeven_figure
from colony_sim.studies.breakeven.run import (
    Axis,
    BreakEven,
    cells,
    crossings,
    grid,
    headline,
    in_words,
    with_worlds,
)
from colony_sim.studies.fitting_worlds import in_fitting_worlds
from colony_sim.studies.origin import Origin
from colony_sim.studies.points import Window
from colony_sim.studies.sensitivity import over_worlds, say_worlds, screening, shares
from colony_sim.studies.sensitivity import run as sensitivity_run
from colony_sim.studies.sensitivity.run import Sensitivity, sensitivity, settled
from colony_sim.studies.sweep import run as sweep_module
from colony_sim.studies.sweep.run import plan_sweep, run_sweep

ROOM = 25
"""Lines of a screen."""


@pytest.fixture
def experiment(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    return load(tmp_path / "demo.toml")


def inline(value) -> Inline:
    """An executor whose runs give `value(parameters)` for every measure."""

    def work(task) -> TaskResult:
        found = value(task.scenario.parameters)
        facts = {"status": "settled", "died_out_day": None, "warm_up_days": 300, "days_used": 400}
        return TaskResult({**facts, "note": "", **dict.fromkeys(catalogue(), found)}, None, 0.1, 1)

    return Inline(work)


# ---- Worlds that fit


def test_worlds_that_clash_at_one_point_are_left_out_at_all(experiment):
    keys = ("larva.mature_mass_mg", "larva.asymptotic_mass_mg")
    worlds = Worlds("own", keys, np.array([[150.0, 200.0], [170.0, 190.0], [140.0, 240.0]]))
    plan = expand(experiment, profile=worlds, replicates=4)
    kept, left_out = in_fitting_worlds(plan, [{}, {"larva.asymptotic_mass_mg": 160.0}])
    assert (kept.worlds, left_out) == ((1, 3, 1, 3), 1)
    # Both keys of the pair are given, so nothing of a world can clash.
    both = {"larva.asymptotic_mass_mg": 160.0, "larva.mature_mass_mg": 120.0}
    assert in_fitting_worlds(plan, [both, {"harvest.fraction": 0.5}]) == (plan, 0)


def test_shipped_worlds_take_any_key_at_the_ends_of_its_range(experiment, tmp_path, monkeypatch):
    executor = inline(lambda p: p["larva.reference_c"])
    monkeypatch.setattr(points, "open_executor", lambda workers: executor)
    worlds = read_worlds(SHIPPED)
    key = "larva.reference_c"
    far = max(worlds.draws[:, worlds.keys.index("larva.lower_c")]) - 0.01
    plan = expand(experiment, profile=worlds, hands=True, replicates=3)
    _, left_out = in_fitting_worlds(plan, [{key: far}])
    assert 0 < left_out < len(worlds.draws)
    found = sensitivity(plan, tmp_path, method="oneway", entries=[every_key()[key]], replicates=3)
    assert len(found.sampled) == 2 and (found.table["key"] == key).all()


# ---- Probabilities at points


def test_verdicts_at_points_are_those_of_each_point_alone():
    rng = np.random.default_rng(4)
    mean, sd, worlds = {1: 1.5, 2: 0.0, 3: -2.0}, 1.0, 60
    rows = []
    for point, gain in mean.items():
        for world, own in enumerate(rng.normal(0, sd, worlds), start=1):
            for policy, value in (("a", 5 + gain + own), ("b", 5.0)):
                rows.append({"point": point, "policy": policy, "world": world, "seed": -world,
                             "y": value})  # fmt: skip
    runs = pd.DataFrame(rows)
    gains = gains_in_worlds(runs, ["b", "a"], "b", "y")
    table = verdicts_at_points(gains).set_index("point")
    assert table["known"].to_dict() == {1: "a", 2: NOBODY, 3: "b"}
    for point, here in gains.groupby("point"):
        alone = verdict_over_worlds([[value] for value in here["gain"]])
        row = table.loc[point]
        assert row["probability"] == alone.probability_a
        assert row["probability"] == pytest.approx((here["gain"] > 0).mean())
        assert row["gain_se"] == pytest.approx(here["gain"].std(ddof=1) / math.sqrt(worlds))
        # Normal worlds: the probability is known.
        truth = 0.5 * (1 + math.erf(mean[point] / sd / math.sqrt(2)))
        assert abs(row["probability"] - truth) < 3 * row["probability_se"]
    # Where less is better, the other one is ahead.
    turned = verdicts_at_points(gains_in_worlds(runs, ["b", "a"], "b", "y", more=False))
    assert turned["known"].tolist() == ["b", NOBODY, "a"]
    assert (turned["probability"].to_numpy() == table["behind"].to_numpy()).all()
    # A policy that never differs is nowhere ahead, and the lead is one half.
    same = verdicts_at_points(gains.assign(gain=0.0))
    assert (same["known"] == NOBODY).all() and (same["lead"] == 0.5).all()


# ---- Sweep


def test_a_sweep_lives_in_the_same_worlds_at_every_point(experiment, tmp_path, monkeypatch):
    middle = every_key()[EGG].value

    def value(p):
        return 100 * (p[EGG] - middle) * (p["rotation.interval_days"] - 14) + p["harvest.fraction"]

    executor = inline(value)
    monkeypatch.setattr(sweep_module, "open_executor", lambda *_: executor)
    vary = [f"harvest.fraction={','.join(str(round(0.4 + i / 100, 2)) for i in range(9))}"]
    plan = plan_sweep(experiment, vary=vary, replicates=40, profile=PROFILE)
    found = run_sweep(plan, tmp_path / "out")
    runs, ahead, gains = (found.table(name) for name in ("sweep", "over_worlds", "gains"))
    by_point = runs.groupby(["point", "policy"])["world"].apply(tuple)
    assert by_point.nunique() == 1 and by_point.iloc[0] == tuple(range(1, 41))
    assert len(gains) == 9 * 40 and not gains.duplicated(["point", "world"]).any()
    # In a world the longer interval gains what its own value of the key says.
    egg = PROFILE.draws[:, PROFILE.keys.index(EGG)]
    expected = 700 * (egg - middle)
    assert 0.2 < (expected > 0).mean() < 0.8
    assert gains.loc[gains["point"] == 7, "gain"].to_numpy() == pytest.approx(expected)
    assert ahead["probability"].to_numpy() == pytest.approx((expected > 0).mean())
    assert ahead["gain"].to_numpy() == pytest.approx(expected.mean())
    assert ahead["harvest.fraction"].tolist() == plan.points["harvest.fraction"].tolist()
    said = found.finding[0]
    assert (
        said.startswith("Nobody knows yet at any of 9 points which gives more") and "of 100" in said
    )
    screen = io.StringIO()
    show_sweep(plan, found, Console(file=screen, width=100))
    lines = screen.getvalue().splitlines()
    assert lines[0].startswith("Nobody knows yet") and len(lines) <= ROOM


def test_a_sweep_in_one_world_has_no_worlds(experiment, tmp_path, monkeypatch):
    monkeypatch.setattr(sweep_module, "open_executor", lambda *_: inline(lambda p: 1.0))
    plan = plan_sweep(experiment, vary=["harvest.fraction=0.5"], replicates=2)
    found = run_sweep(plan, tmp_path / "out")
    assert "world" not in found.table("sweep")
    assert not list((tmp_path / "out").glob("over_worlds*"))


# ---- Break-even


X, Y = Axis(EGG, (0.0, 0.01, 0.02, 0.03)), Axis("rack.bins", (6, 12))
SLOPE, SPREAD, WORLDS = 200.0, 1.5, 400


def mapped(at=0.014, worlds=WORLDS) -> BreakEven:
    """A map whose difference rises along x and is 0 at `at`, in as many worlds."""
    rng = np.random.default_rng(8)
    own = rng.normal(0, SPREAD, worlds)
    where = grid(X, Y)
    rows = [
        {"point": place, "policy": policy, "seed": 1000 - world, "world": world + 1,
         "died_out_day": pd.NA, YIELD: 5.0 + (SLOPE * (p[EGG] - at) + own[world]) * first}
        for place, p in enumerate(where)
        for world in range(worlds)
        for policy, first in (("a", 1), ("b", 0))
    ]  # fmt: skip
    runs, names = pd.DataFrame(rows), ("a", "b")
    table = cells(runs, where, names, X, Y, YIELD)
    table, gains = with_worlds(table, runs, where, names, X, Y, YIELD)
    seeds = tuple(range(worlds))
    return BreakEven(*names, X, Y, YIELD, Window(10, 40), seeds, table, (0.01, 12.0), gains)


def test_break_even_points_have_intervals_of_the_delta_method():
    result = mapped()
    spots = crossings(result).set_index(["rack.bins", "by"])
    error = SPREAD / math.sqrt(WORLDS) / SLOPE
    row = spots.loc[(6, "difference")]
    assert abs(row[EGG] - 0.014) < 3 * error
    assert (row["high"] - row["low"]) / (2 * 1.96) == pytest.approx(error, rel=0.2)
    # The median of normal worlds is their mean; lines between values bend it a little.
    even = spots.loc[(6, "probability")]
    assert abs(even[EGG] - 0.014) < 3.5 * error and even["low"] < even[EGG] < even["high"]
    assert (spots["found"] == 1.0).all()


def test_a_break_even_point_near_an_end_may_lie_beyond_the_values():
    result = mapped(at=0.029, worlds=30)
    spots = crossings(result)
    assert (spots["high"] == math.inf).all() and (spots["found"] < 1).all()
    assert "beyond all values" in in_words(result)
    none = crossings(mapped(at=0.2, worlds=30))
    assert none[EGG].isna().all() and none["low"].isna().all()


def test_a_map_over_worlds_shades_by_probability_and_draws_one_half():
    result = mapped(worlds=60)
    probability = result.table.set_index(["rack.bins", EGG])["probability"]
    assert probability[6, 0.0] < 0.1 and probability[12, 0.03] > 0.9
    assert set(result.table["better"]) == {"a", "b", NOBODY}
    assert "in 70 of 100 possible colonies or more" in headline(
        result
    ) and "nobody knows" in headline(result)
    page = breakeven_figure.figure(result, Origin("demo", 7, True))
    mesh, contour = page.axes[0].collections[0], page.axes[0].collections[-1]
    assert mesh.get_array().max() == result.table["lead"].max()
    # One half lies between the middles of the second and third column.
    at = np.concatenate([path.vertices[:, 0] for path in contour.get_paths()])
    assert ((at > 1.5) & (at < 2.5)).all()
    hatched = {box.get_xy()[0] for box in page.axes[0].patches if box.get_hatch()}
    unknown = result.table[result.table["better"] == NOBODY][EGG]
    assert hatched == {X.values.index(value) for value in unknown}
    assert len(in_words(result).splitlines()) < ROOM - 3


# ---- Sensitivity


WEIGHTS = {EGG: 2.0, LAID: 1.0}


def independent(count=400) -> Worlds:
    """Worlds of three independent normal keys, each with a spread of a hundredth of its default."""
    rng = np.random.default_rng(6)
    keys = (EGG, LAID, LIFE)
    middle = np.array([every_key()[key].value for key in keys])
    return Worlds("own", keys, middle * (1 + 0.01 * rng.normal(size=(count, 3))))


def result_of(p) -> float:
    """Weighted sum of the keys in units of their spread."""
    return sum(w * 100 * (p[key] / every_key()[key].value - 1) for key, w in WEIGHTS.items())


def analysed(experiment, folder, monkeypatch, **options) -> Sensitivity:
    monkeypatch.setattr(points, "open_executor", lambda workers: inline(result_of))
    plan = expand(experiment, profile=independent(), replicates=2)
    return sensitivity(plan, folder, over="worlds", policies=["short"], **options)


def test_shares_over_independent_worlds_are_those_of_the_closed_form(
    experiment, tmp_path, monkeypatch
):
    found = analysed(experiment, tmp_path, monkeypatch, method="sobol", size=400, replicates=1)
    table = found.table.set_index("key")
    for key, share in ((EGG, 4 / 5), (LAID, 1 / 5), (LIFE, 0.0)):
        assert abs(table.loc[key, "S1"] - share) < 3 * table.loc[key, "S1_se"]
    assert table["shown"].to_dict() == {EGG: True, LAID: True, LIFE: False}
    groups = found.groups.set_index("group")["share"]
    assert abs(groups["predation"] - 0.8) < 3 * found.groups["share_se"].max()
    assert found.sampled["world"].tolist() == list(range(1, 401)) and found.keys[0] == EGG
    said, text = say_worlds.answer(found)
    assert said.startswith("Egg eating by beetles decides most of yield")
    assert len(text.splitlines()) < ROOM - 3
    slide = shares.slide(found, Origin("demo", 7, True))
    assert slide.paint().axes[0].get_xlabel() and slide.runs == "400 runs"


def test_many_keys_do_not_hide_one_that_decides():
    # 115 keys: Holm over too few permutations would show none of them.
    rng = np.random.default_rng(3)
    draws = rng.normal(size=(60, 115))
    keys = [f"k{i}" for i in range(115)]
    found = over_worlds.narrowing(keys, draws, draws[:, 7] + 0.1 * rng.normal(size=60))
    assert found.shown == ("k7",)


def test_steps_between_worlds_are_changes_of_one_value(experiment, tmp_path, monkeypatch):
    found = analysed(experiment, tmp_path, monkeypatch, method="morris", size=50, replicates=2)
    table, worlds = found.table.set_index("key"), independent()
    spread = 100 * (worlds.draws[:, 0] / every_key()[EGG].value - 1)
    expected = 2 * np.abs(spread[200:250] - spread[:50])
    assert table.loc[EGG, "mu_star"] == pytest.approx(expected.mean())
    assert table.loc[EGG, "mu"] == pytest.approx(expected.mean())  # It rises with the key.
    assert table.loc[LIFE, "mu_star"] == 0.0 and found.noise.variance == pytest.approx(0.0)
    moved = found.sampled[found.sampled["moved"] == EGG]
    assert moved[LAID].tolist() == worlds.draws[:50, 1].tolist()
    assert moved[EGG].tolist() == worlds.draws[200:250, 0].tolist()
    assert "taken from another possible colony" in screening.headline(found)
    assert len(say_worlds.answer(found)[1].splitlines()) < ROOM - 3


def test_a_step_takes_a_value_that_goes_with_the_rest_of_its_world():
    keys = ("larva.mature_mass_mg", "larva.asymptotic_mass_mg")
    worlds = Worlds("own", keys, np.array([[150.0, 240.0], [120.0, 140.0], [130.0, 160.0]]))
    base = {key: entry.value for key, entry in every_key().items()}
    # Half of all further on is world 3; its 160 goes with 150, the 140 of world 2 does not.
    assert over_worlds._partner(worlds, 1, keys[1], base) == 3
    low = Worlds("own", keys, np.array([[150.0, 240.0], [120.0, 160.0], [130.0, 140.0]]))
    assert over_worlds._partner(low, 1, keys[1], base) == 1
    # Where all worlds fit, it is half of them further on.
    assert over_worlds._partner(independent(10), 2, EGG, base) == 7


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ((None, None, False), ("sobol", "worlds")),
        (("morris", None, False), ("morris", "worlds")),
        (("oneway", None, False), ("oneway", "ranges")),
        ((None, None, True), ("morris", "ranges")),
        ((None, "ranges", False), ("morris", "ranges")),
        (("sobol", "ranges", True), ("sobol", "ranges")),
    ],
)
def test_what_a_method_runs_over(asked, expected):
    assert settled(*asked) == expected


def test_what_does_not_go_together_is_refused(experiment, tmp_path):
    for asked, told in ((("oneway", "worlds", False), "ranges with `method` oneway"),
                        (("sobol", "worlds", True), "not together with `one_world`"),
                        ((None, "years", False), "one of worlds, ranges"),
                        (("fast", None, False), "one of morris, sobol, oneway")):  # fmt: skip
        with pytest.raises(InputError) as caught:
            settled(*asked)
        assert told in caught.value.line
    plan = expand(experiment, profile=PROFILE)
    no_key = {"entries": [every_key()["egg.mass_mg"]]}
    for options, told in (({"size": 41}, "12 to 40 worlds"), (no_key, "differs between worlds")):
        with pytest.raises(InputError, match=told):
            sensitivity(
                plan, tmp_path, method="sobol", over="worlds", policies=["short"], **options
            )
    assert sensitivity_run.lived("sobol", "worlds", 50, None) == (1, 50)
