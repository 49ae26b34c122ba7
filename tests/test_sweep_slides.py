"""The slides of a sweep say what its tables say, no more than the intervals hold, readably."""

from __future__ import annotations

import json
import math
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_up_sweep import FAILS, MANY, YIELD, noise, swept
from pictures import as_kept, drawn, readable
from scipy import stats
from test_figures import texts

import colony_sim
from colony_sim.errors import InputError
from colony_sim.figures import heat
from colony_sim.figures.slide import Slide, write
from colony_sim.statistics.best import leading
from colony_sim.statistics.pointwise import ranking
from colony_sim.studies.sweep import run as sweep_module
from colony_sim.studies.sweep import slides as sweep_slides
from colony_sim.studies.sweep import stored as stored_sweep
from colony_sim.studies.sweep import titles as sweep_words
from colony_sim.studies.sweep.effects import difference_effects, effects
from colony_sim.studies.sweep.titles import AIMS
from colony_sim.talk import deck
from colony_sim.words.estimate import number

ROTATION, FRACTION, EGGS = "rotation.interval_days", "harvest.fraction", "predation.adult_egg"


def curve(task, rng):
    """A best value of 14 days that 21 days tie with; at 7 days every run fails."""
    days = task.scenario.parameters[ROTATION]
    if days == 7:
        return FAILS
    status = "unsettled" if days == 28 and task.scenario.seed % 2 else "settled"
    level = {14: 8.0, 21: 7.95, 28: 6.0, 35: 5.0}[days] + 3 * rng.normal()
    own = noise(task, 0.1, ROTATION)
    return {"status": status, "yield": level + own, "losses": 1.7 + own}


def pair(task, rng):
    """The first policy is ahead by 1.2, 0.6, 0 and -0.6 as the fraction rises; some runs fail."""
    p = task.scenario.parameters
    ahead = {0.5: 1.2, 0.6: 0.6, 0.7: 0.0, 0.8: -0.6}[p[FRACTION]] * (p[ROTATION] == 21)
    if p[FRACTION] == 0.8 and p[ROTATION] == 14 and task.scenario.seed % 5 == 0:
        return FAILS
    own = noise(task, 0.05, ROTATION, FRACTION)
    return {"yield": 5 + 4 * p[FRACTION] + ahead + 2 * rng.normal() + own, "losses": 1.7 + own}


def grid(task, rng):
    """Two keys: ahead in one corner, behind in another, died out or failed in a third."""
    p = task.scenario.parameters
    ahead = (p["rack.bins"] - 9) * (p[EGGS] - 0.01) * 20 * (p[ROTATION] == 21)
    if p["rack.bins"] == 6 and p[EGGS] == 0.0:
        return {"status": "died_out"}
    if p["rack.bins"] == 6 and p[EGGS] == 0.01 and p[ROTATION] == 21:
        return FAILS
    own = noise(task, 0.15, ROTATION, "rack.bins", EGGS)
    return {"yield": 10 - 100 * p[EGGS] + p["rack.bins"] / 20 + ahead + rng.normal() + own,
            "losses": 1.7 + own}  # fmt: skip


def many(task, rng):
    """Yield hangs on the fraction and a little on eggs eaten; the policies differ by 1."""
    p = task.scenario.parameters
    level = 12 * p[FRACTION] - 20 * p[EGGS] + (p[ROTATION] == 21)
    own = noise(task, 0.1, ROTATION, FRACTION, EGGS)
    return {"yield": level + rng.normal() + own, "losses": 1.7 + own}


def five(task, rng):
    """Five policies, of which one is first at one value and another dies out at the other."""
    p = task.scenario.parameters
    days = p[ROTATION]
    if days == 400 and p[FRACTION] == 0.9:
        return {"status": "died_out"}
    level = {14: 8.0, 21: 6.0, 30: 8.0, 28: 5.0, 400: 1.0}[days] + (days == 30) * (
        p[FRACTION] == 0.9
    )
    return {"yield": level + rng.normal() + noise(task, 0.05, ROTATION, FRACTION),
            "losses": 1 + days / 100}  # fmt: skip


def words(task, rng):
    """Keys that are words, yes or no."""
    p = task.scenario.parameters
    level = 5 + p["pupae.isolate"] + 2 * (p["moisture.start"] == "always")
    return {"yield": level + rng.normal() + noise(task, 0.05, ROTATION, "pupae.isolate")}


