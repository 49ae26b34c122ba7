"""Replicates until an interval is narrow enough."""

from __future__ import annotations

import json
import math
import re

import numpy as np
import pandas as pd
import pytest
from commandline import EXPERIMENT, cli
from hypothesis import given
from hypothesis import strategies as st
from inline import Inline

from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.statistics.paired import paired_differences
from colony_sim.studies.precision import (
    StoppingRule,
    Wanted,
    in_words,
    make_rule,
    next_replicates,
    reached,
)
from colony_sim.studies.sweep import run as sweep_module
from colony_sim.studies.sweep.run import plan_sweep, run_sweep

YIELD = "yield_g_per_day"


def runs_of(differences: np.ndarray) -> pd.DataFrame:
    """Runs under two policies at many points; array of shape (points, replicates)."""
    points, n = differences.shape
    point, seed = np.repeat(np.arange(1, points + 1), n), np.tile(np.arange(n), points)
    base = pd.DataFrame({"point": point, "policy": "a", "seed": seed, YIELD: 0.0})
    other = base.assign(policy="b", **{YIELD: differences.ravel()})
    return pd.concat([base, other]).assign(status="settled").sort_values("point", kind="stable")


def test_coverage_stays_near_the_level():
    # 3000 points, true difference 1, spread 1, half width 0.4: about 27 pairs are needed. Stopping
    # early costs a little coverage; below 0.93 (8 standard errors under 0.962, 5 under 0.95) the
    # rule would be wrong. Seeds are fixed.
    rule = StoppingRule((Wanted(YIELD, 0.4),), least=10, most=200)
    draws = np.random.default_rng(7).normal(1.0, 1.0, size=(3000, 200))
    n = np.full(len(draws), 10)
    stopped = np.zeros(len(draws), dtype=bool)
    for _ in range(50):
        for size in np.unique(n[~stopped]):
            here = np.flatnonzero(~stopped & (n == size))
            table = reached(runs_of(draws[here, :size]), ["a", "b"], "a", rule)
            for place, (_, rows) in zip(here, table.groupby("point"), strict=True):
                more = next_replicates(rows, rule)
                stopped[place] = more == size
                n[place] = more
        if stopped.all():
            break
    assert stopped.all() and n.max() < 200
    assert 24 < n.mean() < 34
    means = np.array([row[:size].mean() for row, size in zip(draws, n, strict=True)])
    half = 0.4
    assert (np.abs(means - 1.0) <= half).mean() > 0.93


@given(
    now=st.integers(2, 100),
    ratio=st.floats(0.1, 1e6) | st.just(math.nan) | st.just(math.inf),
    most=st.integers(2, 300),
)
def test_steps_go_forward_at_most_double_and_end(now, ratio, most):
    rule = StoppingRule((Wanted(YIELD, 1.0),), least=2, most=most)
    here = pd.DataFrame({"half_width": [ratio, 0.5], "asked": 1.0, "replicates": now})
    here["met"] = here["half_width"] <= here["asked"]
    more = next_replicates(here, rule)
    if ratio <= 1.0 or now >= most:
        assert more == now
    else:
        assert now < more <= min(2 * now, most) or more == now + 1 <= most


def test_reached_is_half_of_the_paired_interval_and_counts_pairs():
    rng = np.random.default_rng(1)
    runs = runs_of(rng.normal(2.0, 1.0, size=(2, 12)))
    lost = (runs["seed"] == 3) & (runs["policy"] == "b")
    runs.loc[lost, YIELD], runs.loc[lost, "status"] = np.nan, "died_out"
    table = reached(runs, ["a", "b"], "a", StoppingRule((Wanted(YIELD, 0.4),)))
    for point, here in runs.groupby("point"):
        expected = paired_differences(here, "a", measures=[YIELD]).iloc[0]
        row = table[table["point"] == point].iloc[0]
        assert row["half_width"] == pytest.approx((expected["high"] - expected["low"]) / 2)
        assert (row["n_pairs"], row["replicates"]) == (11, 12)
        for asked, met in ((0.99 * row["half_width"], False), (1.01 * row["half_width"], True)):
            again = reached(here, ["a", "b"], "a", StoppingRule((Wanted(YIELD, asked),)))
            assert again["met"].tolist() == [met]


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (
            (["yield=1"],),
            "argument until: measure = 'yield'; allowed: MEASURE=HALFWIDTH with yield_g",
        ),
        (([f"{YIELD}=0"],), f"{YIELD} = '0'; allowed: a half width above 0 (g/day)"),
        (([f"{YIELD}=nan"],), "'nan'"),
        (([YIELD],), "a half width above 0"),
        (([f"{YIELD}=1", f"{YIELD}=2"],), "every measure once"),
        (([f"{YIELD}=1"], 1), "least = 1; allowed: a whole number from 2"),
        (([f"{YIELD}=1"], 20, 10), "most = 10; allowed: a whole number from 20"),
        (([], None, 10), "most = 10; allowed: only with `until`"),
        (([f"{YIELD}=1"], None, None, 5), "replicates = 5; allowed: not with `until`"),
    ],
)
def test_what_is_no_rule_is_refused(arguments, expected):
    with pytest.raises(InputError) as error:
        make_rule(*arguments)
    assert expected in error.value.line


