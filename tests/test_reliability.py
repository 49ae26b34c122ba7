"""Verdicts given a probability, and how often they come true."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from colony_sim.figures import style
from colony_sim.worlds import (
    diagram,
    predictions,
    prior,
    reliability,
    rotations,
    verdicts,
    words,
)
from colony_sim.worlds.bank import Bank
from colony_sim.worlds.prior import STRAIN, Scores
from colony_sim.worlds.reliability import ALL, NONE
from colony_sim.worlds.shipped import shipped
from colony_sim.worlds.verdicts import Fit


def test_a_lived_pair_is_the_gain_that_the_bank_tells(monkeypatch):
    monkeypatch.setattr(predictions, "DAYS", 240)
    monkeypatch.setattr(predictions, "WARM_UP", 120)
    monkeypatch.setattr(predictions, "LARVAE", 300)
    middle = prior.draw(1, np.random.default_rng(1))
    scores = Scores(0.0 * middle.values, middle.spreads, middle.structures)
    strain = 0.1 * np.ones((1, len(STRAIN)))
    (found,) = rotations.fill(scores, strain, np.array([7]))
    gain = predictions.gain(scores.parameters(0, strain[0]), 7)
    assert gain != 0.0
    assert found[0, 0] - found[1, 0] == pytest.approx(gain)
    assert (found > 0.0).all()


def test_decisions_are_those_of_the_harvests_themselves():
    found = np.random.default_rng(2).lognormal(1.0, 1.0, (500, 2, len(rotations.KEPT)))
    got = verdicts.margins(found) > 0.0
    early, late = found[:, 0], found[:, 1]
    floor = verdicts.FLOOR
    assert (got[:, 0] == (early[:, 0] > late[:, 0])).all()
    assert (got[:, 1] == (early[:, 0] - late[:, 0] > verdicts.INDIFFERENT_G)).all()
    for k in (1, 2, 3):
        each = [(one[:, 0] + floor) / (one[:, k] + floor) for one in (early, late)]
        assert (got[:, k + 1] == (each[0] > each[1])).all()


# ---- Tables


def _right(count: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Probabilities that are right, and what came."""
    p = rng.uniform(0.02, 0.98, count)
    return p, (rng.random(count) < p).astype(float)


@pytest.mark.parametrize("came", [0, 3, 20])
def test_the_interval_of_one_verdict_a_literature_is_wilsons(came):
    what = (np.arange(20) < came).astype(float)
    exact = stats.binomtest(came, 20).proportion_ci(0.95, method="wilson")
    assert reliability.interval(what, np.arange(20)) == pytest.approx(tuple(exact), abs=1e-9)


def test_verdicts_told_twice_count_once():
    """Ten copies of each verdict on one literature: interval, slope and z as of one copy."""
    p, came = _right(60, np.random.default_rng(3))
    one, ten = np.arange(60), np.repeat(np.arange(60), 10)
    alone = reliability.interval(came, one)
    copied = reliability.interval(np.repeat(came, 10), ten)
    assert copied == pytest.approx(alone, abs=0.005)
    assert reliability.interval(np.repeat(came, 10), np.arange(600))[0] > alone[0] + 0.03
    slopes = [
        reliability.cox(p, came, one),
        reliability.cox(np.repeat(p, 10), np.repeat(came, 10), ten),
    ]
    assert slopes[1] == pytest.approx(slopes[0])


def test_parts_of_the_brier_score_add_up():
    """Within bins of one probability nothing is left over, and the parts are Murphy's sums."""
    p = np.repeat([0.1, 0.5, 0.9], [40, 20, 40])
    came = np.concatenate([np.arange(40) < 8, np.arange(20) < 9, np.arange(40) < 30]).astype(float)
    parts = reliability.murphy(p, came)
    base = 47 / 100
    assert parts["brier"] == pytest.approx(np.mean((p - came) ** 2))
    assert parts["reliability"] == pytest.approx(0.4 * 0.1**2 + 0.2 * 0.05**2 + 0.4 * 0.15**2)
    assert parts["resolution"] == pytest.approx(
        0.4 * (0.2 - base) ** 2 + 0.2 * (0.45 - base) ** 2 + 0.4 * (0.75 - base) ** 2
    )
    assert parts["uncertainty"] == pytest.approx(base * (1 - base))
    assert parts["within"] == pytest.approx(0.0, abs=1e-12)


