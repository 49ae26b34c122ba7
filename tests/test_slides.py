"""The slides of a comparison say what the tables say, and can be read."""

from __future__ import annotations

import dataclasses
import re
import sqlite3
from contextlib import closing
from functools import cache
from itertools import combinations
from pathlib import Path

import matplotlib
import numpy as np
import pandas as pd
import pytest
from commandline import without_sums
from made_up_traces import LIFE, MOIST, traces
from matplotlib.colors import to_hex
from pictures import as_kept, drawn, readable
from small_comparison import KINDS, made, small
from test_figures import ALL_LOSSES, WARM_UP, results, texts
from test_figures import LONG as NAMES

from colony_sim.errors import InputError
from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.measuring.series import unpack
from colony_sim.results import manifest
from colony_sim.running.store import read_store
from colony_sim.studies.comparison import bin_life, egg_fates, losses, overview, rack_ages, steady
from colony_sim.studies.comparison import slides as comparison_slides
from colony_sim.studies.comparison.bin_cycles import band, cleared, cycles, harvest_by_week
from colony_sim.studies.comparison.egg_ledger import FATES, STOCK, egg_ledger, egg_ledgers
from colony_sim.studies.comparison.months import months
from colony_sim.studies.comparison.relive import Traces, retrace
from colony_sim.studies.comparison.results import read
from colony_sim.words.estimate import number
from tests.sight import SIGHT, lab, linear

LOSS = ALL_LOSSES[0]
NUMBER = re.compile(r"[+−-]?\d+(?:\.\d+)?")


@cache
def slides(kind: str) -> dict[str, Slide]:
    """Slides of a small real comparison, by name; a second one of a name counts on."""
    found: dict[str, Slide] = {}
    for slide in comparison_slides.slides(made(kind)):
        if slide.talk:
            continue  # See test_seven.
        count = sum(name.split("+")[0] == slide.name for name in found)
        found[f"{slide.name}{'+' * count}"] = slide
    return found


def numbers(text: str) -> list[float]:
    """Numbers of a sentence, true minus signs included; those in quoted names left out."""
    bare = re.sub(r"“[^”]*”", "", text)
    return [float(found.replace("−", "-")) for found in NUMBER.findall(bare)]


@cache
def small_figure(kind: str, name: str) -> matplotlib.figure.Figure:
    """The picture of one of `slides`; nothing in it is cut or lies on another."""
    return readable(slides(kind)[name])


@cache
def lived_again(kind: str) -> Traces:
    return retrace(made(kind))


# ---- Every slide


ALL = [(kind, name) for kind, names in {
    "two": ["comparison", "losses", "bin_life", "rack_ages", "steady"],
    "one": ["comparison", "losses", "bin_life", "rack_ages", "steady"],
    "dying": ["comparison", "losses", "bin_life", "bin_life+", "rack_ages", "steady"],
}.items() for name in names]  # fmt: skip


def stored(folder, key) -> pd.DataFrame:
    """Daily series of a stored run."""
    with read_store(folder) as store:
        return unpack(store.get(key)).daily


@pytest.mark.parametrize("kind", KINDS)
def test_every_question_has_its_slide(kind):
    assert list(slides(kind)) == [name for other, name in ALL if other == kind]


@pytest.mark.parametrize(("kind", "name"), ALL)
def test_texts_are_large_inside_the_slide_and_on_no_other(kind, name):
    small_figure(kind, name)


@pytest.mark.parametrize(("kind", "name"), ALL)
def test_every_slide_tells_experiment_seed_runs_and_that_it_is_invented(kind, name):
    slide = slides(kind)[name]
    words = " ".join(t.get_text() for t in texts(small_figure(kind, name)))
    runs = "1 run a policy" if name[:4] in ("bin_", "rack") else f"{KINDS[kind]['replicates']} runs"
    seed = f"seed {KINDS[kind].get('seed', 11)}"
    assert all(part in words for part in ("small", seed, runs, "days", "invented scenario"))
    assert runs in slide.runs
    assert slide.say.startswith(slide.title) and slide.caveat and slide.alt
    assert len(slide.data) and not slide.data.columns.duplicated().any()


UNITS = {
    "comparison": ["g live larvae per day", "per 100 adults per day", "Day of the run"],
    "losses": ["per 100 beetles a day"],
    "bin_life": ["insects", "g", "skins", "days since the beetles left the bin"],
    "rack_ages": ["bin", "Day of the run", "days since the\nbeetles left"],
    "steady": ["mass of larvae (g)", "beetles (number)", "harvest (g a day)", "Day of the run"],
}  # fmt: skip


