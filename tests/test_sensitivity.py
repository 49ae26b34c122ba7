"""Sensitivity: SALib's wiring on a function of known indices, the noise of seeds, the answer."""

from __future__ import annotations

import json
import math
import subprocess

import numpy as np
import pandas as pd
import pytest
from answers import of_folder
from commandline import EXPERIMENT, PROGRAM, cli, environment
from SALib.sample import morris as morris_sample
from SALib.sample import sobol as sobol_sample

from colony_sim.biology.parameters import catalogue
from colony_sim.commands.early import LINE
from colony_sim.errors import InputError
from colony_sim.studies.origin import Origin
from colony_sim.studies.points import Window
from colony_sim.studies.sensitivity import screening, tornado
from colony_sim.studies.sensitivity.indices import LEVELS, Noise, analyse, seed_noise
from colony_sim.studies.sensitivity.run import Sensitivity, chosen_entries
from colony_sim.studies.sensitivity.say import answer

SMALL = EXPERIMENT.replace("breeders = 300", "breeders = 20").replace("days = 700", "days = 40")
ISHIGAMI = {"num_vars": 3, "names": ["x1", "x2", "x3"], "bounds": [[-math.pi, math.pi]] * 3}


def ishigami(x: np.ndarray) -> np.ndarray:
    """a = 7, b = 0.1 (Ishigami & Homma 1990)."""
    return np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def test_sobol_indices_of_ishigami():
    x = sobol_sample.sample(ISHIGAMI, 2048, calc_second_order=False, seed=1)
    y = ishigami(x)
    table = analyse("sobol", ISHIGAMI, x, np.column_stack([y, y]), seed=1).set_index("key")
    # Closed form: Sobol' & Levitan 1999.
    for key, first, total in (("x1", 0.3139, 0.5576), ("x2", 0.4424, 0.4424), ("x3", 0.0, 0.2437)):
        assert table.loc[key, "S1"] == pytest.approx(first, abs=0.03)
        assert table.loc[key, "ST"] == pytest.approx(total, abs=0.03)
        assert table.loc[key, "influence_low"] < total < table.loc[key, "influence_high"]
    assert table.index.tolist() == ["x1", "x2", "x3"]
    assert (table["seed_se"] == 0).all()


def test_morris_of_ishigami():
    x = morris_sample.sample(ISHIGAMI, 400, num_levels=LEVELS, seed=1)
    table = analyse("morris", ISHIGAMI, x, ishigami(x)[:, None], seed=1).set_index("key")
    # On the grid -pi, -pi/3, pi/3, pi a step of 2/3 in x2 changes 7 sin^2 from 0 to 5.25.
    assert table.loc["x2", "mu_star"] == pytest.approx(5.25 * 1.5, rel=1e-6)
    assert table.loc["x2", "sigma"] == pytest.approx(5.25 * 1.5, rel=0.05)
    # x3 acts through x1 alone: effects of either sign, no mean.
    assert abs(table.loc["x3", "mu"]) < 0.15 * table.loc["x3", "mu_star"]
    assert table["seed_se"].isna().all()


def test_sign_changes_count_moves_of_one_key():
    problem = {"num_vars": 2, "names": ["a", "b"], "bounds": [[0, 1]] * 2}
    x = morris_sample.sample(problem, 50, num_levels=LEVELS, seed=2)
    table = analyse("morris", problem, x, (x[:, 0] - 0.5)[:, None], seed=1).set_index("key")
    assert table.loc["a", ["sign_changes", "moves"]].tolist() == [50, 50]
    assert table.loc["b", ["sign_changes", "moves"]].tolist() == [0, 50]
    x = sobol_sample.sample(problem, 64, calc_second_order=False, seed=2)
    table = analyse("sobol", problem, x, (x[:, 0] - 0.5)[:, None], seed=1).set_index("key")
    assert 16 < table.loc["a", "sign_changes"] < 48 and table.loc["b", "sign_changes"] == 0
    x = np.array([[0, 0.5], [1, 0.5], [0.5, 0], [0.5, 1.0]])
    y = (x[:, 0] - 0.4)[:, None] + np.array([[0.0, 0.02]])
    table = analyse("oneway", problem, x, y, central=0.1).set_index("key")
    assert table.loc["a", ["sign_changes", "moves"]].tolist() == [1, 2]
    assert table.loc["a", "at_low"] == pytest.approx(-0.39)
    assert table.loc["a", "influence"] == pytest.approx(0.51)