def test_defaults_give_way_to_what_is_asked():
    rules = [make_rule([f"{YIELD}=1"], *limits) for limits in ((), (300,), (None, 5))]
    assert [(r.least, r.most) for r in rules] == [(10, 200), (300, 300), (5, 5)]


def test_compare_goes_on_until_it_is_narrow_enough_and_can_be_repeated(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    words = ("compare", "demo.toml", "--no-assumptions", "--until", f"{YIELD}=0.06", "--least", 3)
    code, out, err = cli(*words, "--most", 40, cwd=tmp_path)
    assert (code, err) == (0, [])
    folder = tmp_path / "results/demo"
    (row,) = pd.read_parquet(folder / "precision.parquet").to_dict("records")
    assert row["met"] and row["half_width"] <= 0.06 and 3 < row["replicates"] < 40
    (pair,) = pd.read_parquet(folder / "differences.parquet").query("measure == @YIELD").iloc
    assert (pair["high"] - pair["low"]) / 2 == pytest.approx(row["half_width"])
    flat = " ".join(out.split())
    assert f"reached with {row['replicates']} replicates" in flat
    assert "Chow & Robbins (1965), 3 at least" in flat
    manifest = json.loads((folder / "manifest.json").read_text())
    assert manifest["experiment"]["replicates"] == row["replicates"]
    assert manifest["precision"]["wanted"] == [{"measure": YIELD, "half_width": 0.06}]
    assert cli("repeat", folder, cwd=tmp_path)[0] == 0


def test_points_of_a_sweep_get_the_replicates_they_need(tmp_path, monkeypatch):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    executor = Inline()
    monkeypatch.setattr(sweep_module, "open_executor", lambda *_: executor)
    sweep = plan_sweep(
        load(tmp_path / "demo.toml"),
        vary=["harvest.fraction=0.1:0.9:0.1"],
        until=[f"{YIELD}=0.6"],
        least=5,
        most=30,
    )
    result = run_sweep(sweep, tmp_path / "out")
    table = result.table("precision").set_index("point")
    runs = result.table("sweep")
    counts = runs.groupby(["point", "policy"]).size().unstack()
    assert (counts["short"] == counts["long"]).all()
    assert counts["long"].tolist() == table["replicates"].tolist()
    assert table["replicates"].nunique() > 1 and table["replicates"].between(5, 30).all()
    assert (table["met"] | (table["replicates"] == 30)).all()
    assert len(executor.ran) == len(runs)
    seeds = runs[runs["policy"] == "long"].groupby("point")["seed"].apply(list)
    longest = max(seeds, key=len)
    assert all(own == longest[: len(own)] for own in seeds)
    assert any(re.search(r"Precision of yield.*at most 0.6 g/day", x) for x in result.finding)


def test_what_was_not_reached_is_said():
    rule = StoppingRule((Wanted(YIELD, 0.01),), least=4, most=8)
    runs = runs_of(np.random.default_rng(3).normal(size=(1, 8)))
    table = reached(runs, ["a", "b"], "a", rule)
    assert next_replicates(table, rule) == 8
    text = in_words(table, rule)[0]
    assert "not reached for “b” (" in text and "from 8 pairs), with the most replicates, 8" in text