@pytest.mark.parametrize("name", UNITS)
def test_axes_have_units(name):
    words = [t.get_text() for t in texts(small_figure("two", name))]
    for unit in UNITS[name]:
        assert any(unit in word for word in words), unit


# ---- Losses of beetles


def test_the_title_of_losses_states_the_row_of_the_table(tmp_path):
    folder = results(tmp_path, {"a": 8, "b": 8})
    table = pd.read_parquet(folder / "runs.parquet")
    shift = np.where(table["policy"] == "b", 0.3, 0.0)
    tables = with_losses(folder, shift)
    slide = losses.slide(tables)
    row = loss_row(tables, "a", "b")
    assert slide.title.startswith("“a” loses ")
    percent, value, level, low, high = numbers(slide.title)[:3] + numbers(slide.title)[4:]
    assert percent == pytest.approx(-row["relative_percent"], rel=5e-3)
    assert value == pytest.approx(row["difference"], rel=5e-3) and value < 0
    assert low <= row["low"] and high >= row["high"] and high < 0
    for policy in "ab":
        mean = tables.of(policy, LOSS)["mean"]
        assert f"{number(mean)} under “{policy}”" in slide.say and slide.say[-1] == "."
        for cause, key in losses.CAUSES.items():
            assert f"{cause} {number(tables.of(policy, key)['mean'])}" in slide.alt


def with_losses(folder: Path, shift: np.ndarray):
    """The tables of a folder with losses raised run by run."""
    from colony_sim.statistics.paired import (
        all_paired_differences,
        paired_differences,
        policy_summary,
    )

    tables = read(folder)
    runs = tables.runs.copy()
    runs[LOSS] += shift
    keys = ["yield_g_per_day", *ALL_LOSSES]
    return dataclasses.replace(
        tables,
        runs=runs,
        summary=policy_summary(runs, measures=keys),
        differences=paired_differences(runs, tables.policies[0], measures=keys),
        all_differences=all_paired_differences(runs, measures=keys),
    )


def loss_row(tables, policy: str, baseline: str) -> pd.Series:
    rows = tables.all_differences
    return rows[
        (rows["measure"] == LOSS) & (rows["policy"] == policy) & (rows["baseline"] == baseline)
    ].iloc[0]


@pytest.mark.parametrize(("low", "high", "p"), [(-0.4, -0.2, 0.06), (-0.4, 0.1, 0.01)])
def test_the_title_of_losses_claims_nothing_without_interval_and_holm(tmp_path, low, high, p):
    tables = read(results(tmp_path, {"a": 8, "b": 8}))
    weak = tables.all_differences.assign(p_holm=p)
    forth = (weak["policy"] == "a") & (weak["measure"] == LOSS)
    weak.loc[forth, ["difference", "low", "high"]] = -0.3, low, high
    back = (weak["policy"] == "b") & (weak["measure"] == LOSS)
    weak.loc[back, ["difference", "low", "high"]] = 0.3, -high, -low
    title = losses.slide(dataclasses.replace(tables, all_differences=weak)).title
    assert title.startswith("The runs do not separate ") and "losses of beetles" in title


@pytest.mark.parametrize(
    ("shifts", "statuses", "words"),
    [
        ((0, 0.3, 0.6), {}, "“a” loses fewest beetles; against “b”, the next: −0."),
        ((0, 0, 0.6), {}, "beetles than 1 of 2 others; the runs do not put it below "),
        ((0, 0, 0), {}, "The runs do not separate the 3 policies in losses of beetles"),
        ((0, 0, 0), {"a": ["died_out"] * 8, "b": ["died_out"] * 8}, "“c” loses 0.8"),
        ((0, 0.5, 0), {"c": ["died_out"] * 8}, "% fewer beetles than “b”: −0."),
        ((0, 0, 0), {p: ["died_out"] * 8 for p in "abc"}, "No run has a value, so there are no"),
        (
            (0, 0, 0),
            {"a": ["died_out"] * 4, "b": ["died_out"] * 8, "c": ["settled"] * 4 + ["died_out"] * 4},
            "The pairs are too few",
        ),
    ],
)
def test_the_title_of_losses_in_words(tmp_path, shifts, statuses, words):
    folder = results(tmp_path, dict.fromkeys("abc", 8), statuses=statuses)
    runs = read(folder).runs
    tables = with_losses(folder, runs["policy"].map(dict(zip("abc", shifts, strict=True))))
    slide = losses.slide(tables)
    assert words in slide.title


