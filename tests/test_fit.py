"""Fitting a bin log: a small fit from end to end, and what it must not claim."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from answers import of_folder
from commandline import cli, stored_runs
from pictures import readable

from colony_sim.assimilation.misfit import rank_of_values
from colony_sim.assimilation.values import Values
from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.commands.fit import run_fit
from colony_sim.errors import InputError
from colony_sim.experiment.worlds import SHIPPED, Worlds, read_worlds
from colony_sim.fitting import calibration, learnt
from colony_sim.fitting import slides as fit_slides
from colony_sim.fitting.fit import PROFILE_DRAWS, ensemble_of, fit
from colony_sim.fitting.posterior import Learner, Posterior, drawn
from colony_sim.fitting.state import STATE
from colony_sim.logs import observe
from colony_sim.words import labels

#: Beetles counted at every move tell how long they live; nothing here tells of larvae.
LOG = """\
date,bin,action,stage,count,grams,about,until,note
2031-03-01,1,beetles in,beetles,150,,,,
2031-03-12,1,beetles out,beetles,132,,,,
2031-03-12,2,beetles in,beetles,,,,,
2031-03-24,2,beetles out,beetles,110,,,,
2031-03-24,3,beetles in,beetles,110,,,,
2031-04-08,3,beetles out,beetles,83,,,,
2031-04-08,3,dead beetles,beetles,24,,,,
"""
MEMBERS, DRAWS = 120, 40
TOLD, UNTOLD = "adult.life_mean_days", "larva.duration_days"
PLAIN = dict(experiment=None, policy=None, name=None, members=None, seed=None, workers=1)


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    path = tmp_path_factory.mktemp("log") / "Shed log.csv"
    path.write_text(LOG, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def asked(log):
    return ensemble_of(log, Parameters.default(), constant(27.0), read_worlds(SHIPPED), seed=2)


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    return tmp_path_factory.mktemp("lives")


@pytest.fixture(scope="module")
def small(asked, kept):
    return fit("shed", *asked, members=MEMBERS, tests=60, draws=DRAWS, folder=kept)


# ---- A fit


def test_what_the_log_tells_is_learnt_and_what_it_does_not_is_not(small):
    table = small.learnt.set_index("key")
    assert table.loc[TOLD, "width_share"] < 0.8
    assert table.loc[UNTOLD, "learnt"] == learnt.NOT
    # What is not told stays: mean 0 and spread 1 of its scores.
    place = small.values.keys.index(UNTOLD)
    untold, weights = small.posterior.scores[:, place], small.posterior.weights
    middle = weights @ untold
    assert abs(middle) < 0.35 and 0.75 < np.sqrt(weights @ (untold - middle) ** 2) < 1.3


def test_intervals_hold_what_is_known_of_members_left_out(small):
    """Over all values; four binomial errors of 60 logs, which share what they tell."""
    assert abs(small.calibration["covered_50"].mean() - 0.5) < 0.06
    assert abs(small.calibration["covered_90"].mean() - 0.9) < 0.04


def test_the_same_seed_gives_the_same_fit_with_any_number_of_workers(asked, small, kept):
    stored = stored_runs(kept)
    again = fit("shed", *asked, members=MEMBERS, tests=60, draws=DRAWS, folder=kept)
    assert again.profile == small.profile and stored_runs(kept) == stored
    two = fit("shed", *asked, members=MEMBERS, tests=60, draws=DRAWS, workers=2)
    assert two.profile == small.profile and two.learnt.equals(small.learnt)


def test_a_profile_holds_together_and_stays_within_the_members(small):
    small.profile.check("profile")
    assert len(small.profile.draws) == DRAWS
    drawn_, members = small.profile.draws, small.values.worlds.draws
    assert (drawn_ >= members.min(axis=0) - 1e-12).all()
    assert (drawn_ <= members.max(axis=0) + 1e-12).all()
    assert list(small.state["what"]) == list(STATE) and np.isfinite(small.state["apart"]).all()
    # Of 100 members left out; the share held is that of 90 % within five binomial errors.
    assert ((small.state[["told_90", "fit_90"]] - 0.9).abs() <= 0.15).all(axis=None)
    assert list(small.racks.columns) == list(STATE) and len(small.racks) == len(small.profile.draws)


def test_a_log_that_the_model_cannot_give_is_said_to_be_one(small, asked, kept):
    """Beetles that become more without any coming in."""
    from colony_sim.assimilation.ensemble import live

    ensemble = asked[1]
    found = live(ensemble, range(1, MEMBERS + 1), kept)
    features = observe.features(ensemble.schedule, found.written)
    strange = observe.on_paper(ensemble.schedule)
    strange[2:] = 400.0
    odd = observe.features(ensemble.schedule, strange)[0]
    assert rank_of_values(features, odd, small.values) < 0.01
    assert small.p > 0.05


# ---- Its parts


def normal(chance, members: int, error: float) -> tuple[np.ndarray, Values]:
    """Members whose log is their pupal hazard's score with an error, and a number that is idle."""
    draws = np.column_stack([chance.uniform(0.001, 0.01, members),
                             chance.uniform(80.0, 120.0, members)])  # fmt: skip
    worlds = Worlds("made-up", ("pupa.hazard_per_day", "larva.duration_days"), draws)
    values = Values.of(worlds, np.arange(1, members + 1))
    features = values.scores[:, :1] + error * chance.standard_normal((members, 1))
    return np.column_stack([features, chance.standard_normal((members, 3))]), values