CASES = {
    "curve": (curve, {"vary": [f"{ROTATION}=7:35:7"], "replicates": 8}),
    "pair": (pair, {"vary": [f"{FRACTION}=0.5:0.8:0.1"], "replicates": 10}),
    "grid": (grid, {"vary": ["rack.bins=6,9,12,15", f"{EGGS}=0,0.01,0.02"], "replicates": 6}),
    "lhs": (many, {"vary": [f"{FRACTION}=0.5:0.9", f"{EGGS}=0:0.02", "egg.mass_mg=0.3:0.6"],
                   "design": "lhs", "points": 20, "replicates": 4}),
    "factors": (many, {"vary": [f"{FRACTION}=0.5,0.9", f"{EGGS}=0,0.01,0.02",
                                "harvest.interval_days=7,14"], "replicates": 5}),
    "five": (five, {"vary": [f"{FRACTION}=0.5,0.9"], "text": MANY, "replicates": 6}),
    "five_grid": (five, {"vary": [f"{FRACTION}=0.5,0.9", "rack.bins=6,9"], "text": MANY,
                         "replicates": 4}),
    "fine": (many, {"vary": [f"{FRACTION}=0.05:1:0.05", f"{EGGS}=0,0.01"],
                    "replicates": 2}),
    "words": (words, {"vary": ["moisture.start=never,skins,always"], "replicates": 4}),
    "gone": (lambda task, rng: {"status": "died_out"},
             {"vary": [f"{FRACTION}=0.5,0.6"], "replicates": 3}),
}  # fmt: skip


@pytest.fixture(scope="module", autouse=True)
def place(tmp_path_factory):
    """One folder for the sweeps of this module."""
    Made.root = tmp_path_factory.mktemp("sweeps")
    yield
    for cached in (made, slides):
        cached.cache_clear()


class Made:
    """Where sweeps are made."""

    root: Path


@cache
def made(case: str) -> Path:
    rule, options = CASES[case]
    return swept(Made.root / case, rule, **options)


@cache
def slides(case: str) -> dict[str, Slide]:
    return {slide.name: slide for slide in sweep_slides.slides(made(case))}


def table(case: str, name: str, measure: str = YIELD) -> pd.DataFrame:
    rows = pd.read_parquet(made(case) / f"{name}.parquet")
    return rows[rows["measure"] == measure].reset_index(drop=True)


# ---- Every slide

NAMES = {
    "curve": ["sweep-yield", "sweep-losses"],
    "pair": ["sweep-yield", "sweep-losses"],
    "grid": ["sweep-yield-difference", "sweep-yield", "sweep-losses-difference", "sweep-losses"],
    "lhs": ["sweep-yield", "sweep-yield-difference", "sweep-losses", "sweep-losses-difference"],
    "factors": ["sweep-yield", "sweep-yield-difference", "sweep-losses", "sweep-losses-difference"],
    "five": ["sweep-yield", "sweep-losses"],
    "five_grid": ["sweep-yield-difference", "sweep-yield", "sweep-losses-difference",
                  "sweep-losses"],
    "fine": ["sweep-yield-difference", "sweep-yield", "sweep-losses-difference", "sweep-losses"],
    "words": ["sweep-yield", "sweep-losses"],
    "gone": ["sweep-yield", "sweep-losses"],
}  # fmt: skip


@pytest.mark.parametrize(
    ("case", "name"),
    [
        (case, name)
        for case, names in NAMES.items()
        for name in names
        if "losses" not in name and (case, name) != ("fine", "sweep-yield-difference")
    ]
    + [("pair", "sweep-losses"), ("grid", "sweep-losses-difference"), ("lhs", "sweep-losses")],
)
def test_slides_can_be_read_and_tell_where_they_come_from(case, name):
    assert list(slides(case)) == NAMES[case]
    slide = slides(case)[name]
    figure = readable(slide)
    said = " ".join(t.get_text() for t in texts(figure))
    runs = len(pd.read_parquet(made(case) / "sweep.parquet"))
    told = ("demo-sweep", "seed 5", f"{runs} runs", "700 days", "invented scenario")
    assert all(part in said for part in told) and slide.runs == f"{runs} runs"
    unit = "g/day" if "yield" in name else "per 100 adults per day"
    assert unit in " ".join(said.split()) and set(slide.data["unit"]) == {unit}
    assert len(slide.data) and not slide.data.columns.duplicated().any()