def test_losses_of_five_long_names_can_be_read(tmp_path):
    statuses = {NAMES[1]: ["died_out"] * 3 + ["unsettled"], NAMES[4]: ["died_out"] * 20}
    folder = results(tmp_path, dict.fromkeys(NAMES, 8), 20, statuses=statuses)
    slide = losses.slide(read(folder))
    figure = readable(slide)
    assert any("died out in all 20 runs" in t.get_text() for t in texts(figure))


def test_the_dots_of_losses_are_the_rows_of_the_csv(tmp_path):
    statuses = {"a": ["died_out", "settled", "unsettled"], "b": ["settled", "died_out"]}
    folder = results(tmp_path, {"a": 8, "b": 9}, statuses=statuses)
    slide = losses.slide(read(folder))
    table = slide.data
    each, pairs = drawn(slide).axes
    dots = [np.sort(c.get_offsets()[:, 0]) for c in each.collections if len(c.get_offsets())]
    assert len(dots) == 2
    for policy, found in zip("ab", dots, strict=True):
        rows = table[(table["policy"] == policy) & (table["status"] != "died_out")]
        np.testing.assert_allclose(found, np.sort(rows[LOSS]))
        assert (
            table[(table["policy"] == policy) & (table["status"] == "died_out")][LOSS].isna().all()
        )
    wide = table.pivot(index="seed", columns="policy", values=LOSS)
    gaps = np.sort((wide["b"] - wide["a"]).dropna())
    np.testing.assert_allclose(np.sort(pairs.collections[0].get_offsets()[:, 0]), gaps)
    column = table["difference_from_baseline_per_100_per_day"]
    np.testing.assert_allclose(np.sort(column.dropna()), gaps)
    assert column[table["policy"] == "a"].isna().all()


def test_the_numbers_of_the_overview_are_those_of_the_tables(tmp_path):
    folder = results(tmp_path, {"a": 8, "b": 9}, statuses={"b": ["died_out", "unsettled"]})
    tables = read(folder)
    slide = overview.slide(tables)
    for policy in "ab":
        row = tables.of(policy)
        assert f"{number(row['mean'])} under “{policy}” ({row['n_used']} of 8 runs" in slide.say
    table = slide.data
    for what, measure in (("yield of a run", "yield_g_per_day"),):
        rows = table[(table["panel"] == "a") & (table["what"] == what)]
        expected = tables.runs[measure]
        np.testing.assert_allclose(np.sort(rows["value"]), np.sort(expected))
    lines = drawn(slide).axes[3].get_lines()
    for policy, line in zip("ab", lines, strict=False):
        rows = table[
            table["what"].str.startswith("mean yield of the runs") & (table["policy"] == policy)
        ]
        np.testing.assert_allclose(line.get_xdata(), rows["day"])
        np.testing.assert_allclose(line.get_ydata(), rows["value"])


# ---- Where the eggs went


def test_the_account_of_eggs_closes_and_names_every_egg():
    folder = made("two")
    runs = pd.read_parquet(folder / "runs.parquet")
    facts = manifest.read(folder)
    table = egg_ledgers(folder, facts, runs)
    settled = table["status"] == "settled"
    assert settled.sum() == 6
    np.testing.assert_allclose(table[settled][[*FATES, STOCK]].sum(axis=1), 100, atol=1e-9)
    # The measures of the comparison know the share eaten, of eggs hatched or lost.
    row = table[settled].iloc[0]
    run = runs[(runs["policy"] == row["policy"]) & (runs["seed"] == row["seed"])].iloc[0]
    key = next(
        e["key"] for e in facts["runs"] if (e["policy"], e["seed"]) == (run.policy, run.seed)
    )
    daily = stored(folder, key)
    used = daily[daily["day"] > run["warm_up_days"]]
    laid = used["eggs_laid"].sum()
    assert row["eggs_laid"] == laid
    decided = used[["eggs_hatched", "eggs_eaten_adults", "eggs_eaten_larvae",
                    "eggs_lost_handling", "eggs_unhatched"]].sum().sum()  # fmt: skip
    eaten = row["egg_eaten_by_beetles"] + row["egg_eaten_by_larvae"]
    assert eaten * laid / decided == pytest.approx(100 * run["eggs_eaten_share"])
    assert row["larva_harvested"] * laid / 100 == pytest.approx(used["harvest_larvae"].sum())
    # Runs that were not steady or died out are measured too, where they laid eggs in those days.
    other = made("dying")
    rest = egg_ledgers(other, manifest.read(other), pd.read_parquet(other / "runs.parquet"))
    laid_too = rest[(rest["status"] != "settled") & rest["eggs_laid"].gt(0)]
    assert len(laid_too)
    np.testing.assert_allclose(laid_too[[*FATES, STOCK]].sum(axis=1), 100, atol=1e-9)
    # An egg that is nobody's is missed.
    daily.loc[daily.index[-30], "eggs_eaten_adults"] += 50
    assert abs(sum(egg_ledger(daily, int(run["warm_up_days"])).values()) - 100) > 0.01


