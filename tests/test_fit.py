"""Fitting a bin log: a small fit from end to end, and what it must not claim."""

from __future__ import annotations

import json
import sqlite3
import sys
from contextlib import closing

import numpy as np
import pandas as pd
import pytest
from answers import of_folder
from commandline import cli, stored_runs
from pictures import readable

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.commands.ending import Ending
from colony_sim.commands.fit import run_fit
from colony_sim.errors import InputError
from colony_sim.experiment.worlds import read_worlds
from colony_sim.fitting import calibration, inference, learnt, observe, predictive
from colony_sim.fitting import slides as fit_slides
from colony_sim.fitting.fit import fit, make_job, read_schedule
from colony_sim.fitting.prior import KEYS, Prior, prior_for
from colony_sim.fitting.simulated import CALIBRATE, TRAIN, Logs, simulate_logs
from colony_sim.words import labels

#: Beetles counted at every move tell how long they live; nothing here tells of pupae.
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
LOGS = 250
TOLD, UNTOLD = "adult.life_mean_days", "pupa.hazard_per_day"
OPTIONS = ("--keys", f"{TOLD},{UNTOLD}", "--simulations", 200, "--workers", 1)


PLAIN = dict(experiment=None, policy=None, keys=None, name=None, simulations=None, seed=None,
             workers=1)  # fmt: skip


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    path = tmp_path_factory.mktemp("log") / "Shed log.csv"
    path.write_text(LOG, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def job(log):
    _, schedule = read_schedule(log)
    return make_job(schedule, Parameters.default(), constant(27.0), keys=[TOLD, UNTOLD], seed=2)


@pytest.fixture(scope="module")
def small(log, job):
    logbook, _ = read_schedule(log)
    return fit("shed", logbook, job, simulations=LOGS, calibrations=50)


@pytest.fixture(scope="module")
def logs(job):
    return simulate_logs(job, TRAIN, LOGS)


@pytest.fixture(scope="module")
def posterior(job, logs):
    return inference.train(job.schedule, logs.scores, logs.values, job.seed)


# ---- A fit


def test_what_the_log_tells_is_learnt_and_what_it_does_not_is_not(small):
    table = small.learnt.set_index("key")
    assert table.loc[TOLD, "learnt"] == learnt.LEARNT
    assert table.loc[UNTOLD, "learnt"] == learnt.NOT
    # The prior of what is not told comes back: mean 0 and spread 1 of its standard scores.
    untold = small.scores[:, 1]
    assert abs(untold.mean()) < 0.35 and 0.75 < untold.std() < 1.3


def test_known_lives_are_found(job, posterior):
    """Fresh logs of short and of long lives: told apart, and held by their intervals."""
    fresh = simulate_logs(job, CALIBRATE, 100)
    draws = posterior.draws(fresh.values, 299, 1)
    middle = np.median(draws, axis=1)
    assert np.corrcoef(middle[:, 0], fresh.scores[:, 0])[0, 1] > 0.85
    table = calibration.calibrate(calibration.ranks(posterior, fresh, 1), job.prior.keys)
    # Four errors of a share of 100 logs; the network has seen few.
    assert table["covered_50"].min() >= 0.3 and table["covered_50"].max() <= 0.7
    assert table["covered_90"].min() >= 0.75


def test_the_same_seed_gives_the_same_draws(job, small, posterior):
    paper = observe.on_paper(job.schedule)[None]
    assert np.array_equal(posterior.draws(paper, 2000, job.seed)[0], small.scores)
    assert not np.array_equal(posterior.draws(paper, 2000, 9)[0], small.scores)


def test_stored_logs_are_used_again(tmp_path, job):
    first = simulate_logs(job, TRAIN, 40, tmp_path)
    before = stored_runs(tmp_path)
    told = []
    more = simulate_logs(job, TRAIN, 50, tmp_path, on_progress=told.append)
    assert len(before) == 2 and stored_runs(tmp_path) == before  # The last chunk was filled up.
    assert told[-1].reused == told[-1].total == 50
    assert np.array_equal(more.values[:40], first.values)


def test_a_damaged_store_is_not_used(tmp_path, job):
    first = simulate_logs(job, TRAIN, 25, tmp_path)
    with closing(sqlite3.connect(tmp_path / "runs.sqlite")) as store, store:
        cut = "UPDATE runs SET payload = substr(payload, 1, length(payload) - 40)"
        assert store.execute(cut).rowcount == 1
    again = simulate_logs(job, TRAIN, 25, tmp_path)
    assert np.array_equal(first.values, again.values)


def test_two_workers_give_the_same_logs(job):
    one = simulate_logs(job, CALIBRATE, 50, workers=1)
    two = simulate_logs(job, CALIBRATE, 50, workers=2)
    assert np.array_equal(one.seen, two.seen) and np.array_equal(one.values, two.values)
    assert len(np.unique(one.scores)) == one.scores.size


def test_a_log_that_the_model_cannot_give_is_said_to_be_one(small, logs):
    """Beetles that become more without any coming in."""
    values = logs.values
    fine, strange = observe.on_paper(small.schedule), observe.on_paper(small.schedule).copy()
    strange[2:] = 400.0
    assert predictive.plausibility(small.schedule, values, fine) > 0.05
    assert predictive.plausibility(small.schedule, values, strange) < predictive.DOUBT


# ---- Its parts


def test_scores_and_values_belong_together():
    prior = prior_for(None, Parameters.default())
    scores = np.random.default_rng(1).standard_normal((500, len(KEYS)))
    values = prior.values(scores)
    assert np.allclose(prior.scores(values), scores, atol=1e-6)
    for place, key in enumerate(KEYS):
        entry = catalogue()[key]
        assert values[:, place].min() >= entry.low and values[:, place].max() <= entry.high
    # This one spans more than a decade: half of the draws below the geometric mean.
    place = KEYS.index("larva.young_hazard_per_day")
    assert prior.values(np.zeros(len(KEYS)))[place] == pytest.approx(np.sqrt(0.0005 * 0.01))


def test_keys_that_cannot_be_fitted_are_refused():
    base = Parameters.default()
    for keys, said in (
        (["rotation.interval_days"], "known biology key"),
        (["larva.life"], "unknown key"),
        ([], "1 to 12"),
    ):
        with pytest.raises(InputError, match=said):
            prior_for(keys, base)
    heavy = base.with_values({"larva.asymptotic_mass_mg": 170.0}, where="x")
    with pytest.raises(InputError, match="mature_mass"):
        prior_for(["larva.mature_mass_mg"], heavy)


def test_summaries_find_a_known_line_and_do_not_flatter_themselves():
    """Linear model: the regression's residual spread is known, on left-out logs too."""
    chance = np.random.default_rng(1)
    scores = chance.standard_normal((400, 1))
    features = np.concatenate(
        [scores + 0.5 * chance.standard_normal((400, 1)), chance.standard_normal((400, 60))], axis=1
    )
    summaries, left_out = inference.learn_summaries(features, scores)
    best = 1 / (1 + 0.25)  # Explained share of the Bayes regression.
    assert summaries.shares[0] == pytest.approx(best, abs=0.1)
    fresh = chance.standard_normal((4000, 1))
    new = np.concatenate(
        [fresh + 0.5 * chance.standard_normal((4000, 1)), chance.standard_normal((4000, 60))],
        axis=1,
    )
    outside = np.mean((summaries.of(new) - fresh) ** 2)
    assert np.mean((left_out - scores) ** 2) == pytest.approx(outside, rel=0.2)


class _Known:
    """Posterior of a normal mean with a normal prior, closed form; `sure` narrows it wrongly."""

    def __init__(self, sure: float) -> None:
        self.sure = sure

    def draws(self, values, count, seed):
        chance = np.random.default_rng(seed)
        spread = self.sure * np.sqrt(0.5)
        return values[:, None, :] / 2 + spread * chance.standard_normal((len(values), count, 1))


@pytest.mark.parametrize(("sure", "passes"), [(1.0, True), (0.7, False), (1.5, False)])
def test_calibration_passes_a_right_posterior_and_no_other(sure, passes):
    """The conjugate normal model: prior N(0, 1), one observation of error 1."""
    chance = np.random.default_rng(5)
    scores = chance.standard_normal((500, 1))
    values = scores + chance.standard_normal((500, 1))
    ranks = calibration.ranks(_Known(sure), Logs(scores, values, values), 3)
    table = calibration.calibrate(ranks, ("x.y",))
    assert bool(table["passed"].iloc[0]) is passes
    assert table[[f"rank_{i}" for i in range(1, 11)]].to_numpy().sum() == 500


def test_words_follow_the_rule():
    assert [learnt.word(x) for x in (0.5, 0.51, 0.8, 0.81)] == [
        learnt.LEARNT, learnt.HARDLY, learnt.HARDLY, learnt.NOT,
    ]  # fmt: skip
    prior = Prior(("a", "b"), (0.0, 0.0), (1.0, 1.0), (False, False))
    line = np.random.default_rng(1).standard_normal(1000)
    pairs = learnt.together(prior, np.stack([line, -line + 0.1 * line**2], axis=1))
    assert pairs[0][:2] == ("a", "b") and pairs[0][2] < -0.9


# ---- The command


def test_the_command_writes_a_folder_and_a_profile(tmp_path, log):
    code, out, err = cli("fit", log, *OPTIONS, cwd=tmp_path, faults=None)
    assert code == 0, err
    folder = tmp_path / "results" / "shed-log-fit"
    assert any("No --experiment: 25 C all year" in line for line in err)
    verdict = (folder / "verdict.txt").read_text()
    assert f"{TOLD}: " in verdict and "Not learnt from this log" in verdict
    assert out.startswith("The log narrows 1 of 2 values") and labels.label(TOLD) in out
    profile = read_worlds(folder / "shed-log.profile.csv")
    assert profile.keys == (TOLD, UNTOLD) and len(profile.draws) == 200
    assert profile.facts["log"] == "Shed log.csv"
    assert profile.facts["learnt"] == [TOLD]
    posterior = pd.read_parquet(folder / "posterior.parquet")
    assert np.array_equal(posterior[[TOLD, UNTOLD]].to_numpy()[:200], profile.draws)
    manifest = json.loads((folder / "manifest.json").read_text())
    assert manifest["kind"] == "fit" and manifest["study"]["simulations"] == 200
    for name in manifest["files"]:
        assert (folder / name).is_file()
    assert of_folder(folder, "fit")["settings"]["simulations"] == 200
    slides = fit_slides.slides(folder)
    assert [slide.name for slide in slides] == ["learnt", "predictive", "calibration"]
    for slide in slides:
        assert len(slide.data)
        readable(slide)
    verdict = (folder / "verdict.txt").read_text()
    assert slides[0].title.split(":")[0] in verdict
    # Only the results folder was written to: sbi leaves no logs of its own.
    assert sorted(path.name for path in tmp_path.iterdir()) == ["results"]


def test_without_sbi_one_line_says_what_to_install(tmp_path, monkeypatch, log):
    monkeypatch.setitem(sys.modules, "sbi", None)
    with pytest.raises(Ending, match="pip install 'sbi'.*extra 'fit'") as ending:
        run_fit(log, **{**PLAIN, "out": tmp_path / "x"})
    assert ending.value.code == 2
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--simulations", 20), "argument: simulations = 20; allowed: a whole number from 200"),
        (("--policy", "mine"), "--policy = 'mine'; allowed: only with --experiment"),
        (("--name", "My Log"), "--name = 'My Log'"),
        (("--keys", "larva.durations"), "unknown key = 'larva.durations'"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(tmp_path, log, words, said):
    options = {**PLAIN, "out": tmp_path / "x"}
    options[words[0].lstrip("-")] = words[1]
    with pytest.raises(InputError) as error:
        run_fit(log, **options)
    assert said in error.value.line
    assert not (tmp_path / "x").exists()