def test_axes_have_names_and_units():
    axes = drawn(slides("pair")["sweep-yield"]).axes
    assert [a.get_ylabel() for a in axes[:2]] == ["g/day", "g/day"]
    assert axes[1].get_xlabel() == "Share harvested (share)"
    said = [t.get_text() for t in texts(drawn(slides("grid")["sweep-yield-difference"]))]
    assert {"Bins in the rack (bins)", "Egg eating by beetles (dm²/adult/day)"} <= set(said)
    below = [a.get_xlabel() for a in drawn(slides("factors")["sweep-yield"]).axes]
    assert sorted(below) == ["days – no effect shown", "dm²/adult/day", "share"]


# ---- What is best, and what the runs tell from it


def test_the_best_and_its_ties_are_those_of_the_ranking():
    rng = np.random.default_rng(4)
    for more in (True, False):
        means = np.array([0.0, 0.3, 1.0, 1.1, 5.0])
        values = means[:, None] + rng.normal(size=(1, 9)) + 0.3 * rng.normal(size=(5, 9))
        values[1, 3:] = np.nan
        values[4, :] = np.nan if more else values[4, :]
        found = leading(values, more)
        rows = [{"point": 1, "policy": f"p{i}", "seed": s, "y": v}
                for i, row in enumerate(values) for s, v in enumerate(row)]  # fmt: skip
        names = [f"p{i}" for i in range(5)]
        expected = ranking(pd.DataFrame(rows), names, "y", more).set_index("policy")
        assert f"p{found.best}" == expected.index[0]
        for i, name in enumerate(names):
            if name in expected.index:
                assert found.ties[i] == expected.loc[name, "ties_with_first"], name
                p = expected.loc[name, "p_holm"]
                assert found.p_holm[i] == pytest.approx(p, nan_ok=True)
            else:
                assert not found.ties[i] and math.isnan(found.means[i])
        assert found.family == expected["holm_family"].max()
    assert leading(np.full((3, 2), np.nan)) is None


def test_values_that_never_differ_are_ties_and_equal_leads_need_seeds():
    same = leading(np.tile(np.arange(8.0), (3, 1)))
    assert same.ties.all() and same.best == 0
    shifted = np.tile(np.arange(8.0), (2, 1)) + [[0.0], [1.0]]
    assert not leading(shifted).ties[0]  # sign-flip test of 8 equal differences: p = 2 / 256
    assert leading(shifted[:, :4]).ties[0]  # of 4: p = 2 / 16


def test_the_title_of_a_curve_weakens_where_the_runs_do_not_tell():
    title = slides("curve")["sweep-yield"].title
    assert title.startswith("Days between moves of beetles: yield is highest at ")
    assert title.endswith("; at 7 days no value")
    summary = table("curve", "summary").set_index("point")
    best = summary["mean"].idxmax()
    days = pd.read_parquet(made("curve") / "points.parquet").set_index("point")[ROTATION]
    assert f"at {days[best]} days, {number(summary.loc[best, 'mean'])} g/day" in title
    assert "but the runs do not tell the rest of 14 to 21 days from it" in title
    # With the noise of the runs gone the same means are told apart.
    sweep = stored_sweep.read(made("curve"))
    runs = sweep.runs.copy()
    at = runs["point"].map(days)
    calm = at.map({14: 8.0, 21: 7.95, 28: 6.0, 35: 5.0}) + runs["seed"] % 7
    calm += 1e-4 * np.random.default_rng(1).normal(size=len(runs))
    runs[YIELD] = calm.where(runs["status"] != "failed")
    clear = sweep_words.level_title(
        stored_sweep.StoredSweep(**{**vars(sweep), "runs": runs}), AIMS[YIELD], "short"
    )
    assert "at 14 days" in clear and "told apart from every other value" in clear
    losses = slides("curve")["sweep-losses"].title
    assert losses.startswith("Days between moves of beetles: the runs put none of 4 values ahead")