def test_the_slope_of_two_probabilities_is_that_of_their_logits():
    """Two values of p saturate a logistic regression."""
    p = np.repeat([0.2, 0.7], 50)
    came = np.concatenate([np.arange(50) < 15, np.arange(50) < 30]).astype(float)

    def logit(x: float) -> float:
        return math.log(x / (1.0 - x))

    exact = (logit(0.6) - logit(0.3)) / (logit(0.7) - logit(0.2))
    slope, error = reliability.cox(p, came, np.arange(100))
    assert slope == pytest.approx(exact)
    within = sum(1.0 / (50 * q * (1.0 - q)) for q in (0.3, 0.6))
    assert error == pytest.approx(math.sqrt(within) / (logit(0.7) - logit(0.2)), rel=0.01)


def test_spiegelhalters_z_is_standard_normal_if_probabilities_are_right():
    """2,000 sets, one and several verdicts a literature; a false alarm in a thousand seeds."""
    rng = np.random.default_rng(4)
    for of in (np.arange(100), np.repeat(np.arange(50), 2)):
        z = [reliability.spiegelhalter(*_right(100, rng), of) for _ in range(2000)]
        assert np.mean(z) == pytest.approx(0.0, abs=3.3 / math.sqrt(2000))
        assert np.std(z) == pytest.approx(1.0, abs=0.08)
    p, came = _right(400, rng)
    sure = np.where(p > 0.5, 0.97, 0.03)
    assert reliability.spiegelhalter(sure, came, np.arange(400)) > 4.0


# ---- From worlds to tables, with rotations whose outcome has a closed form

MINE, ROWS, WORLDS, TOLD = 7, 160, 60, 0.6


def _made(rotations_of: Scores) -> np.ndarray:
    """Log ratio of harvests by a value and a structure; all else alike."""
    refuge = rotations_of.structures[:, 2] - 0.5
    ratio = 0.4 * rotations_of.values[:, MINE] + 0.4 * refuge
    found = np.ones((len(ratio), 2, len(rotations.KEPT)))
    found[:, 0, 0], found[:, 1, 0] = 20.0 * np.exp(ratio / 2.0), 20.0 * np.exp(-ratio / 2.0)
    return found


def _lived(scores, strains, seeds, folder=None, **options):
    noise = np.array([np.random.default_rng(int(seed)).standard_normal() for seed in seeds])
    found = _made(scores)
    found[:, 0, 0] *= np.exp(0.1 * noise)
    return found


@pytest.fixture(scope="module")
def bank() -> Bank:
    scores = prior.draw(ROWS, np.random.default_rng(5))
    none = np.zeros((ROWS, 1, len(STRAIN)))
    return Bank((), scores, none, np.zeros((ROWS, 0)), np.full((ROWS, 3), np.nan))


@cache
def _table(bank: Bank, sure: float) -> pd.DataFrame:
    """Verdicts of literatures that tell one value with an error of `TOLD`.

    `sure` divides the spread of the worlds after each literature: 1 is right.
    """
    rng = np.random.default_rng(6)
    fits = []
    for row in range(ROWS):
        told = bank.scores.values[row, MINE] + TOLD * rng.standard_normal()
        worlds = prior.draw(WORLDS, rng)
        share = 1.0 / (1.0 + TOLD**2)
        sd = math.sqrt(1.0 - share) / sure
        worlds.values[:, MINE] = share * told + sd * rng.standard_normal(WORLDS)
        # The refuge is told without error.
        worlds.structures[:, 2] = bank.scores.structures[row, 2]
        fits.append(Fit(row, None, worlds))
        if row < 40:
            other = Scores(worlds.values, worlds.spreads, worlds.structures.copy())
            code = int(bank.scores.structures[row, 2])
            other.structures[:, 2] = 1 - code
            fits.append(Fit(row, (prior.STRUCTURES[2], code), other))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rotations, "fill", _lived)
        lived = verdicts.live(bank, fits, 1, 2, 4)
    assert lived.chance[0] == pytest.approx(0.1, rel=0.2)
    return verdicts.forecasts(bank, fits, lived, ROWS, 1)


