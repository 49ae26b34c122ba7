"""The assumptions a verdict leans on: which values are moved, how far, and how they are ranked."""

from __future__ import annotations

import json
import shutil
from zlib import crc32

import numpy as np
import pandas as pd
import pytest
from commandline import EXPERIMENT, cli

from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.colony.daily import DAILY_COLUMNS
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.measuring.catalogue import catalogue as measures
from colony_sim.measuring.catalogue import run_measures
from colony_sim.studies.comparison.assumptions import (
    STAGES,
    compared,
    find_assumptions,
    skipped,
    uncertain,
)
from colony_sim.studies.points import Window, in_order, range_end, window
from colony_sim.studies.repeat import first_difference

PAIR = ("short", "long")
#: Enough for every stage; the formula below is slow.
SOME = [entry for entry in uncertain() if entry.key.startswith(("egg.", "predation."))]
SOME += [entry for entry in uncertain() if entry.key == "fecundity.peak_eggs_per_day"]


@pytest.fixture
def plan(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    return expand(load(tmp_path / "demo.toml"))


class Formula:
    """Stands in for a PointRunner: the yield of `short` is a formula of the values moved."""

    def __init__(self, difference, noise: float = 0.0) -> None:
        self.difference, self.noise, self.asked = difference, noise, []

    def run(self, plan, points, seeds, span, **_):
        rows = []
        for number, point in enumerate(points):
            self.asked += [(tuple(point), seed) for seed in seeds]
            p = plan.policies[0].parameters.with_values(point, "formula")
            for seed in seeds:
                rng = np.random.default_rng([seed, crc32(repr(point).encode())])
                shared = dict.fromkeys(measures(), 5.0)
                extra = self.difference(p) + self.noise * rng.normal()
                for policy, value in (("short", 10.0 + extra), ("long", 10.0)):
                    rows.append({"point": number, "policy": policy, "seed": seed,
                                 "died_out_day": pd.NA, **shared,
                                 "yield_g_per_day": value})  # fmt: skip
        return pd.DataFrame(rows)


def test_every_uncertain_biology_value_is_moved_and_no_other():
    keys = {entry.key for entry in uncertain()}
    for entry in catalogue().values():
        sure = entry.basis == "published" and entry.confidence == "high"
        ranged = entry.low is not None
        assert (entry.key in keys) == (entry.group == "biology" and ranged and not sure)
    assert "predation.adult_egg" in keys and "fecundity.full_from_days" not in keys


def test_an_end_that_clashes_with_another_key_is_drawn_in():
    default = Parameters.default()
    assert range_end(default, "egg.viability_full_c", "high") == 29.0
    tight = default.with_values({"egg.viability_none_c": 28.0}, "test")
    end = range_end(tight, "egg.viability_full_c", "high")
    assert 27.9 < end < 28.0
    tight.with_values({"egg.viability_full_c": end}, "test")
    wanted = {"egg.viability_full_c": 29.0, "egg.mass_mg": 0.7}
    drawn = in_order(tight, wanted)
    tight.with_values(drawn, "test")
    # Both are drawn in by one share, so that the direction of the move stays.
    share = (drawn["egg.viability_full_c"] - 27.0) / 2.0
    assert share == pytest.approx((drawn["egg.mass_mg"] - 0.3) / 0.4)
    assert 0.45 < share <= 0.5


def test_ranking_signs_and_stages(plan):
    def difference(p):
        return (1.0 - 800.0 * (p["predation.adult_egg"] - 0.0058)
                + 0.1 * (p["fecundity.peak_eggs_per_day"] - 14.0)
                - 4.0 * (p["egg.viable_share"] - 0.83))  # fmt: skip

    runner = Formula(difference)
    found = find_assumptions(plan, PAIR, runner, entries=SOME)
    ranked = found.table.drop_duplicates("key")["key"].tolist()
    assert ranked[:3] == ["predation.adult_egg", "fecundity.peak_eggs_per_day", "egg.viable_share"]
    first = found.table[found.table["rank"] == 1].set_index("end")
    assert first.loc["high", "difference"] == pytest.approx(1.0 - 800 * 0.0022)
    assert first["sign_turns"].to_dict() == {"low": False, "high": True}
    assert first.loc["high", "state"] == "second ahead"
    rest = found.table[found.table["rank"] > 3]
    assert (rest["change"] == 0).all() and not rest["sign_turns"].any()
    assert f"the verdict flips: {PAIR[1]} is ahead" in found.text
    assert "1. Hazard of an egg for each adult per dm2 (predation.adult_egg = 0.0058" in found.text
    assert "Values that turn the mean's sign when moved alone: predation.adult_egg." in found.text
    assert catalogue()["predation.adult_egg"].source in found.text
    # More seeds only for those that lead.
    seeds = 1 + sum(more for _, more in STAGES)
    assert set(first["seeds"]) == {seeds}
    assert set(found.table["seeds"]) == {1, 1 + STAGES[0][1], seeds}
    assert (found.table[found.table["seeds"] == seeds]["rank"] <= STAGES[1][0]).all()


def test_bounds_that_do_not_act_are_run_as_a_group_and_those_that_act_one_by_one(plan):
    runner = Formula(lambda p: 1.0)
    still = find_assumptions(plan, PAIR, runner, entries=SOME)
    lethal = still.table["key"].str.contains("lethal_")
    assert not still.table.loc[lethal, "acts"].any() and still.table.loc[~lethal, "acts"].any()
    assert not any(len(point) == 1 and "lethal_" in point[0] for point, _ in runner.asked)
    assert "None of them changes it." in still.text
    runner = Formula(lambda p: 1.0 - 0.1 * (p["egg.lethal_high_c"] - 38.5))
    acting = find_assumptions(plan, PAIR, runner, entries=SOME)
    assert acting.table.iloc[0]["key"] == "egg.lethal_high_c"
    assert sum(point == ("egg.lethal_high_c",) for point, _ in runner.asked) > 2


def test_noise_alone_turns_no_verdict_and_is_in_the_standard_error(plan):
    found = find_assumptions(plan, PAIR, Formula(lambda p: 5.0, noise=0.2), entries=SOME)
    assert not found.table["sign_turns"].any()
    acting = found.table[found.table["acts"]]
    assert (acting["change"].abs() < 5 * acting["change_se"]).all()
    assert acting["change_se"].between(0.02, 0.6).all()


def test_the_pair_is_the_two_policies_or_the_best_two(plan):
    rows = [("a", 1.0), ("b", 3.0), ("c", 2.0), ("d", np.nan)]
    summary = pd.DataFrame(rows, columns=["policy", "mean"]).assign(measure="yield_g_per_day")
    assert compared(plan, summary) == ("long", "short")
    policies = tuple(type(plan.policies[0])(name, plan.policies[0].parameters) for name, _ in rows)
    many = type(plan)(**{**plan.__dict__, "policies": policies})
    assert compared(many, summary) == ("b", "c")
    assert compared(many, summary[summary["policy"] == "a"]) is None


def test_windows_hold_whole_handling_periods_and_days_after_the_end_count(plan):
    span = window(plan, 252, 252)
    assert (span.warm_up, span.days) == (252, 504)  # 84 d: 14, 21, 7 and 4 d together
    assert window(plan, 252, 252, 300) == Window(48, 300)
    assert window(plan, 252, 252, 30) == Window(0, 30)
    days = np.arange(1, 11)
    daily = pd.DataFrame({"day": days, **dict.fromkeys(list(DAILY_COLUMNS)[1:], 1.0)})
    found = run_measures(daily, 5, 25)
    assert found["yield_g_per_day"] == pytest.approx(5 / 20)
    assert found["adult_losses_per_100_per_day"] == pytest.approx(300.0)


def test_compare_lists_them_and_repeat_finds_them_again(tmp_path):
    text = EXPERIMENT.replace("days = 700", "days = 60").replace("replicates = 4", "replicates = 2")
    (tmp_path / "demo.toml").write_text(text)
    code, out, err = cli("compare", "demo.toml", "--assumptions", cwd=tmp_path)
    assert (code, err) == (0, [])
    folder = tmp_path / "results/demo"
    table = pd.read_parquet(folder / "assumptions.parquet")
    assert table["key"].nunique() == len(uncertain()) and len(pd.read_csv(
        folder / "assumptions.csv")) == len(table)  # fmt: skip
    # The fake model looks at no biology: nothing can change.
    assert (table["change"] == 0).all()
    assert "None of them changes it." in (folder / "verdict.txt").read_text()
    assert "None of them changes it." in " ".join(out.split())
    facts = json.loads((folder / "manifest.json").read_text())
    assert facts["assumptions"] == {"looked_for": True, "why_not": ""}
    assert "assumptions.parquet" in facts["files"]
    assert cli("repeat", "results/demo", cwd=tmp_path)[0] == 0
    other = tmp_path / "other"
    shutil.copytree(folder, other)
    assert first_difference(other, folder) is None
    table.assign(change=1.0).to_parquet(other / "assumptions.parquet")
    assert first_difference(other, folder).startswith("assumptions.parquet: ")


@pytest.mark.parametrize("option", ["--quick", "--no-assumptions"])
def test_without_them_the_verdict_says_so(tmp_path, option):
    text = EXPERIMENT.replace("days = 700", "days = 30").replace("replicates = 4", "replicates = 2")
    (tmp_path / "demo.toml").write_text(text)
    code, out, _ = cli("compare", "demo.toml", option, cwd=tmp_path)
    assert code == 0 and skipped(option) in " ".join(out.split())
    folder = tmp_path / ("results/demo-quick" if option == "--quick" else "results/demo")
    assert skipped(option) in (folder / "verdict.txt").read_text()
    assert not (folder / "assumptions.parquet").exists()
    assert cli("repeat", folder, cwd=tmp_path)[0] == 0