def test_what_is_said_of_a_curve_equals_the_table():
    slide = slides("curve")["sweep-yield"]
    summary = table("curve", "summary").set_index("point")
    low, high = summary["mean"].min(), summary["mean"].max()
    assert f"The means go from {number(low)} g/day at 35 days to {number(high)} g/day" in slide.say
    for row in summary.dropna(subset=["mean"]).itertuples():
        assert f"{number(row.mean)} (95 % interval " in slide.alt
    assert "no value at 7" in slide.alt
    runs = pd.read_parquet(made("curve") / "sweep.parquet")["status"].value_counts()
    assert f"{runs['unsettled']} were not steady, {runs['failed']} failed of 40" in slide.caveat


def test_no_value_is_said():
    # Colonies that died out harvest nothing, which is a value; they have no losses per beetle.
    assert slides("gone")["sweep-yield"].title == (
        "The runs separate “long” from “short” in yield at none of 2 values of share harvested"
    )
    slide = slides("gone")["sweep-losses"]
    assert slide.title == (
        "The runs cannot compare “long” with “short” at any of the 2 values of share harvested"
    )
    assert "no value at any of 2 values" in slide.say


# ---- Two policies along one key


def holm_by_hand(p: list[float]) -> list[float]:
    """Step down, one after the other."""
    order = sorted((i for i in range(len(p)) if not math.isnan(p[i])), key=lambda i: p[i])
    adjusted, least = [math.nan] * len(p), 0.0
    for place, i in enumerate(order):
        least = max(least, min(1.0, (len(order) - place) * p[i]))
        adjusted[i] = least
    return adjusted


def told_by_hand(case: str, measure: str = YIELD) -> pd.DataFrame:
    """Which points of a sweep of two policies are separated, from the runs alone."""
    runs = pd.read_parquet(made(case) / "sweep.parquet")
    wide = runs.pivot(index=["point", "seed"], columns="policy", values=measure)
    rows = {}
    for point, d in (wide["long"] - wide["short"]).groupby(level="point"):
        d = d.dropna().to_numpy()
        if len(d) > 1:
            rows[point] = (float(d.mean()), float(stats.ttest_1samp(d, 0.0).pvalue))
    found = pd.DataFrame(rows, index=["difference", "p"]).T
    # The t interval leaves out 0 where p is below 0.05, and Holm's p is the larger.
    return found.assign(told=np.array(holm_by_hand(found["p"].tolist())) < 0.05)


def test_the_title_of_two_policies_counts_what_is_separated():
    by_hand = told_by_hand("pair")
    more = int((by_hand["told"] & (by_hand["difference"] > 0)).sum())
    less = int((by_hand["told"] & (by_hand["difference"] < 0)).sum())
    assert (more, less) == (2, 1)
    assert slides("pair")["sweep-yield"].title == (
        "“long” yields more than “short” at 2 of 4 values of share harvested, less at 1; 1 not "
        "separated"
    )
    assert "Holm over all 4 comparisons of yield" in slides("pair")["sweep-yield"].caveat
    assert slides("pair")["sweep-losses"].title == (
        "The runs separate “long” from “short” in adult losses at none of 4 values of share "
        "harvested"
    )


def test_the_title_weakens_with_the_p_values_and_the_intervals():
    sweep = stored_sweep.read(made("pair"))
    for change in ({"p_t": 0.04}, {"low": -9.0, "high": 9.0}):
        weak = stored_sweep.StoredSweep(
            **{**vars(sweep), "differences": sweep.differences.assign(**change)}
        )
        assert "at none of 4" in sweep_words.against(weak, AIMS[YIELD], 40)


def test_curves_bands_and_hollow_marks_are_those_of_the_tables():
    figure = drawn(slides("pair")["sweep-yield"])
    main, pairs = figure.axes[:2]
    summary = table("pair", "summary")
    for i, policy in enumerate(("short", "long")):
        rows = summary[summary["policy"] == policy]
        lines = [line for line in main.lines
                 if line.get_linestyle() != "None" and len(line.get_xdata()) == 4]  # fmt: skip
        np.testing.assert_allclose(lines[i].get_ydata(), rows["mean"])
        np.testing.assert_allclose(lines[i].get_xdata(), [0.5, 0.6, 0.7, 0.8])
    bands = [c for c in main.collections if type(c).__name__ == "FillBetweenPolyCollection"]
    assert len(bands) == 2
    edges = bands[0].get_paths()[0].vertices
    rows = summary[summary["policy"] == "short"]
    assert edges[:, 1].min() == pytest.approx(rows["low"].min())
    assert edges[:, 1].max() == pytest.approx(rows["high"].max())
    by_hand = told_by_hand("pair")
    hollow = [line for line in pairs.lines if line.get_markerfacecolor() == "white"]
    drawn_at = sorted(y for line in hollow for y in line.get_ydata())
    assert drawn_at == pytest.approx(sorted(by_hand.loc[~by_hand["told"], "difference"]))
    dots = [c for c in main.collections if type(c).__name__ == "PathCollection"]
    runs = pd.read_parquet(made("pair") / "sweep.parquet")[YIELD].dropna()
    shown = np.sort(np.concatenate([c.get_offsets()[:, 1] for c in dots]))
    np.testing.assert_allclose(shown, np.sort(runs))