def test_the_account_from_the_first_day_counts_the_founders():
    folder = made("two")
    facts = manifest.read(folder)
    daily = stored(folder, facts["runs"][0]["key"])
    account = egg_ledger(daily, 0)
    assert sum(account.values()) == pytest.approx(100)
    last = daily.iloc[-1]
    alive, laid = last["eggs"] + last["larvae"] + last["pupae"], daily["eggs_laid"].sum()
    # Founder larvae spread over all ages: some are pupae on the first day, and beetles.
    founders = alive - account[STOCK] * laid / 100
    assert 0.9 * KINDS["two"]["larvae"] <= round(founders) <= KINDS["two"]["larvae"]
    assert egg_ledger(daily.assign(eggs_laid=0), 0) is None


def ledgers(shares: dict[str, float], runs: int = 6, noise: float = 0.3) -> pd.DataFrame:
    """Made-up accounts: so many of 100 eaten by beetles under each policy."""
    rng = np.random.default_rng(3)
    rows = []
    for policy, share in shares.items():
        for seed in range(runs):
            eaten = share + noise * rng.normal()
            rest = 100 - eaten
            shares = (0.002, 0.15, 0.01, 0.1, 0.55, 0.005, 0.02, 0.15)
            parts = dict(zip(FATES, [eaten, *(rest * share for share in shares)], strict=True))
            stock = 100 - sum(parts.values())
            rows.append({"policy": policy, "seed": seed, "status": "settled", "eggs_laid": 1000,
                         **parts, STOCK: stock})  # fmt: skip
    return pd.DataFrame(rows)


def fates(monkeypatch, folder: Path, table: pd.DataFrame) -> egg_fates.Account:
    monkeypatch.setattr(egg_fates, "egg_ledgers", lambda *_: table)
    return egg_fates.account(read(folder), folder)


@pytest.mark.parametrize(
    ("shares", "start", "end"),
    [
        ((60, 55), "Most eggs laid are eaten by beetles: ", "95 % interval"),
        ((60, 60), "Most eggs laid are eaten by beetles: ", ", which the runs do not separate"),
        ((45, 40), "More eggs laid are eaten by beetles than come to any other end: ", "interval"),
        ((36, 34), "Eggs laid that are harvested as larvae: ", "interval"),
        ((60, 55, 50.1), "More eggs laid are eaten by beetles than come to any other end: ",
         " of 100, by policy"),
        ((60,), "Most eggs laid are eaten by beetles: ", " of 100 under “a”"),
    ],
)  # fmt: skip
def test_the_title_of_the_eggs_is_no_stronger_than_the_runs(
    tmp_path, monkeypatch, shares, start, end
):
    names = "abc"[: len(shares)]
    folder = results(tmp_path, dict.fromkeys(names, 8))
    table = ledgers(dict(zip(names, shares, strict=True)))
    if shares[:2] == (36, 34):
        # Harvested and eaten come close: nothing is said of which is more.
        table["egg_eaten_by_beetles"] -= 1
        table["larva_harvested"] = table["egg_eaten_by_beetles"] + 0.1
        table["larva_harvested"] += np.resize([0.3, -0.3], len(table))
    title = fates(monkeypatch, folder, table).finding()
    assert title.startswith(start) and end in title
    means = table.groupby("policy")["egg_eaten_by_beetles"].mean()
    if "eaten" in start and len(shares) < 3:
        assert all(f"{number(means[p])} " in title for p in names)


def test_without_intervals_nothing_is_most(tmp_path, monkeypatch):
    folder = results(tmp_path, {"a": 8}, 1)
    found = fates(monkeypatch, folder, ledgers({"a": 80.0}, runs=1))
    assert found.finding().startswith("Eggs laid that are eaten by beetles: ")


def test_no_account_without_a_settled_run_or_the_stored_runs(tmp_path):
    folder = results(tmp_path, {"a": 8})
    assert egg_fates.account(read(folder), folder).known == []


