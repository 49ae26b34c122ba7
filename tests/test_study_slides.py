"""The slides of studies: read back from their folders, true to their tables, readable."""

from __future__ import annotations

import dataclasses
import json
from decimal import ROUND_CEILING, ROUND_FLOOR
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from commandline import EXPERIMENT
from pictures import as_kept, drawn, readable
from scipy import stats
from sight import SIGHT, contrast, lab, linear
from test_breakeven import made as made_map
from test_figures import texts
from test_search import made_up as made_search
from test_sensitivity import made as made_sensitivity

from colony_sim.biology.parameters import catalogue
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.figures import heat, style
from colony_sim.figures.slide import Slide, write
from colony_sim.results.folder import MANIFEST, claim
from colony_sim.results.study import write_study
from colony_sim.studies.breakeven import draw as breakeven
from colony_sim.studies.breakeven.run import BreakEven, headline
from colony_sim.studies.origin import Origin
from colony_sim.studies.points import Window, mean_interval
from colony_sim.studies.registry import study
from colony_sim.studies.search import draw as pareto
from colony_sim.studies.search.run import OBJECTIVES, Search
from colony_sim.studies.sensitivity import screening, tornado
from colony_sim.studies.sensitivity.indices import Noise
from colony_sim.studies.sensitivity.run import Sensitivity
from colony_sim.talk import deck
from colony_sim.words import labels
from colony_sim.words.estimate import number

INVENTED = EXPERIMENT.replace("seed = 5", "seed = 5\ninvented = true")
YIELD = "yield_g_per_day"
ORIGIN = Origin("demo-study", 5, True)


def made_tornado(lead: float = 2.0, sure: float = 0.05) -> Sensitivity:
    """Three keys whose results over six seeds are known, seed by seed.

    The first changes the result by `lead`, the second by 0.9 and turns nothing, the third by 0.1;
    `sure` is the noise of a seed at one point.
    """
    keys = ["predation.adult_egg", "larva.size_cv", "growth.dry_share"]
    rng = np.random.default_rng(3)
    shared, central = rng.normal(size=6), 1.0
    changes = {"predation.adult_egg": (-lead, 0.3), "larva.size_cv": (-0.2, 0.9),
               "growth.dry_share": (0.1, 0.05)}  # fmt: skip
    by_seed = {key: [central + c + 0.1 * shared + sure * rng.normal(size=6) for c in ends]
               for key, ends in changes.items()}  # fmt: skip
    base = central + 0.1 * shared + sure * rng.normal(size=6)
    rows = []
    for key in keys:
        entry = catalogue()[key]
        row = {"key": key, "unit": entry.unit, "low_used": entry.low, "high_used": entry.high,
               "low_value": entry.low, "high_value": entry.high}  # fmt: skip
        for end, values in zip(("low", "high"), by_seed[key], strict=True):
            mean, _, low, high = mean_interval(values)
            row |= {f"at_{end}": mean, f"at_{end}_low": low, f"at_{end}_high": high}
        row["influence"] = max(abs(row[f"at_{end}"] - base.mean()) for end in ("low", "high"))
        rows.append(row)
    table = pd.DataFrame(rows).assign(seed_se=0.1, influence_low=np.nan, influence_high=np.nan,
                                      sign_changes=0, moves=2)  # fmt: skip
    table = table.sort_values("influence", ascending=False, ignore_index=True)
    points = [{key: 1.0 for key in keys} for _ in range(6)]
    results = np.array([values for key in keys for values in by_seed[key]])
    sampled = pd.DataFrame(points)
    for i in range(6):
        sampled[f"result_seed_{i + 1}"] = results[:, i]
    return Sensitivity(
        "oneway", "yield, short minus long", ("short", "long"), "g/day", Window(336, 588),
        mean_interval(base), Noise(6, 0.04, 0.02), table, sampled, 0, tuple(base.tolist()),
    )  # fmt: skip


KINDS = {BreakEven: "break-even map", Sensitivity: "sensitivity", Search: "search"}


def written(folder: Path, result: BreakEven | Sensitivity | Search) -> Path:
    """A study written as its command writes it."""
    folder.mkdir(parents=True)
    file = folder.parent / "demo.toml"
    file.write_text(INVENTED, encoding="utf-8")
    plan = dataclasses.replace(expand(load(file)), name="demo-study")
    kind = study(KINDS[type(result)])
    with claim(folder, plan.name, kind.files):
        write_study(plan, folder, kind.kind, kind.frames(result), "Found.", kind.facts(result),
                    command="colony-sim study demo", draw=kind.draw)  # fmt: skip
    return folder


def studies() -> dict[str, BreakEven | Sensitivity | Search]:
    return {
        "breakeven": made_map(np.array([[1.0, 0.19, 0.17], [-0.17, -0.19, 0.0]])),
        "tornado": made_tornado(),
        "morris": made_sensitivity("morris"),
        "sobol": made_sensitivity("sobol"),
        "pareto": made_search(),
    }