def test_runs_that_failed_or_were_not_steady_are_counted_below_the_curve():
    strip = drawn(slides("curve")["sweep-yield"]).axes[1]
    shown = {
        t.get_position()[0]: t.get_text() for t in strip.texts if t.get_text()[:1] in ("!", "○")
    }
    runs = pd.read_parquet(made("curve") / "sweep.parquet")
    unsettled = int((runs["status"] == "unsettled").sum())
    assert shown == {7: "!8", 28: f"○{unsettled}"}


def test_the_data_of_a_curve_are_what_is_drawn():
    data = slides("pair")["sweep-yield"].data
    summary, pairs = table("pair", "summary"), table("pair", "differences")
    means = data[data["mark"] == "mean of runs"]
    np.testing.assert_allclose(means["value"], summary["mean"])
    np.testing.assert_allclose(means["low"], summary["low"])
    marks = data[data["mark"] == "paired difference"]
    np.testing.assert_allclose(marks["value"], pairs["difference"])
    assert marks["separated"].tolist() == told_by_hand("pair")["told"].tolist()
    runs = pd.read_parquet(made("pair") / "sweep.parquet")[YIELD].dropna()
    assert sorted(data.loc[data["mark"] == "run", "value"]) == sorted(runs)


# ---- More than two policies


def test_a_policy_is_put_first_only_where_the_ranking_has_no_tie():
    rank = pd.read_parquet(made("five") / "ranking.parquet")
    alone = rank.groupby("point").filter(lambda here: here["ties_with_first"].sum() == 1)
    first = alone[alone["rank"] == 1]
    assert first["policy"].tolist() == ["whenever there is time for it"]
    assert slides("five")["sweep-yield"].title == (
        "“whenever there is time for it” yields most at 1 of 2 values of "
        "share harvested; no policy is put first at 1"
    )
    assert "all pairs of policies at that point" in slides("five")["sweep-yield"].caveat


# ---- Maps of two keys


def test_cells_are_hatched_where_they_are_not_separated():
    slide = slides("grid")["sweep-yield-difference"]
    axes = drawn(slide).axes[0]
    by_hand = told_by_hand("grid")
    points = pd.read_parquet(made("grid") / "points.parquet").set_index("point")
    columns, rows = [6, 9, 12, 15], [0.0, 0.01, 0.02]
    expected = {
        (columns.index(points.loc[p, "rack.bins"]), rows.index(points.loc[p, EGGS]))
        for p in by_hand.index[~by_hand["told"]]
    }
    hatched = {box.get_xy() for box in axes.patches if box.get_hatch() == heat.HATCH}
    assert hatched == expected and 0 < len(hatched) < len(by_hand)
    more = int((by_hand["told"] & (by_hand["difference"] > 0)).sum())
    less = int((by_hand["told"] & (by_hand["difference"] < 0)).sum())
    order = ("long", more, "short", less) if more > less else ("short", less, "long", more)
    assert slide.title == (
        f"“{order[0]}” yields more than “{order[2]}” at {order[1]} of 12 combinations of bins in "
        f"the rack and egg eating by beetles, less at {order[3]}; {len(hatched)} not separated; 1 "
        "could not be compared"
    )
    cells = {t.get_position(): t.get_text() for t in axes.texts}
    assert cells[(0.5, 0.5)] == "0×" and cells[(0.5, 1.5)] == "○"
    for p, row in by_hand.iterrows():
        where = (columns.index(points.loc[p, "rack.bins"]) + 0.5,
                 rows.index(points.loc[p, EGGS]) + 0.5)  # fmt: skip
        assert float(cells[where].replace("−", "-").rstrip("×")) == pytest.approx(
            row["difference"], abs=6e-3
        )


