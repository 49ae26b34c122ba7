"""The picture of a comparison over worlds: its words against the tables, its dots against the data.

All gains are made up.
"""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from commandline import without_sums
from made_up_gains import CURRENCY, skewed, tables
from pictures import as_kept, drawn, readable
from test_figures import results as made_up_results
from test_figures import texts

from colony_sim.errors import InputError
from colony_sim.results.folder import write_table
from colony_sim.studies.comparison import draw, gains, gains_draw
from colony_sim.studies.comparison.gains import Side
from colony_sim.studies.comparison.results import Results, read
from colony_sim.studies.comparison.slides import slides

A, B = "every 14 days", "every 21 days"
FRACTIONS = {"half": -1.5, "most": 0.2, "nearly all": 1.0, "all": -3.0}
LONG = {
    "moved by hand every other Friday, sieved on the Monday after": 0.5,
    "moved by hand every other Friday, sieved on the Tuesday after": -0.5,
}


def one(middle: float = 0.2, worlds: int = 100, **more) -> tuple[pd.DataFrame, pd.DataFrame]:
    return tables({(A, B): skewed(worlds, middle)}, **{"zone": 0.25, **more})


def rows() -> tuple[pd.DataFrame, pd.DataFrame]:
    found = {(name, B): skewed(100, at, seed=i) for i, (name, at) in enumerate(FRACTIONS.items())}
    return tables(found, zone=0.25)


CASES = {
    "pair": (lambda: one(), [B, A]),
    "many_worlds": (lambda: one(1.2, 1024, chance=1.0), [B, A]),
    "no_zone": (lambda: one(-2.2, 40, zone=0.0), [B, A]),
    "rows": (rows, [B, *FRACTIONS]),
    "long": (
        lambda: tables({tuple(LONG): skewed(60, 0.1)}, replicates=1, zone=0.5), [*LONG],
    ),
    "once": (lambda: one(worlds=8, replicates=1), [B, A]),
}  # fmt: skip


@pytest.fixture(scope="module")
def base(tmp_path_factory) -> Results:
    folder = made_up_results(tmp_path_factory.mktemp("base") / "made-up", {B: 8.0, A: 9.0})
    return read(folder)


def of(base: Results, policies: list[str]) -> Results:
    """The made-up results under other names."""
    return dataclasses.replace(base, policies=tuple(policies))


def slide(base: Results, case: str):
    make, policies = CASES[case]
    return gains.slide(of(base, policies), *make())


def side(shares: tuple[float, float, float], error: float = 0.03) -> Side:
    own = pd.DataFrame({"world": [1, 2], "replicates": [1, 1], "gain": [-1.0, 1.0]})
    return Side(A, B, own, shares, (error, error), 0.1, 0.1, -1.0, 1.0, zone=0.5)


@pytest.mark.parametrize("case", CASES)
def test_it_can_be_read_and_its_words_are_those_of_the_tables(base, case):
    found = slide(base, case)
    figure = readable(found)
    _, verdicts = CASES[case][0]()
    words = [text.get_text() for text in texts(figure)]
    for row in verdicts.to_dict("records"):
        for share in (row["probability_a"], row["probability_b"]):
            whole = round(100 * share)
            assert any(word in (f"{whole} of 100", f"{whole}") for word in words), whole
            assert f" in {whole}" in found.say
    assert not any("world" in word.lower() for word in [*words, found.say, found.caveat])


@pytest.mark.parametrize("case", ["pair", "many_worlds", "no_zone", "rows"])
def test_every_world_is_a_dot_on_its_side(base, case):
    make, policies = CASES[case]
    own, verdicts = make()
    found = slide(base, case)
    axes = drawn(found).axes[0]
    dots = np.concatenate([c.get_offsets() for c in axes.collections if len(c.get_offsets())])
    assert len(dots) == len(own) == (found.data["what"] == "gain in a possible colony").sum()
    assert len(np.unique(np.round(dots, 9), axis=0)) == len(dots)
    zone = verdicts["zone"].iloc[0]
    inside = (np.abs(dots[:, 0]) < zone).sum(), (dots[:, 0] > zone).sum()
    assert inside == ((own["gain"].abs() <= zone).sum(), (own["gain"] > zone).sum())
    np.testing.assert_array_equal(
        np.sort(found.data.loc[found.data["world"].notna(), "value"].astype(float)),
        np.sort(own["gain"]),
    )


def test_dots_are_stacked_without_gaps_near_their_gain():
    values = skewed(200, 0.0)
    ends, wide, size = (-4.0, 2.0), 10.0, 0.2
    x, level = gains_draw.stacked(values, 0.3, ends, wide, size)
    step = size * 6.0 / wide
    near = np.abs(values) > 0.3
    assert (np.abs(x - np.clip(values, *ends))[near] <= step / 2 + 1e-9).all()
    for middle in np.unique(x):
        assert sorted(level[x == middle]) == list(range((x == middle).sum()))
    # No stack lies upon another, nor upon the edge of the zone.
    apart = np.diff(np.unique(x))
    assert (apart > 0.99 * step).all()
    assert (np.abs(np.abs(x) - 0.3) > 0.49 * step).all()