NAMES = {"breakeven": "breakeven", "tornado": "tornado", "morris": "screening",
         "sobol": "screening", "pareto": "pareto"}  # fmt: skip


@cache
def one(name: str) -> Slide:
    result = studies()[name]
    if name == "breakeven":
        return breakeven.slide(result, ORIGIN)
    if name == "tornado":
        return tornado.slide(result, ORIGIN)
    if name == "pareto":
        return pareto.slide(result, ORIGIN)
    return screening.slide(result, ORIGIN)


# ---- From the folder


@pytest.mark.parametrize("name", NAMES)
def test_drawn_at_the_end_is_drawn_from_the_folder_byte_for_byte(name, tmp_path):
    folder = written(tmp_path / "study", studies()[name])
    stem = NAMES[name]
    listed = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["files"]
    assert {f"{stem}.png", f"{stem}.svg", "manifest.json", "verdict.txt"} <= set(listed)
    assert set(listed) == {path.name for path in folder.iterdir()} - {".lock"}
    (slide,) = deck.deck(folder)
    png, svg, csv = write(slide, tmp_path)
    assert png.read_bytes() == (folder / f"{stem}.png").read_bytes()
    assert svg.read_bytes() == (folder / f"{stem}.svg").read_bytes()
    assert len(pd.read_csv(csv)) == len(slide.data)
    # What is read back is what was found, so words and numbers are the same as well.
    before = one(name)
    assert (slide.title, slide.say, slide.caveat, slide.alt, slide.runs) == (
        before.title, before.say, before.caveat, before.alt, before.runs,
    )  # fmt: skip
    pd.testing.assert_frame_equal(slide.data, before.data, check_dtype=False)


def test_a_folder_of_before_is_one_clear_line(tmp_path):
    folder = written(tmp_path / "study", made_tornado())
    data = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    data.pop("seal", None)
    for key in ("central", "central_by_seed"):
        older = {**data, "study": {k: v for k, v in data["study"].items() if k != key}}
        (folder / MANIFEST).write_text(json.dumps(older), encoding="utf-8")
        with pytest.raises(InputError) as caught:
            deck.deck(folder)
        assert f"study = 'without {key}'" in caught.value.line
        assert "run again: colony-sim study demo" in caught.value.line
        assert "\n" not in caught.value.line


def test_a_map_of_before_is_drawn_with_the_values_of_its_experiment(tmp_path):
    folder = written(tmp_path / "study", made_map(np.ones((2, 3))))
    data = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    data.pop("seal", None)
    del data["study"]["own_values"]
    (folder / MANIFEST).write_text(json.dumps(data), encoding="utf-8")
    _, result = study("break-even map").read(folder)
    defaults = catalogue()
    assert result.default == (defaults["predation.adult_egg"].value, defaults["rack.bins"].value)


def test_damaged_and_foreign_folders_are_one_line(tmp_path):
    folder = written(tmp_path / "study", made_search())
    (folder / "front.parquet").unlink()
    with pytest.raises(InputError, match="allowed: those of a study"):
        deck.deck(folder)
    data = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    data.pop("seal", None)
    for change, told in (({"kind": "sweep"}, "the folder of a search"),
                         ({"study": 3}, "damaged")):  # fmt: skip
        (folder / MANIFEST).write_text(json.dumps({**data, **change}), encoding="utf-8")
        with pytest.raises(InputError, match=told):
            study("search").read(folder)


# ---- Every slide


@pytest.mark.parametrize("name", NAMES)
def test_slides_can_be_read_and_tell_where_they_come_from(name):
    slide = one(name)
    figure = readable(slide)
    said = " ".join(t.get_text() for t in texts(figure))
    result = studies()[name]
    days = f"days {result.span.warm_up + 1} to {result.span.days}"
    told = ("demo-study", "seed 5", slide.runs, days, "invented scenario")
    assert all(part in said for part in (*told, "not about a real colony"))


def test_a_long_foot_takes_another_line():
    long = Origin("a-study-with-a-name-that-goes-on-for-quite-a-while", 5, True, "spring " * 5)
    readable(breakeven.slide(studies()["breakeven"], long))


def test_runs_are_counted():
    assert one("breakeven").runs == "48 runs"  # 6 cells, 2 policies, 4 seeds
    assert one("tornado").runs == "84 runs"  # 6 points and the middle, 2 policies, 6 seeds
    assert one("morris").runs == "16 runs"  # 3 points and the middle, 2 policies, 2 seeds
    assert one("pareto").runs == "186 runs"  # 3 candidates of 3 seeds, 3 candidates of 59