def test_the_best_cell_and_its_ties_are_counted():
    slide = slides("grid")["sweep-yield"]
    summary = table("grid", "summary")
    best = summary.loc[summary["mean"].idxmax()]
    assert f"with “{best['policy']}” at bins in the rack = 15" in slide.title
    assert f": {number(best['mean'])} g/day" in slide.title
    runs = pd.read_parquet(made("grid") / "sweep.parquet").dropna(subset=[YIELD])
    cells = {
        name: here.set_index("seed")[YIELD] for name, here in runs.groupby(["point", "policy"])
    }
    pairs, p = list(combinations(cells, 2)), []
    for one, other in pairs:
        both = pd.concat([cells[one], cells[other]], axis=1).dropna()
        p.append(float(stats.ttest_rel(both.iloc[:, 0], both.iloc[:, 1]).pvalue))
    first = (best["point"], best["policy"])
    ties = sum(first in pair and p >= 0.05
               for pair, p in zip(pairs, holm_by_hand(p), strict=True))  # fmt: skip
    assert 0 < ties < len(cells) - 1
    noun = "cell" if ties == 1 else "cells"
    assert f"; the runs do not tell {ties} other {noun} from it" in slide.title


# ---- Effects of many keys


def test_effects_in_a_factorial_design_are_means_over_complete_blocks():
    sweep = stored_sweep.read(made("factors"))
    found = effects(sweep, YIELD)
    runs = sweep.runs.join(sweep.points, on="point")
    for key in (FRACTION, EGGS):
        for row in found.levels[found.levels["key"] == key].itertuples():
            here = runs[(runs["policy"] == row.policy) & (runs[key] == row.low_value)]
            assert row.mean == pytest.approx(here[YIELD].mean())
            seeds = here.groupby("seed")[YIELD].mean()
            half = stats.t.ppf(0.975, 4) * seeds.std(ddof=1) / math.sqrt(5)
            assert row.high - row.mean == pytest.approx(half)
    shown = {key: found.shown(key) for key in found.keys}
    assert shown == {FRACTION: True, EGGS: True, "harvest.interval_days": False}
    assert found.keys[0] == FRACTION  # 4.8 g/day against 0.4
    # A run that is missing takes its whole block along, at every level of the key alike.
    lost = sweep.runs.copy()
    spot = (
        (lost["policy"] == "short") & (lost["point"] == 1) & (lost["seed"] == lost["seed"].iloc[0])
    )
    lost.loc[spot, YIELD] = np.nan
    less = effects(stored_sweep.StoredSweep(**{**vars(sweep), "runs": lost}), YIELD)
    blocks = less.levels[(less.levels["key"] == FRACTION) & (less.levels["policy"] == "short")]
    assert blocks["blocks"].tolist() == [29, 29]


def test_effects_in_a_random_design_are_means_of_bins():
    sweep = stored_sweep.read(made("lhs"))
    found = effects(sweep, YIELD)
    assert {key: found.shown(key) for key in found.keys} == {
        FRACTION: True, EGGS: False, "egg.mass_mg": False,
    }  # fmt: skip
    rows = found.levels[(found.levels["key"] == FRACTION) & (found.levels["policy"] == "short")]
    assert rows["n"].tolist() == [5, 5, 5, 5] and found.family == 6
    points = sweep.points.sort_values(FRACTION).index
    runs = sweep.runs[sweep.runs["policy"] == "short"]
    for i, row in enumerate(rows.itertuples()):
        inside = runs[runs["point"].isin(points[5 * i : 5 * i + 5])]
        means = inside.groupby("point")[YIELD].mean()
        assert row.mean == pytest.approx(means.mean())
        half = stats.t.ppf(0.975, 4) * means.std(ddof=1) / math.sqrt(5)
        assert row.low == pytest.approx(row.mean - half)
        assert row.low_value == sweep.points.loc[points[5 * i], FRACTION]
    title = slides("lhs")["sweep-yield"].title
    assert title.startswith("Yield changes with share harvested: from ")
    assert title.endswith("; none is shown of 2 others")
    low, high = rows["mean"].min(), rows["mean"].max()
    assert f"from {number(low)} g/day at " in title and f" to {number(high)} at " in title