def test_the_normal_model_is_fitted_as_its_closed_form_says():
    """Prior N(0, 1), one observation of variance s2: mean x / (1 + s2), variance s2 / (1 + s2)."""
    features, values = normal(np.random.default_rng(1), 2000, 0.5)
    learner = Learner(features, values)
    for seen in (-1.0, 0.0, 1.2):
        found = learner.of_log(np.array([seen, 0.0, 0.0, 0.0]))
        mean = found.weights @ found.scores
        spread = np.sqrt(found.weights @ (found.scores - mean) ** 2)
        assert mean[0] == pytest.approx(seen / 1.25, abs=0.08)
        assert spread[0] == pytest.approx(np.sqrt(0.25 / 1.25), rel=0.1)
        assert abs(mean[1]) < 0.1 and spread[1] == pytest.approx(1.0, rel=0.1)


def test_calibration_passes_a_right_fit_and_no_other():
    features, values = normal(np.random.default_rng(5), 1000, 0.7)
    learner = Learner(features, values)
    assert calibration.calibrate(calibration.below(learner, 500), values.keys)["passed"].all()

    class Sure(Learner):
        """Too narrow by a third."""

        def _of(self, log, distances):
            found = super()._of(log, distances)
            middle = found.weights @ found.scores
            return Posterior(found.members, found.weights, middle + 0.6 * (found.scores - middle))

    wrong = calibration.calibrate(calibration.below(Sure(features, values), 500), values.keys)
    assert not wrong["passed"].any()
    assert (wrong[[f"tenth_{i}" for i in range(1, 11)]].sum(axis=1) == 500).all()


def test_values_come_back_from_their_scores_and_draws_are_as_likely_as_they_weigh():
    _, values = normal(np.random.default_rng(2), 400, 0.5)
    there = values.numbers_at(values.scores)
    assert np.allclose(there, values.worlds.draws[:, values.numbers], rtol=1e-9)
    weights = np.full(400, 1e-9)
    weights[7], weights[9] = 0.75, 0.25
    posterior = Posterior(np.arange(400), weights / weights.sum(), values.scores)
    found = drawn(values, posterior, 100, Parameters.default(), 1, "two")
    rows, counts = np.unique(found.draws[:, 0], return_counts=True)
    assert sorted(counts) == [25, 75]
    assert np.allclose(sorted(rows), sorted(values.worlds.draws[[7, 9], 0]))


def test_values_far_outside_the_members_are_seen():
    """A log of a score of 5 among scores within 3; those of members come out flat."""
    chance = np.random.default_rng(3)
    features, values = normal(chance, 500, 0.2)
    inside = [rank_of_values(np.delete(features, k, 0), features[k], _without(values, k))
              for k in range(0, 500, 10)]  # fmt: skip
    assert 0.0 <= np.mean(np.array(inside) < 0.1) <= 0.3
    assert rank_of_values(features, np.array([5.0, 0.0, 0.0, 0.0]), values) < 0.01


def _without(values: Values, member: int) -> Values:
    kept = np.delete(np.arange(1, len(values.scores) + 1), member)
    return Values.of(values.worlds, kept)


def test_words_follow_the_rule():
    assert [learnt.word(x) for x in (0.5, 0.51, 0.8, 0.81)] == [
        learnt.LEARNT, learnt.HARDLY, learnt.HARDLY, learnt.NOT,
    ]  # fmt: skip
    line = np.random.default_rng(1).standard_normal(1000)
    before = np.random.default_rng(2).standard_normal((1000, 2))
    both = np.stack([line, -line + 0.1 * line**2], axis=1)
    posterior = Posterior(np.arange(1000), np.full(1000, 1e-3), both)
    pairs = learnt.together(("a", "b"), posterior, before)
    assert pairs[0][:2] == ("a", "b") and pairs[0][2] < -0.9
    assert learnt.together(("a", "b"), posterior, both) == []  # So they were before.


# ---- The command


def test_the_command_writes_a_folder_and_a_profile(tmp_path, log):
    code, out, err = cli("fit", log, "--members", 100, "--workers", 1, cwd=tmp_path, faults=None)
    assert code == 0, err
    folder = tmp_path / "results" / "shed-log-fit"
    assert any("No --experiment: 25 C all year" in line for line in err)
    verdict = (folder / "verdict.txt").read_text()
    assert "Not learnt from this log" in verdict and "In the rack on the last day" in verdict
    assert out.startswith("The log narrows") and labels.label(TOLD) in out
    profile = read_worlds(folder / "shed-log.profile.csv")
    assert {TOLD, UNTOLD, "growth.law"} <= set(profile.keys)
    assert len(profile.draws) == PROFILE_DRAWS
    assert profile.facts["log"] == "Shed log.csv" and profile.facts["members"] == 100
    posterior = pd.read_parquet(folder / "posterior.parquet")
    assert np.array_equal(posterior[[TOLD, UNTOLD]], profile.frame()[[TOLD, UNTOLD]])
    manifest = json.loads((folder / "manifest.json").read_text())
    assert manifest["kind"] == "fit" and manifest["study"]["members"] == 100
    for name in manifest["files"]:
        assert (folder / name).is_file()
    assert of_folder(folder, "fit")["settings"]["members"] == 100
    slides = fit_slides.slides(folder)
    assert [slide.name for slide in slides] == ["learnt", "predictive", "calibration"]
    for slide in slides:
        assert len(slide.data)
        readable(slide)
    assert slides[0].title.split(":")[0] in verdict


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--members", 20), "argument: members = 20; allowed: a whole number from 100"),
        (("--policy", "mine"), "--policy = 'mine'; allowed: only with --experiment"),
        (("--name", "My Log"), "--name = 'My Log'"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(tmp_path, log, words, said):
    options = {**PLAIN, "out": tmp_path / "x"}
    options[words[0].lstrip("-")] = words[1]
    with pytest.raises(InputError) as error:
        run_fit(log, **options)
    assert said in error.value.line
    assert not (tmp_path / "x").exists()
