"""Comparisons over worlds: which run lives in which world, and what is said in each currency."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from commandline import EXPERIMENT, cli
from made_up_worlds import PROFILE

from colony_sim.experiment.worlds import write_worlds
from colony_sim.measuring.catalogue import catalogue
from colony_sim.studies.comparison.over_worlds import CURRENCIES, in_words, over_worlds

WORLDS, TIMES = 6, 3


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
    found = over_worlds(made_up_runs(gain), PROFILE.first(WORLDS), ("A", "B"))
    grams = found.verdicts["g/day"]
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
    text = " ".join(in_words(found))
    assert "The currencies disagree" in text and "“B” in g per hour of work" in text


def test_swapping_the_policies_mirrors_the_verdict():
    runs = made_up_runs(np.array([-1.0, 0.5, 1.0, 1.5, 2.0, 2.5]), chance=0.5)
    one, other = (
        over_worlds(runs, PROFILE.first(WORLDS), pair).verdicts["g/day"]
        for pair in (("A", "B"), ("B", "A"))
    )
    assert one.probability_a == pytest.approx(other.probability_b)
    assert (one.low, one.high) == pytest.approx((-other.high, -other.low))
    assert one.regret_a == pytest.approx(other.regret_b)


def test_a_colony_that_died_out_yields_nothing_of_anything():
    runs = made_up_runs(np.zeros(WORLDS))
    dead = (runs["policy"] == "A") & (runs["replicate"] == 2)
    runs.loc[dead, ["yield_g_per_day", "work_hours_per_week", "bins_in_use"]] = 0.0
    runs.loc[dead, ["yield_g_per_kg_bran", "adult_losses_per_100_per_day"]] = np.nan
    found = over_worlds(runs, PROFILE.first(WORLDS), ("A", "B"))
    count = WORLDS * TIMES
    assert found.verdicts["g/day per bin in use"].runs == count
    assert found.verdicts["g/day per bin in use"].gain == pytest.approx(-2.0 / count)
    # Without a beetle there is no rate of loss: that pair is left out.
    assert found.verdicts["beetles spared per 100 a day"].runs == count - 1


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    place = tmp_path_factory.mktemp("compared")
    (place / "demo.toml").write_text(EXPERIMENT)
    write_worlds(place / "shed.csv", PROFILE)
    words = ("compare", "demo.toml", "--profile", "shed.csv", "--worlds", 5, "--replicates", 2)
    code, out, _ = cli(*words, cwd=place, faults="eggs=eaten")
    assert code == 0
    return place / "results/demo-shed", out


def test_compare_lives_every_world_as_often_as_asked(compared):
    folder, out = compared
    runs = pd.read_parquet(folder / "runs.parquet")
    assert sorted(runs["replicate"].unique()) == list(range(1, 11))
    table = pd.read_parquet(folder / "over_worlds.parquet")
    assert list(table["currency"]) == list(CURRENCIES) and not table["of_single_pairs"].any()
    # The fake model: the difference of a pair hangs on the eggs eaten in its world.
    wide = runs.pivot(index="replicate", columns="policy", values="yield_g_per_day")
    gains = (wide["short"] - wide["long"]).to_numpy().reshape(2, 5).mean(axis=0)
    assert np.corrcoef(gains, PROFILE.draws[:5, 0])[0, 1] > 0.9
    assert "Over 5 worlds:" in " ".join(out.split())


@pytest.mark.parametrize("count", [0, 41])
def test_more_worlds_than_there_are_are_refused(count, tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    write_worlds(tmp_path / "shed.csv", PROFILE)
    words = ("compare", "demo.toml", "--profile", "shed.csv", "--worlds", count)
    code, out, err = cli(*words, cwd=tmp_path)
    assert (code, out, len(err)) == (2, "", 1)
    assert "--worlds" in err[0] and "1 to 40" in err[0]
    assert not (tmp_path / "results").exists()