def test_axes_have_names_and_units():
    for name, unit in (("tornado", "Yield, short minus long (g/day)"),
                       ("morris", "Mean absolute effect of the whole range, mu* (g/day)"),
                       ("sobol", "Index: share of the variance of the result")):  # fmt: skip
        assert drawn(one(name)).axes[0].get_xlabel() == unit
    assert drawn(one("morris")).axes[0].get_ylabel() == "Spread of effects, sigma (g/day)"
    axes = drawn(one("breakeven")).axes[0]
    assert axes.get_xlabel() == "Egg eating by beetles (dm²/adult/day)"
    assert axes.get_ylabel() == "Bins in the rack (bins)"


def test_every_key_has_a_short_plain_name_of_its_own():
    keys = {*catalogue(), "start.breeders", "start.larvae"}
    names = [labels.label(key) for key in keys]
    assert len(set(names)) == len(names) and not keys & set(names)
    assert max(map(len, names)) <= 34
    units = {labels.printed(entry.unit) for entry in catalogue().values()}
    assert {"°C", "dm²/adult/day", "eggs/female/day", ""} <= units
    assert not any("(" in unit or "dm2" in unit for unit in units)
    assert (labels.shown(True), labels.shown(np.bool_(False))) == ("yes", "no")


# ---- Break-even maps


def test_the_map_says_what_its_table_says():
    slide, result = one("breakeven"), studies()["breakeven"]
    table = result.table
    assert slide.title == headline(result)
    assert "“short” yields more in 2 of 6 cells" in slide.title
    assert "In the 3 hatched cells the runs do not tell which is ahead." in slide.say
    assert "about 1 of the 6 cells would still go to one" in slide.caveat
    most, least = table["difference"].max(), table["difference"].min()
    assert f"largest difference is +{number(most)} at" in slide.alt
    assert f"smallest −{number(-least)} at" in slide.alt
    np.testing.assert_array_equal(slide.data["difference"], table["difference"])
    assert set(slide.data["unit"]) == {"g/day"}
    cells = drawn(slide).axes[0].texts
    shown = [float(t.get_text().replace("−", "-")) for t in cells]
    assert shown == pytest.approx(table["difference"].tolist(), abs=0.005)


def test_numbers_of_small_differences_keep_their_digits():
    small = made_map(np.array([[0.012, 0.004, 0.0], [-0.012, 0.002, 0.001]]), spread=0.001)
    shown = [t.get_text() for t in drawn(breakeven.slide(small, ORIGIN)).axes[0].texts]
    assert shown == ["+0.012", "+0.004", "0", "−0.012", "+0.002", "+0.001"]


# ---- Tornado


def test_the_first_bar_is_put_first_only_where_the_seeds_separate_it():
    title = one("tornado").title
    result = studies()["tornado"]
    top = result.table.iloc[0]
    assert title.startswith("Egg eating by beetles moves the difference in yield most: from ")
    ends = f"from {number(result.central[0])} to −{number(-top['at_low'])} g/day"
    assert ends in title
    assert "; it alone turns the sign" in title
    # The second change is as large: not told apart, whatever the means say.
    close = made_tornado(lead=0.95, sure=0.2)
    weak = tornado.headline(close)
    assert weak.startswith("The runs do not put one value first: ")
    found = tornado.ranked(close)
    changes = []
    for row in close.table.to_dict("records"):
        end = max(("low", "high"), key=lambda end: abs(row[f"at_{end}"] - close.central[0]))
        place = 2 * list(close.sampled.columns).index(row["key"]) + (end == "high")
        seeds = close.sampled.filter(like="result_seed_").to_numpy()[place] - close.central_by_seed
        changes.append(seeds * np.sign(seeds.mean()))
    p = [float(stats.ttest_rel(a, b).pvalue) for a, b in combinations(changes, 2)]
    assert found.p_holm[1] == pytest.approx(min(1.0, p[0] * (1 + sum(q >= p[0] for q in p[1:]))))
    assert found.ties[1]
    assert "is not told from that by" in tornado.slide(close, ORIGIN).caveat


def test_a_sign_is_turned_only_beyond_the_interval():
    result = made_tornado()
    assert tornado.turning(result) == (["predation.adult_egg"], [])
    wide = dataclasses.replace(result, table=result.table.assign(at_low_low=-5.0, at_low_high=5.0))
    assert tornado.turning(wide) == ([], list(result.table["key"]))
    assert "none of 3 values, moved alone, turn the sign; 3 leave it open" in (
        tornado.headline(wide)
    )
    calm = made_tornado(lead=0.5)
    assert tornado.headline(calm).endswith("none of 3 values, moved alone, turns the sign")
    unsure = dataclasses.replace(result, central=(1.0, 0.6, -0.2, 2.2))
    assert tornado.headline(unsure).endswith("the runs do not tell which policy is ahead")