def test_right_worlds_give_right_verdicts_and_narrow_ones_are_found_too_sure(bank):
    """Within 3.5 standard errors: a false alarm in two thousand seeds."""
    right, sure = (_table(bank, of) for of in (1.0, 8.0))
    found = reliability.scores(right).set_index(["without", "decision"])
    own = found.loc[(NONE, "yield")]
    assert own["verdicts"] == ROWS
    assert abs(own["slope"] - 1.0) < 3.5 * own["slope_error"] and own["slope_error"] < 0.4
    assert abs(own["z"]) < 3.5
    assert own["gained"] > 3.0 * own["gained_error"]
    assert own["rank_p_value"] > 0.001
    assert own["direct"] == pytest.approx(own["p"], abs=0.08)
    narrow = reliability.scores(sure).set_index(["without", "decision"]).loc[(NONE, "yield")]
    assert narrow["rank_p_value"] < 0.001
    assert narrow["z"] > 3.5 and narrow["slope"] + 3.0 * narrow["slope_error"] < 1.0
    # A truth with a structure that the fit lacks, and that matters.
    foreign = found.loc[(prior.STRUCTURES[2], reliability.MOVES)]
    assert foreign["verdicts"] == 40 * len(verdicts.ROTATIONS)
    assert foreign["brier"] > found.loc[(NONE, reliability.MOVES), "brier"] + 0.02


def test_bins_hold_every_verdict_and_the_figure_every_bin(bank):
    table = _table(bank, 1.0)
    bins = reliability.bins(table)
    own = bins[(bins["without"] == NONE) & (bins["decision"] == ALL)]
    assert own["verdicts"].sum() == ROWS * len(verdicts.ROTATIONS)
    assert ((bins["low"] <= bins["p"]) & (bins["p"] <= bins["high"])).all()
    assert ((bins["came_low"] <= bins["came"]) & (bins["came"] <= bins["came_high"])).all()
    with style.theme():
        figure = diagram.draw(bins, "Title")
    moves = bins[(bins["without"] == NONE) & (bins["decision"] == reliability.MOVES)]
    drawn = figure.axes[0].containers[0].lines[0].get_ydata()
    assert drawn == pytest.approx(moves["came"])
    counts = [t.get_text() for t in figure.axes[0].texts if t.get_text().isdigit()]
    assert counts == [str(count) for count in moves["verdicts"]]


# ---- What is shipped


def test_the_shipped_tables_agree_with_each_other_and_with_the_sentence():
    tables = shipped().tables
    bins, scores = tables["reliability"], tables["verdicts"]
    parts = scores["reliability"] - scores["resolution"] + scores["uncertainty"] + scores["within"]
    assert parts.to_numpy() == pytest.approx(scores["brier"].to_numpy(), abs=1e-4)
    for row in scores.to_dict("records"):
        here = bins[(bins["without"] == row["without"]) & (bins["decision"] == row["decision"])]
        assert here["verdicts"].sum() == row["verdicts"]
        came = np.average(here["came"], weights=here["verdicts"])
        assert came == pytest.approx(row["came"], abs=1e-4)
    own = scores[(scores["without"] == NONE) & (scores["decision"] == ALL)].iloc[0]
    assert f"over {own['verdicts']} of them" in words.reliable(tables)