def test_a_result_that_never_changes_has_no_influence():
    x = sobol_sample.sample(ISHIGAMI, 8, calc_second_order=False, seed=1)
    table = analyse("sobol", ISHIGAMI, x, np.ones((len(x), 2)), seed=1)
    assert (table["influence"] == 0).all() and (table["sign_changes"] == 0).all()


def test_noise_of_seeds_is_what_is_left_of_points_and_seeds():
    rng = np.random.default_rng(3)
    points, seeds = rng.normal(0, 2, (400, 1)), rng.normal(0, 5, (1, 4))
    noise = seed_noise(points + seeds + rng.normal(0, 1, (400, 4)))
    # 1197 degrees of freedom: the variance is known to 4 % (1 SD).
    assert noise.variance == pytest.approx(1.0, rel=0.17)
    assert noise.share == pytest.approx(0.25 / 4.25, rel=0.3)
    assert seed_noise(points + seeds).variance == pytest.approx(0.0, abs=1e-12)
    assert math.isnan(seed_noise(points).share)


def made(method: str, turning: bool = True) -> Sensitivity:
    """An analysis of three keys of which the first turns the sign."""
    keys = ["predation.adult_egg", "larva.size_cv", "growth.dry_share"]
    entries = [catalogue()[key] for key in keys]
    table = pd.DataFrame({
        "key": keys, "influence": [2.0, 0.5, 0.1], "influence_low": [1.5, 0.2, 0.0],
        "influence_high": [2.5, 0.8, 0.3], "seed_se": [0.1, 0.1, 0.1], "mu": [1.0, 0.5, 0.0],
        "mu_star": [2.0, 0.5, 0.1], "sigma": [1.0, 0.2, 0.1], "S1": [0.5, 0.1, 0.0],
        "S1_conf": 0.1, "ST": [0.7, 0.2, 0.0], "ST_conf": 0.1, "sign_changes": [3 * turning, 0, 0],
        "moves": 10, "at_low": [-1.0, 0.9, 1.1], "at_high": [2.0, 1.5, 1.2],
        "at_low_low": [-1.2, 0.7, 1.0], "at_low_high": [-0.8, 1.1, 1.2],
        "at_high_low": [1.8, 1.3, 1.1], "at_high_high": [2.2, 1.7, 1.3],
        "low_used": [e.low for e in entries], "high_used": [e.high for e in entries],
        "unit": [e.unit for e in entries], "low_value": [e.low for e in entries],
        "high_value": [e.high for e in entries],
    })  # fmt: skip
    sampled = pd.DataFrame({"result_seed_1": [1.0, -1.0, 2.0], "result_seed_2": [1.0, 0.5, 2.0]})
    return Sensitivity(
        method, "yield, short minus long", ("short", "long"), "g/day", Window(336, 588),
        (1.1, 0.1, 0.9, 1.3), Noise(2, 0.04, 0.02), table, sampled, 0,
    )  # fmt: skip


def test_the_answer_names_what_turns_the_verdict_and_how_to_measure_it():
    text = answer(made("morris"))
    assert "Unknowns that would change which policy is ahead: predation.adult_egg." in text
    assert catalogue()["predation.adult_egg"].measure in text
    assert catalogue()["larva.size_cv"].measure not in text
    assert "the sign changed in 3 of 10 moves of it alone" in text
    assert "short is ahead at 2 of 3 points and long at 1." in text
    # Two means of two seeds over 2/3 of the range: 1.5 x 0.2 x sqrt(2 / pi).
    assert "keys without any influence would show mu* of about 0.239" in text
    calm = answer(made("oneway", turning=False))
    assert "No key changed the sign" in calm and "short is ahead" not in calm
    assert all(e.measure for e in chosen_entries(None, "biology", "morris"))


ORIGIN = Origin("demo", 7, True)