def test_bars_intervals_and_data_are_those_of_the_table():
    slide, result = one("tornado"), studies()["tornado"]
    axes = drawn(slide).axes[0]
    widths = [bar.get_width() for bar in axes.patches]
    expected = [row[f"at_{end}"] - result.central[0]
                for row in result.table.to_dict("records") for end in ("low", "high")]  # fmt: skip
    assert widths == pytest.approx(expected)
    lines = [line.get_xdata() for line in axes.lines[2:]]
    limits = [[row[f"at_{end}_low"], row[f"at_{end}_high"]]
              for row in result.table.to_dict("records") for end in ("low", "high")]  # fmt: skip
    np.testing.assert_allclose(lines, limits)
    np.testing.assert_allclose(slide.data["result"] - result.central[0], expected)
    mean, _, low, high = result.central
    ends = f"{number(low, ROUND_FLOOR)} to {number(high, ROUND_CEILING)}"
    assert f"{number(mean)} g/day (95 % interval {ends})" in slide.say
    for row in result.table.to_dict("records"):
        for end in ("low", "high"):
            assert number(abs(row[f"at_{end}"])) in slide.alt


# ---- Screening


def test_screening_says_what_its_table_says():
    for name, column in (("morris", "mu_star"), ("sobol", "ST")):
        slide, table = one(name), studies()[name].table
        assert number(table["influence"].iloc[0]) in slide.title
        assert "1 of 3 turned the sign" in slide.title
        np.testing.assert_array_equal(slide.data[column], table[column])
        for row in table.itertuples():
            assert f"{labels.label(row.key)} {number(row.influence)}" in slide.alt
            assert (
                f"(95 % {number(row.influence_low)} to {number(row.influence_high)})" in slide.alt
            )


def test_too_few_points_are_said():
    result = made_sensitivity("sobol")
    result.table["influence_low"] = [0.2, 0.0, 0.0]
    result.table["influence_high"] = [8.8, 1.8, 0.7]
    slide = screening.slide(result, ORIGIN)
    index = "index of egg eating by beetles is anywhere from 0.200 to 8.80"
    assert f"with 3 points the total {index}" in slide.title
    assert "The bootstrap intervals overlap" in slide.caveat
    assert "widest interval of an index is 8.60: 3 points cannot rank" in slide.caveat


# ---- Search


def test_the_front_says_what_its_table_says():
    slide, front = one("pareto"), made_search().front
    best, least = front.iloc[0], front.iloc[1]
    assert f"Candidate A yields most, {number(best[YIELD])} g/day for" in slide.title
    assert f"{number(least['minutes_per_week'])} minutes a week" in slide.title
    assert slide.say.endswith("A means: share harvested 0.9.")
    for row in front.itertuples():
        assert (f"{row.candidate}: {number(row.yield_g_per_day)} g/day, "
                f"{number(row.minutes_per_week)} minutes a week") in slide.alt  # fmt: skip
    assert (
        "as in the file: 8.00 g/day, 400 minutes a week, fades in 32 of 100 (not on the front)"
        in (slide.alt)
    )
    gap = (front["yield_in_search"] - front[YIELD]).mean()
    assert f"{number(gap)} g/day higher on average" in slide.caveat
    again = slide.data[slide.data["shown_as"] == "run again with fresh seeds"]
    np.testing.assert_array_equal(again["yield (g/day)"], front[YIELD])
    assert len(slide.data) == len(front) + len(made_search().candidates)
    assert len(OBJECTIVES) == 3 and not slide.data.columns.duplicated().any()
    dots = drawn(slide).axes[0].collections
    shown = {(x, y) for c in dots if len(c.get_offsets()) for x, y in c.get_offsets()}
    assert set(zip(front["minutes_per_week"], front[YIELD], strict=True)) <= shown


def test_no_candidate_within_the_limits_is_said():
    result = made_search()
    result.front["on_front"] = False
    slide = pareto.slide(result, ORIGIN)
    assert slide.title == "No candidate kept to all limits in fresh runs"
    readable(slide)


# ---- Colours


@pytest.mark.parametrize("sight", SIGHT)
def test_pairs_of_colours_keep_apart_in_colour_blind_sight(sight):
    for one_, other in ((tornado.LOW, tornado.HIGH), (screening.TURNS, screening.PLAIN),
                        (heat.ABOVE, heat.BELOW)):  # fmt: skip
        a, b = (lab(SIGHT[sight] @ linear(c)) for c in (one_, other))
        assert np.linalg.norm(a - b) > 25, (one_, other)
    # An interval drawn in ink shows on the bars.
    assert all(contrast(style.INK, c) > 4 for c in (tornado.LOW, tornado.HIGH))


@pytest.mark.parametrize("name", NAMES)
def test_the_picture_is_the_one_that_is_kept(name, tmp_path):
    as_kept(one(name), f"study_{name}", tmp_path)