def test_gains_far_out_are_counted_at_the_edge(base):
    far = np.append(skewed(60, 0.2), [90.0, 95.0, -80.0])
    found = gains.slide(of(base, [B, A]), *tables({(A, B): far}, zone=0.25))
    figure = readable(found)
    words = [text.get_text() for text in texts(figure)]
    assert "2 farther out" in words and "1 farther out" in words
    low, high = figure.axes[0].get_xlim()
    assert low > -30 and high < 30


@pytest.mark.parametrize(
    ("shares", "title"),
    [
        ((0.95, 0.03, 0.02), f"“{A}” gives more larvae than “{B}”: in 95 of 100"),
        ((0.02, 0.17, 0.81), f"Probably “{B}” gives more larvae than “{A}”: in 81 of 100"),
        ((0.45, 0.2, 0.35), f"Nobody knows yet which gives more larvae: “{A}” or “{B}”"),
        ((0.05, 0.35, 0.6), f"“{B}” does as well as “{A}” or better: worse in 5 of 100"),
        ((0.1, 0.8, 0.1), f"It hardly matters in 80 of 100: “{A}” or “{B}”"),
        ((0.997, 0.0, 0.003), f"“{A}” gives more larvae than “{B}”: in 99 of 100"),
    ],
)
def test_a_title_is_no_stronger_than_the_probability(shares, title):
    assert gains._title([side(shares)], "gives more larvae", 60) == title


@pytest.mark.parametrize(
    ("ahead", "title"),
    [
        ([0.5, 0.75, 0.72], "Probably “1” gives more larvae than “R”: in 75 of 100"),
        ([0.01, 0.05, 0.02], "“R” gives more larvae than each of 3 others"),
        ([0.2, 0.5, 0.1], "2 of 3 others fall behind “R”; the rest is open"),
        ([0.5, 0.4, 0.45], "Nobody knows yet whether one gives more larvae than “R”"),
    ],
)
def test_the_title_of_several_names_what_is_clear(ahead, title):
    sides = [
        dataclasses.replace(side((p, 0.0, 1 - p)), a=f"{i}", b="R") for i, p in enumerate(ahead)
    ]
    assert gains._title(sides, "gives more larvae", 60) == title


def test_luck_is_that_of_the_mean_that_a_dot_shows(base):
    own, verdicts = one(chance=0.8, replicates=4)
    (found,) = gains.sides_of(own, verdicts, CURRENCY)
    assert found.chance == pytest.approx(verdicts["sd_chance"].iloc[0] / 2)
    assert found.chance == pytest.approx(0.4, rel=0.15)
    (single,) = gains.sides_of(*one(replicates=1), CURRENCY)
    assert math.isnan(single.chance)
    assert "luck is part of the counts" in slide(base, "once").caveat


def test_the_group_against_one_policy_is_drawn_and_only_of_the_currency(base):
    pairs = {(name, B): skewed(20, at) for name, at in FRACTIONS.items()}
    pairs |= {("all", "half"): skewed(20, 0.0)}
    other = tables(pairs, currency="g per kg of bran")
    both = [pd.concat(part) for part in zip(tables(pairs, zone=0.25), other, strict=True)]
    sides = gains.sides_of(*both, "g per kg of bran")
    assert [each.a for each in sides] == list(FRACTIONS) and {each.b for each in sides} == {B}
    assert all(each.zone == 0.0 and len(each.gains) == 20 for each in sides)
    found = gains.slide(of(base, [B, *FRACTIONS]), *both, "g per kg of bran")
    assert "kilogram of bran" in found.title
    with pytest.raises(InputError, match="currency = 'g per bird'; allowed: one of g/day, g per"):
        gains.slide(base, *both, "g per bird")


def test_a_comparison_over_worlds_opens_with_it_and_one_of_one_world_does_not(tmp_path):
    folder = made_up_results(tmp_path / "made-up", {B: 8.0, A: 9.0})
    daily = pd.read_parquet(folder / "daily.parquet")
    without_sums(folder)
    daily.assign(larvae_g=100.0, adults=50).to_parquet(folder / "daily.parquet", index=False)

    def more(folder):
        return [each for each in slides(folder) if not each.talk]

    assert more(folder)[0].name == "comparison"
    assert gains.slides(read(folder), folder) == []
    for name, table in zip(gains.TABLES, one(), strict=True):
        write_table(folder, name, table)
    names = [each.name for each in more(folder)[:2]]
    assert names == ["gains", "comparison"]
    paths = [Path(path).name for path in draw.draw(folder)]
    assert paths == ["gains.png", "gains.svg", "comparison.png", "comparison.svg"]


@pytest.mark.parametrize("case", ["pair", "rows"])
def test_the_picture_is_the_one_that_is_kept(base, case, tmp_path):
    as_kept(slide(base, case), f"gains_{case}", tmp_path)