# ---- The life of a bin


def with_bins(folder: Path):
    """The tables of a folder of made-up runs, with a mean number of bins in use."""
    tables = read(folder)
    rows = tables.summary[tables.summary["measure"] == "yield_g_per_day"]
    summary = pd.concat([tables.summary, rows.assign(measure="bins_in_use")], ignore_index=True)
    return dataclasses.replace(tables, summary=summary)


def test_the_band_is_the_middle_of_the_bins_in_use_at_that_age():
    found = lived_again("two")
    policy = "every 21 days"
    lives = cycles(found, policy)
    record, warm_up = found.records[policy], found.warm_up[policy]
    table = record.bins_daily
    out = record.bin_log[record.bin_log["action"] == "beetles out"]
    out = out[out["date_in"] > warm_up]
    assert len(lives.ends) == len(out) > 3
    for what, column in (("larvae_g", "larvae_g"), ("eggs", "eggs")):
        drawn_band = band(lives, what).set_index("age")
        for age in (-5, 0, 30, 60):
            values = []
            for move in out.itertuples():
                day = move.date_out + age
                row = table[(table["bin"] == move.bin) & (table["day"] == day)]
                if day > 700 or row.empty or row["date_in"].iloc[0] != move.date_in:
                    continue
                values.append(float(row[column].iloc[0]))
            low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
            assert drawn_band.loc[age, "bins"] == len(values)
            np.testing.assert_allclose(drawn_band.loc[age, ["low", "median", "high"]].astype(float),
                                       [low, middle, high])  # fmt: skip


def test_skins_and_harvests_of_lives_are_those_of_the_bins():
    found = lived_again("two")
    policy = "every 14 days"
    lives = cycles(found, policy)
    record = found.records[policy]
    for (bin_, start), days in lives.days.groupby(["bin", "date_in"]):
        rows = record.bins_daily
        rows = rows[(rows["bin"] == bin_) & (rows["date_in"] == start)]
        assert days["skins_per_day"].sum() == rows["skins"].max()
        assert (days["skins_per_day"] >= 0).all()
        assert days["age"].tolist() == list(range(days["age"].min(), days["age"].max() + 1))
    log = record.bin_log
    taken = log[(log["action"] == "harvest") & (log["date_in"] > found.warm_up[policy])]
    assert lives.harvests["grams"].sum() == pytest.approx(taken["grams"].sum())