def test_figures():
    page = tornado.figure(made("oneway"), ORIGIN)
    low_bar, high_bar = page.axes[0].patches[:2]
    assert high_bar.get_width() == pytest.approx(0.9)
    assert low_bar.get_x() == pytest.approx(1.1) and low_bar.get_width() == pytest.approx(-2.1)
    assert "it alone turns the sign" in tornado.headline(made("oneway"))
    for method, make in (("morris", screening.plane), ("sobol", screening.indices)):
        assert "Egg eating" in screening.headline(made(method))
        assert make(made(method), ORIGIN).axes[0].get_xlabel()


@pytest.mark.parametrize("method", ["morris", "sobol"])
def test_a_screening_title_ranks_only_what_its_intervals_separate(method):
    clear, close = made(method), made(method)
    clear.table["influence"] = close.table["influence"] = [3.0, 1.0, 0.1]
    clear.table["influence_low"], clear.table["influence_high"] = [2.5, 0.5, 0.0], [3.5, 1.5, 0.2]
    close.table["influence_low"], close.table["influence_high"] = [1.4, 0.5, 0.0], [4.6, 1.5, 0.2]
    assert screening.headline(clear).startswith("Egg eating by beetles has the largest ")
    assert "3.00" in screening.headline(clear)
    assert screening.headline(close).startswith("The intervals do not rank the values: ")
    # An index of at most 1 that may be anything from 1.4 to 4.6 is given as that range.
    told = ["1.40 to 4.60"] if method == "sobol" else ["3.00 g/day"]
    assert all(number in screening.headline(close) for number in told)


def test_which_keys():
    assert [e.key for e in chosen_entries(["rack.bins"], None, "sobol")] == ["rack.bins"]
    assert all(e.group == "handling" for e in chosen_entries(None, "handling", "morris"))
    for keys, group, told in ((["rack.bin"], None, "rack.bins"),
                              (["pupae.isolate"], None, "a key with a plausible range"),
                              (None, "law", "biology or handling")):  # fmt: skip
        with pytest.raises(InputError, match=told):
            chosen_entries(keys, group, "morris")
    with pytest.raises(InputError, match="`group` biology"):
        chosen_entries(None, None, "sobol")


@pytest.mark.parametrize(("method", "size"), [("morris", 2), ("oneway", None)])
def test_the_command_on_the_model_itself(tmp_path, method, size):
    (tmp_path / "demo.toml").write_text(SMALL)
    words = ["sensitivity", "demo.toml", "--method", method, "--keys",
             "fecundity.peak_eggs_per_day,egg.mass_mg", "--policies", "short", "--measure",
             "eggs_laid_per_day", "--warm-up", 10, "--used", 30, "--one-world"]  # fmt: skip
    words += ["--size", size] if size else []
    code, out, err = cli(*words, cwd=tmp_path, faults=None)
    assert code == 0 and all(method in line for line in err), err
    folder = tmp_path / f"results/demo-{method}"
    table = pd.read_parquet(folder / "sensitivity.parquet")
    assert table.loc[0, "key"] == "fecundity.peak_eggs_per_day"
    assert table.loc[0, "influence"] > 10 * table.loc[1, "influence"]
    facts = json.loads((folder / "manifest.json").read_text())
    figure = "tornado.png" if method == "oneway" else "screening.png"
    assert figure in facts["files"] and facts["study"]["method"] == method
    assert "count the larvae" in out
    assert of_folder(folder, "sensitivity")["settings"]["method"] == method


def test_a_missing_extra_is_one_line_and_exit_code_2(tmp_path):
    (tmp_path / "demo.toml").write_text(SMALL)
    (tmp_path / "sitecustomize.py").write_text("import sys\nsys.modules['SALib'] = None\n")
    env = environment() | {"PYTHONPATH": str(tmp_path)}
    words = ("sensitivity", "demo.toml", "--one-world")
    found = subprocess.run(
        [*PROGRAM, *words], cwd=tmp_path, env=env, capture_output=True, text=True
    )
    # A busy machine takes its time to load, and says so.
    lines = [line for line in found.stderr.splitlines() if line != LINE]
    assert found.returncode == 2 and len(lines) == 1, lines
    assert "python -m pip install 'SALib>=1.5'" in lines[0]
    assert not (tmp_path / "results").exists()