def test_the_difference_of_policies_that_is_the_same_everywhere_has_no_effect():
    for case in ("lhs", "factors"):
        sweep = stored_sweep.read(made(case))
        found = difference_effects(sweep, YIELD)
        pairs = table(case, "differences")
        assert found.levels["mean"].between(0.8, 1.2).all()
        weights = found.levels[found.levels["key"] == FRACTION]
        whole = np.average(weights["mean"], weights=weights["n"])
        assert whole == pytest.approx(pairs["difference"].mean(), abs=1e-9)
        assert slides(case)["sweep-yield-difference"].title == (
            "The sweep shows no effect on the difference in yield of any of the 3 keys varied"
        )


def test_dots_and_data_of_a_random_design_are_the_means_of_the_points():
    slide = slides("lhs")["sweep-yield"]
    summary = table("lhs", "summary")
    dots = slide.data[(slide.data["mark"] == "mean of a point") & (slide.data["key"] == FRACTION)]
    assert sorted(dots["value"]) == pytest.approx(sorted(summary["mean"]))
    axes = drawn(slide).axes[0]
    shown = np.concatenate([c.get_offsets()[:, 1] for c in axes.collections
                            if type(c).__name__ == "PathCollection"])  # fmt: skip
    assert sorted(shown) == pytest.approx(sorted(summary["mean"]))


# ---- Files


@pytest.mark.parametrize("case", ["pair", "lhs"])
def test_drawn_at_the_end_is_drawn_from_the_folder_byte_for_byte(case, tmp_path):
    rule, options = CASES[case]
    folder = swept(tmp_path, rule, draw=sweep_slides.draw, **options)
    files = json.loads((folder / "manifest.json").read_text())["files"]
    assert {"sweep.png", "sweep.svg"} <= set(files)
    ended = {kind: (folder / f"sweep.{kind}").read_bytes() for kind in ("png", "svg")}
    again = deck.deck(folder)
    first = again[0]
    assert [slide.name for slide in again] == NAMES[case]
    png, svg, csv = write(first, tmp_path)
    assert png.read_bytes() == ended["png"] and svg.read_bytes() == ended["svg"]
    back = pd.read_csv(csv)
    assert len(back) == len(first.data) and list(back.columns) == list(first.data.columns)


def test_a_sweep_with_too_many_runs_is_told_in_tables_alone(monkeypatch):
    monkeypatch.setattr(stored_sweep, "MOST_RUNS", 10)
    assert sweep_slides.draw(made("pair")) == []
    with pytest.raises(InputError, match="runs to draw = 80; allowed: at most 10"):
        sweep_slides.slides(made("pair"))


def test_a_damaged_folder_is_one_line(tmp_path):
    folder = swept(tmp_path, pair, **CASES["pair"][1])
    (folder / "summary.parquet").unlink()
    (folder / "points.parquet").unlink()
    with pytest.raises(InputError, match="allowed: those of a sweep") as caught:
        sweep_slides.slides(folder)
    assert "\n" not in caught.value.line


def test_the_library_and_the_model_itself(tmp_path, monkeypatch):
    from inline import Inline

    from colony_sim.running.task import run_task

    text = Path("experiments/rotation.toml").read_text(encoding="utf-8")
    for old, new in (("days = 1200", "days = 60"), ("breeders = 100", "breeders = 20"),
                     ("larvae = 25000", "larvae = 0")):  # fmt: skip
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "tiny.toml").write_text(text, encoding="utf-8")
    monkeypatch.setattr(sweep_module, "open_executor", lambda *_: Inline(run_task))
    result = colony_sim.sweep(tmp_path / "tiny.toml", [f"{FRACTION}=0.5,0.8"], replicates=2,
                              out=tmp_path / "out")  # fmt: skip
    assert result.n_runs == 8 and (result.folder / "sweep.png").stat().st_size > 10_000
    (slide, _) = sweep_slides.slides(result.folder)
    assert slide.title.startswith(
        "The runs separate “every 14 days” from “every 21 days” in yield at none"
    )


@pytest.mark.parametrize(
    ("case", "name"),
    [("curve", "sweep-yield"), ("pair", "sweep-yield"), ("grid", "sweep-yield-difference"),
     ("grid", "sweep-yield"), ("lhs", "sweep-yield"), ("factors", "sweep-yield")],
)  # fmt: skip
def test_the_picture_is_the_one_that_is_kept(case, name, tmp_path):
    as_kept(slides(case)[name], f"sweep_{case}_{name.removeprefix('sweep-')}", tmp_path)