def test_ages_that_late_bins_could_not_reach_are_judged_by_the_others():
    lives = cycles(traces(a=20), "a")
    ends = lives.ends
    late = int((ends["most_age"] < LIFE - 1).sum())
    assert late >= 3
    table = band(lives, "larvae").set_index("age")
    last = table.loc[LIFE - 1]
    # All bins that could live so long do; the late ones are not taken for cleared.
    assert last["bins"] == last["watched"] == len(ends) - late
    assert table.index.max() == LIFE - 1 and table.index.min() == -20
    assert set(cleared(lives)["cleared_age"]) == {LIFE}
    assert len(cleared(lives)) == int((ends["most_age"] >= LIFE).sum())
    weeks = harvest_by_week(lives)
    harvests = lives.harvests.merge(ends, on=["bin", "date_in"])
    for week in weeks.itertuples():
        able = ends[ends["most_age"] >= 7 * week.week + 6]
        mine = harvests[
            (harvests["age"] // 7 == week.week) & (harvests["most_age"] >= 7 * week.week + 6)
        ]
        assert week.bins == len(able)
        assert week.grams == pytest.approx(mine["grams"].sum() / len(able))


def test_bins_cleared_early_end_the_lines_where_half_of_them_are_left():
    found = traces(a=20)
    record = found.records["a"]
    gone = record.bins_daily["bin"] > 2
    age = record.bins_daily["day"] - record.bins_daily["date_out"]
    short = gone & (age > 40)
    record.bins_daily.loc[short, ["phase", "date_in", "date_out"]] = ["free", np.nan, np.nan]
    table = band(cycles(found, "a"), "larvae")
    share = table["bins"] / table["watched"]
    assert table["age"].max() == 40 and (share >= 0.5).all()


def test_the_lines_and_words_of_a_bin_are_the_rows_of_the_csv(tmp_path):
    tables = with_bins(results(tmp_path, {"a": 8, "b": 9}))
    (slide,) = bin_life.slides(tables, traces(a=15, b=20))
    table = slide.data
    figure = readable(slide)
    panels = figure.axes
    for column, policy in enumerate("ab"):
        mine = table[table["policy"] == policy]
        mass = mine[mine["series"] == "larvae_g"]
        line = max(panels[3 * column + 1].get_lines(), key=lambda line: len(line.get_xdata()))
        np.testing.assert_allclose(line.get_xdata(), mass["days_since_beetles_left"])
        np.testing.assert_allclose(line.get_ydata(), mass["median"])
        bars = [
            p.get_height()
            for p in panels[3 * column + 1].patches
            if abs(p.get_width() - 5.6) < 1e-9
        ]
        weeks = mine[mine["series"] == "harvested_g_per_week"]
        np.testing.assert_allclose(bars, weeks["mean"])
        top = mass.loc[mass["median"].idxmax()]
        part = slide.title.split(";")[column]
        day, grams = numbers(part)[:2]
        assert day == top["days_since_beetles_left"]
        assert grams == pytest.approx(top["median"], rel=5e-3)
        moist = mine[mine["series"] == "moisture_starts"]["days_since_beetles_left"]
        assert (
            moist.tolist() == [MOIST]
            and f"{MOIST} days after they leave under “{policy}”" in slide.say
        )


def test_five_policies_take_three_slides_of_bins_and_two_of_racks(tmp_path):
    tables = with_bins(results(tmp_path, dict.fromkeys("abcde", 8)))
    found = traces(a=15, b=20, c=20, d=20, e=30)
    found.warm_up["b"] = None
    lives, racks = bin_life.slides(tables, found), rack_ages.slides(tables, found)
    assert [sorted(set(s.data["policy"])) for s in lives] == [["a"], ["c", "d"], ["e"]]
    assert "no settled run with 3 bins or more under “b”" in lives[0].say
    assert [sorted(set(s.data["policy"])) for s in racks] == [["a", "b", "c"], ["d", "e"]]
    for slide in (*lives, *racks):
        readable(slide)


# ---- The rack


def test_the_picture_of_the_rack_is_the_csv(tmp_path):
    tables = with_bins(results(tmp_path, {"a": 8, "b": 9}))
    found = traces(a=15, b=20)
    (slide,) = rack_ages.slides(tables, found)
    table = slide.data
    figure = readable(slide)
    oldest = int(table["days_since_beetles_left"].max())
    for policy, axes in zip("ab", figure.axes, strict=False):
        picture = axes.images[0].get_array()
        mine = table[table["policy"] == policy]
        first = mine["day"].min()
        for row in mine.sample(60, random_state=1).itertuples():
            colour = to_hex(picture[row.bin - 1, row.day - first])
            if row.phase == "free":
                assert colour == rack_ages.FREE
            elif row.phase == "breeding":
                assert colour == rack_ages.BREEDING
            else:
                assert colour == to_hex(rack_ages.ages()(row.days_since_beetles_left / oldest))
        truth = found.records[policy].bins_daily
        row = mine[mine["phase"] == "growing"].iloc[37]
        same = truth[(truth["bin"] == row["bin"]) & (truth["day"] == row["day"])].iloc[0]
        assert row["days_since_beetles_left"] == row["day"] - same["date_out"]
    days = numbers(slide.title)
    # Told once, as it is the same in both.
    assert days == [LIFE] and slide.title.endswith("in both ways")
    counts = re.findall(r"of (\d+) bins (\d+) as spent", slide.say)
    for (whole, some), policy in zip(counts, "ab", strict=True):
        assert some == whole == str(len(cleared(cycles(found, policy))))


def test_the_rack_of_runs_that_never_settle_or_die_out_is_shown_as_such():
    folder = made("dying")
    runs = pd.read_parquet(folder / "runs.parquet")
    seed = int(runs.loc[runs["status"] == "unsettled", "seed"].iloc[0])
    (slide,) = rack_ages.slides(read(folder), retrace(folder, seed=seed))
    assert any("did not settle" in t.get_text() for t in texts(readable(slide)))


def test_the_rack_of_a_run_that_died_out_ends_there(tmp_path):
    found = traces(a=15, b=20)
    record = found.records["b"]
    record.died_out_day, found.warm_up["b"] = 150, None
    found.records["b"] = dataclasses.replace(
        record, bins_daily=record.bins_daily[record.bins_daily["day"] <= 150]
    )
    (slide,) = rack_ages.slides(with_bins(results(tmp_path, {"a": 8, "b": 9})), found)
    figure = readable(slide)
    assert any("b: died out on day 150" in t.get_text() for t in texts(figure))
    assert slide.data[slide.data["policy"] == "b"]["day"].max() == 150
    pictures = [axes.images[0].get_array() for axes in figure.axes[:2]]
    assert pictures[0].shape == pictures[1].shape
    assert (pictures[1][:, 150 - int(slide.data["day"].min()) + 1 :] == 1).all()
    assert "under “b”" not in slide.title


# ---- Warm-up


def test_the_lines_of_the_warm_up_are_the_rows_of_the_csv():
    folder = made("two")
    slide = slides("two")["steady"]
    tables, table = read(folder), slides("two")["steady"].data
    runs = tables.runs
    settled = runs[runs["status"] == "settled"]
    assert slide.title == (
        f"All {len(settled)} runs settled, after {settled['warm_up_days'].min()} to "
        f"{settled['warm_up_days'].max()} days, which are left out"
    )
    axes = small_figure("two", "steady").axes[1]  # Larvae, second policy.
    solid = [
        line
        for line in axes.get_lines()
        if line.get_color() == style.POLICY and len(line.get_xdata()) > 1
    ]
    assert len(solid) == len(settled[settled["policy"] == tables.policies[1]]) == 3
    own = table[table["policy"] == tables.policies[1]]
    for line in solid:
        start = line.get_xdata()[0]
        run = own[(own["warm_up_days"] == start) & (own["status"] == "settled")]
        after = run[run["day"] > start]
        np.testing.assert_allclose(line.get_xdata()[1:], after["day"])
        np.testing.assert_allclose(line.get_ydata()[1:], after["larvae_g"])
    # Of two runs of the third policy of this one, one never settled.
    third = small_figure("dying", "steady").axes[2]
    assert len([line for line in third.get_lines() if line.get_color() == style.QUIET]) == 1
    whole = pd.read_parquet(folder / "daily.parquet")
    means, length = months(whole, tables.policies[1], 14, ("larvae_g",))
    row = means.iloc[3]
    days = whole[(whole["policy"] == tables.policies[1]) & (whole["seed"] == row["seed"])]
    inside = days[
        (days["day"] > row["day"] - length / 2) & (days["day"] <= row["day"] + length / 2)
    ]
    assert len(inside) == length and inside["larvae_g"].mean() == pytest.approx(row["larvae_g"])


def test_a_colony_that_died_out_goes_on_with_zeros():
    days = {1: np.arange(1, 85), 2: np.arange(1, 50)}  # The second dies on day 49.
    daily = pd.concat(
        pd.DataFrame({"policy": "a", "seed": seed, "day": day, "harvest_g": 2.0})
        for seed, day in days.items()
    )
    found, length = months(daily, "a", 14, days=84)
    assert length == 28
    by_seed = found.groupby("seed")["harvest_g"].apply(list)
    assert by_seed[1] == [2, 2, 2] and by_seed[2] == [2, 2 * 21 / 28, 0]
    assert months(daily, "a", 14)[0].groupby("seed").size().tolist() == [3, 1]


@pytest.mark.parametrize(
    ("statuses", "title"),
    [
        (["settled"] * 3, "All 3 runs settled, after 10 to 30 days, which are left out"),
        (["settled", "died_out", "settled"],
         "2 of 3 runs settled, after 10 to 30 days; 1 died out"),
        (["settled", "died_out", "unsettled"],
         "1 of 3 runs settled, after 10 days; 1 died out and 1 never settled"),
        (["unsettled"] * 3, "No run of 3 settled: 3 never settled"),
    ],
)  # fmt: skip
def test_the_title_of_the_warm_up_counts_the_runs(statuses, title):
    runs = pd.DataFrame({"status": statuses, "warm_up_days": [10, 20, 30]})
    assert steady._title(runs) == title


def test_what_is_said_of_the_level_is_recomputed_by_hand():
    folder = made("two")
    tables = read(folder)
    daily = pd.read_parquet(folder / "daily.parquet")
    policy = tables.policies[0]
    changes = steady.changes_in_window(tables, daily, policy)
    run = tables.runs[(tables.runs["policy"] == policy)].iloc[0]
    series = daily[(daily["policy"] == policy) & (daily["seed"] == run["seed"])]["larvae_g"]
    used = series.to_numpy()[int(run["warm_up_days"]) :]
    half = len(used) // 42 * 21
    expected = 100 * (used[-half:].mean() - used[-2 * half : -half].mean()) / used.mean()
    assert changes[0] == pytest.approx(expected)
    assert (
        f"{number(abs(changes.mean()))} % under “{policy}” (3 runs" in slides("two")["steady"].say
    )


# ---- Pictures that are kept


def kept_slides(folder: Path) -> dict[str, Slide]:
    """Slides of made-up runs, which no change of the model touches."""
    results(folder, {"every 21 days": 8.0, "every 14 days": 9.0}, 12,
            statuses={"every 14 days": ["died_out", "unsettled"]})  # fmt: skip
    daily = pd.read_parquet(folder / "daily.parquet")
    rise = np.minimum(daily["day"] / WARM_UP, 1) * (1 + 0.05 * np.sin(daily["day"] / 40))
    level = daily["seed"] + 100.0
    daily = daily.assign(larvae_g=4 * level * rise, adults=level * (2 - rise))
    without_sums(folder)
    daily.to_parquet(folder / "daily.parquet", index=False)
    tables = with_bins(folder)
    names = ("every 21 days", "every 14 days")
    found = traces(**{name: int(name.split()[1]) for name in names})
    return {
        "comparison_overview": overview.slide(tables),
        "comparison_losses": losses.slide(tables),
        "comparison_bin_life": bin_life.slides(tables, found)[0],
        "comparison_rack": rack_ages.slides(tables, found)[0],
        "comparison_steady": steady.slides(tables, folder)[0],
    }


def test_every_slide_is_the_picture_that_was_looked_at(tmp_path, monkeypatch):
    folder = tmp_path / "made-up"
    found = kept_slides(folder)
    for name, slide in found.items():
        as_kept(slide, name, tmp_path)
    # A picture of other runs is told from the one that is kept.
    monkeypatch.delenv("COLONY_SIM_PICTURES", raising=False)
    other = rack_ages.slides(
        with_bins(folder), traces(**{"every 21 days": 18, "every 14 days": 14})
    )
    with pytest.raises(AssertionError, match="RMS"):
        as_kept(other[0], "comparison_rack", tmp_path)


# ---- Colours


def _apart(one: str, other: str) -> float:
    return min(
        np.linalg.norm(lab(SIGHT[sight] @ linear(one)) - lab(SIGHT[sight] @ linear(other)))
        for sight in SIGHT
    )


def test_stages_and_ages_keep_apart_in_colour_blind_sight():
    stages = [colour for colour, _ in style.STAGES.values()]
    assert min(_apart(a, b) for a, b in combinations(stages, 2)) > 35
    assert len({str(dash) for _, dash in style.STAGES.values()}) == 4
    scale = [to_hex(rack_ages.ages()(x)) for x in np.linspace(0, 1, 21)]
    assert min(_apart(rack_ages.BREEDING, colour) for colour in scale) > 30
    assert min(_apart(rack_ages.FREE, colour) for colour in scale) > 15
    # Old bins are darker than young ones, in grey too.
    light = [float(linear(colour) @ [0.2126, 0.7152, 0.0722]) for colour in scale]
    assert all(np.diff(light) < 0)


# ---- Which run is lived again


def test_a_seed_that_is_none_of_the_runs_is_refused():
    with pytest.raises(InputError, match="argument: seed = 5; allowed: the seed of a run in"):
        comparison_slides.slides(made("one"), seed=5)


def test_runs_of_another_version_are_said_not_shown(tmp_path):
    folder = small("one", tmp_path)
    daily = pd.read_parquet(folder / "daily.parquet")
    daily["larvae"] += 1
    without_sums(folder)
    daily.to_parquet(folder / "daily.parquet", index=False)
    found = comparison_slides.slides(folder)
    slide = next(slide for slide in found if slide.name == "bins")
    assert "The bins cannot be shown: the stored runs come out otherwise than stored" in slide.title
    assert sum(not one.talk for one in found) == 4
    readable(slide)


def test_a_comparison_of_an_earlier_version_has_no_account_of_its_eggs(tmp_path):
    folder = small("two", tmp_path)
    with closing(sqlite3.connect(folder / "runs.sqlite")) as store, store:
        store.execute("PRAGMA user_version = 1")
    found = read(folder)
    table = egg_ledgers(folder, found.manifest, found.runs)
    assert len(table) and table[[*FATES, STOCK]].isna().all(axis=None)
    assert egg_fates.account(found, folder).known == []


def test_tables_and_sentences_share_one_family_of_comparisons():
    found = read(made("dying"))
    both = found.differences.merge(
        found.all_differences, on=["policy", "baseline", "measure"], suffixes=("", "_all")
    )
    assert len(both) == len(found.differences) and both["p_holm"].notna().any()
    np.testing.assert_array_equal(both["p_holm"], both["p_holm_all"])
