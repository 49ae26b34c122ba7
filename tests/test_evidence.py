"""Published numbers: the data, the judging, the boxes, the command and its figure."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pandas as pd
import pytest
from answers import of_folder
from commandline import cli

from colony_sim.biology.growth import Law, ideal_clock, ideal_mass
from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.biology.rates import day_rates
from colony_sim.errors import InputError
from colony_sim.evidence import draw as figure
from colony_sim.evidence import keepers, words
from colony_sim.evidence.box import Boxes
from colony_sim.evidence.conditions import DRAWS, conditions, draw
from colony_sim.evidence.misses import misses, read_misses
from colony_sim.evidence.numbers import (
    Compare,
    Number,
    Read,
    Standing,
    allowances,
    numbers,
    read_allowances,
    read_numbers,
)
from colony_sim.evidence.registry import replications
from colony_sim.evidence.run import NEVER, judge, run
from colony_sim.evidence.teeth import moves, shipped, teeth, text_of, uninformed
from colony_sim.figures import style
from colony_sim.population import census
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

DEFAULT = Parameters.default()
NUMBER = Number(
    id="made.up", replication="made", theme="development", quantity="egg period", low=10.0,
    high=12.0, unit="d", sd=math.nan, kind="duration", compare=Compare.OVERLAP, conditions="",
    reading="", source="made up", read=Read.TEXT, standing=Standing.JUDGED, sets=(), reason="none",
)  # fmt: skip


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """A folder with the finished command at the defaults, and what it printed."""
    place = tmp_path_factory.mktemp("evidence")
    code, out, _ = cli(
        "evidence", "--workers", 1, "--out", "found", "--full", cwd=place, faults=None
    )
    assert code == 0
    return place / "found", out.splitlines()


@pytest.fixture(scope="module")
def table(done):
    return pd.read_csv(done[0] / "evidence.csv", keep_default_na=True)


def test_the_answer_is_data_too(done):
    document = of_folder(done[0], "evidence")
    assert document["answer"].rstrip(".") == done[1][0].rstrip(".")
    assert len(document["tables"]["evidence"]["records"] or ()) == len(numbers())


# -- the data -----------------------------------------------------------------------------


def test_at_least_half_is_judged_and_nothing_else_is_shown():
    counts = pd.Series([n.standing for n in numbers()]).value_counts()
    assert set(counts.index) == set(Standing)
    assert 2 * counts[Standing.JUDGED] >= len(numbers())


def test_every_number_has_a_source_a_reason_and_an_allowance():
    for n in numbers():
        assert n.source and n.reason and allowances()[n.kind].reason, n.id
        assert (n.standing is Standing.USED) == bool(n.sets), n.id
        assert all(catalogue()[key].group == "biology" for key in n.sets), n.id
        if n.compare is Compare.WORDS:
            assert allowances()[n.kind].widened(1.0, 2.0) == (1.0, 2.0), n.id


def test_every_number_that_counts_is_lived_and_no_replication_is_idle():
    lived = {n.replication for n in numbers() if n.standing is not Standing.HELD}
    assert lived == set(replications())


def test_open_circumstances_are_named_and_all_used():
    used = {name for r in replications().values() for name in r.conditions}
    assert used == set(conditions())
    for of in conditions().values():
        assert of.low < of.high and of.reason and of.unit


def rows_of_file() -> list[dict]:
    text = files("colony_sim.evidence").joinpath("numbers.csv").read_text("utf-8")
    return list(csv.DictReader(io.StringIO(text)))


def as_csv(rows: list[dict]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def test_the_file_reads_back():
    again = read_numbers(as_csv(rows_of_file()), "x.csv", allowances())
    assert [n.id for n in again] == [n.id for n in numbers()]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"id": "Koo 2013"}, "id"),
        ({"id": "koo2013.larva_30"}, "each id once"),
        ({"replication": "other"}, "replication"),
        ({"source": ""}, "source"),
        ({"reason": ""}, "reason"),
        ({"kind": "luck"}, "kind"),
        ({"standing": "shown"}, "standing"),
        ({"compare": "eye"}, "compare"),
        ({"read": "X"}, "read"),
        ({"low": "ten"}, "low"),
        ({"low": "300", "high": "200"}, "at most high"),
        ({"low": "", "high": ""}, "at most high"),
        ({"sets": "larva.duration_days"}, "sets"),
        ({"standing": "used"}, "sets"),
        ({"standing": "used", "sets": "larva.luck"}, "known parameter keys"),
        ({"reading": "longer"}, "reading"),
        ({"compare": "words"}, "reading"),
    ],
)
def test_bad_rows_are_refused(change, told):
    rows = rows_of_file()
    rows[0] |= change
    with pytest.raises(InputError) as caught:
        read_numbers(as_csv(rows), "numbers.csv", allowances())
    assert told in caught.value.line and "\n" not in caught.value.line


def test_a_missing_column_is_refused():
    rows = [{k: v for k, v in row.items() if k != "kind"} for row in rows_of_file()]
    with pytest.raises(InputError, match="columns"):
        read_numbers(as_csv(rows), "numbers.csv", allowances())


@pytest.mark.parametrize(
    "text",
    [
        "[mass]\nbelow = 0.8\nabove = 1.25\nreason = 'x'",
        "[mass]\npoints = -1\nreason = 'x'",
        "[mass]\nbelow = 1.25\nabove = 1.25",
        "[mass]\nfactor = 2\nreason = 'x'",
    ],
)
def test_bad_allowances_are_refused(text):
    with pytest.raises(InputError, match="mass"):
        read_allowances(text, "allowed.toml")


def test_misses_name_what_is_known(table):
    assert all(misses().values())
    for text in ("[koo2013]\nluck = 'x'", "[koo2013]\nlarva_17 = ''", "[eberle2022]\nfastest_25=1"):
        with pytest.raises(InputError):
            read_misses(text, "misses.toml")


# -- judging ------------------------------------------------------------------------------


def outcome(values, **changed):
    number = replace(NUMBER, **changed)
    return judge(number, [np.atleast_1d(v).astype(float) for v in values])


@pytest.mark.parametrize(
    ("values", "miss"),
    [
        ([11.0] * 6, ""),
        ([15.0] * 6, ""),  # 12 x 1.25
        ([15.01] * 6, "high"),
        ([8.0] * 6, ""),
        ([7.99] * 6, "low"),
        ([14.9, 16, 16, 17, 18, 19], "high"),
        ([13.0, 13, 16, 17, 18, 19], ""),
        ([11.0, math.nan], "none"),
        ([math.inf] * 6, "high"),
    ],
)
def test_the_range_of_the_draws_must_reach_the_widened_number(values, miss):
    row = outcome(values)
    assert (row["miss"], row["in"]) == (miss, miss == "")
    assert not math.isnan(row["model"]) or miss == "none"
    assert not row["model"] > NEVER


def test_words_are_judged_by_the_median():
    given = {"compare": Compare.WORDS, "kind": "words", "low": 1.0, "high": math.inf}
    assert outcome([0.9, 1.1, 1.2], **given)["in"]
    assert outcome([0.9, 0.95, 1.2], **given)["miss"] == "low"


def test_individuals_must_lie_within_the_published_range():
    given = {"compare": Compare.INDIVIDUALS, "low": 20.0, "high": 100.0}
    assert outcome([np.linspace(20, 100, 50)] * 2, **given)["in"]
    assert outcome([np.linspace(20, 200, 50)] * 2, **given)["miss"] == "high"
    assert outcome([np.linspace(1, 200, 50)] * 2, **given)["miss"] == "wide"


def test_ratio_is_to_the_nearest_end():
    assert outcome([24.0])["ratio"] == pytest.approx(2.0)
    assert outcome([5.0])["ratio"] == pytest.approx(0.5)
    assert outcome([11.0])["ratio"] == 1.0
    assert math.isnan(outcome([1.0], low=0.0, high=0.0, kind="none")["ratio"])


def test_what_is_held_against_never_comes_out_and_a_number_not_lived_is_told():
    row = judge(replace(NUMBER, standing=Standing.HELD), None)
    assert not row["in"] and math.isnan(row["model"])
    with pytest.raises(KeyError, match=r"made\.up"):
        judge(NUMBER, None)


def test_a_wrong_value_flips_a_status():
    right = run(DEFAULT, only=["huang2011"]).set_index("id")["in"]
    wrong = DEFAULT.with_values({"egg.duration_days": 12.0, "pupa.hazard_per_day": 0.1}, "test")
    flipped = run(wrong, only=["huang2011"]).set_index("id")["in"]
    assert right["huang2011.egg"] and not flipped["huang2011.egg"]
    assert right["huang2011.emerging"] and not flipped["huang2011.emerging"]


def test_draws_stay_in_their_ranges_and_apart():
    some = draw(("water", "depth_cm"), "koo2013", 1)
    more = draw(("depth_cm", "water", "larvae_per_cm3"), "koo2013", 1)
    assert len(some) == DRAWS
    assert [d["water"] for d in some] == [d["water"] for d in more]
    assert [d["water"] for d in some] != [d["water"] for d in draw(("water",), "koo2013", 2)]
    assert [d["water"] for d in some] != [d["water"] for d in draw(("water",), "park2014", 1)]
    for name in ("water", "depth_cm"):
        of = conditions()[name]
        strata = sorted((d[name] - of.low) / (of.high - of.low) * DRAWS for d in some)
        assert strata == pytest.approx(np.arange(DRAWS) + 0.5)


# -- boxes --------------------------------------------------------------------------------


@pytest.mark.parametrize("law", [law.name.lower() for law in Law])
def test_the_clock_of_a_mass_gives_that_mass(law):
    p = DEFAULT.with_values({"growth.law": law}, "test")
    for mass in (0.5, 20.0, 120.0):
        assert ideal_mass(p, ideal_clock(p, mass)) == pytest.approx(mass, rel=1e-9)
    assert ideal_clock(p, p["larva.mature_mass_mg"]) == pytest.approx(1.0)


def test_eggs_hatch_at_the_model_rate_and_share():
    box = Boxes(DEFAULT, 3, area_dm2=10.0, bran_g=500.0)
    box.eggs(4000, 25.0)
    record = box.live(25.0, 60, remove=(Stage.LARVA,))
    rates = day_rates(DEFAULT, 25.0)
    assert record.mean_day(Event.EGG_HATCHED) == pytest.approx(1.0 / rates.egg, abs=0.1)
    share = record.total(Event.EGG_HATCHED) / 4000
    assert share == pytest.approx(rates.viability, abs=0.03)


def test_larvae_of_a_mass_weigh_it_and_boxes_hold_what_they_are_given():
    box = Boxes(DEFAULT, 3, boxes=2, area_dm2=10.0, bran_g=np.array([500.0, 200.0]))
    box.larvae(np.array([3000, 10]), mass_mg=60.0)
    assert box.masses(Stage.LARVA, 0).mean() == pytest.approx(60.0, rel=0.05)
    assert box.table[:, census.LARVAE].tolist() == [3000, 10, 0]
    box.step(25.0)
    assert (box.substrate.bran[:2] < box.bran).all()
    box.step(25.0)
    assert box.substrate.bran[1] > 0.9 * box.bran[1]


def test_water_is_the_share_of_the_need_that_is_met():
    for water in (0.0, 0.3, 1.0):
        box = Boxes(DEFAULT, 3, area_dm2=10.0, bran_g=500.0, water=water)
        box.larvae(50, mass_mg=60.0)
        box.step(25.0)
        assert box.substrate.wetness[0] == pytest.approx(water, abs=1e-6)


def test_beetles_are_paired_and_teneral_when_they_have_just_emerged():
    box = Boxes(DEFAULT, 3, boxes=3, area_dm2=1.0)
    box.beetles(4, 25.0)
    sex = box.insects.view("flags") & 1
    place = box.insects.view("bin")
    assert [int(sex[place == k].sum()) for k in range(3)] == [2, 2, 2]
    assert box.table[:, census.BREEDERS].sum() == 0
    box.beetles(200, 25.0, age=20.0, female=1.0)
    assert box.table[0, census.BREEDERS] == 200 and box.table[0, census.MALES] == 0


# -- teeth --------------------------------------------------------------------------------


def test_teeth_find_what_informs_a_value_and_what_none_informs():
    found = teeth(
        DEFAULT, keys=["egg.duration_days", "adult.lethal_low_c"], only=["huang2011"], workers=1
    )
    assert found["end"].tolist() == ["low", "high"] * 2
    egg = found[found["key"] == "egg.duration_days"]
    assert "huang2011.egg" in egg["falls_out"].iloc[1].split()
    assert uninformed(found) == ["adult.lethal_low_c"]


def test_every_value_of_the_biology_is_moved_and_choices_too():
    made = moves(DEFAULT)
    biology = {k for k, e in catalogue().items() if e.group == "biology"}
    assert {m.key for m in made} == biology
    laws = {m.end for m in made if m.key == "growth.law"}
    assert laws == {law.name.lower() for law in Law} - {DEFAULT["growth.law"]}
    with pytest.raises(InputError):
        moves(DEFAULT, ["rotation.interval_days"])


def test_the_shipped_table_is_of_the_defaults(done):
    told = shipped()
    assert [*zip(told["key"], told["end"], told["asked"], strict=True)] == [
        (m.key, m.end, text_of(m.asked)) for m in moves(DEFAULT)
    ]
    known = {n.id for n in numbers() if n.standing is not Standing.HELD}
    for column in ("comes_out", "falls_out"):
        assert {name for ids in told[column] for name in ids.split()} <= known
    assert 0 < len(uninformed(told)) < told["key"].nunique()
    assert words.uninformed_line(told) in done[1]


def test_an_end_that_clashes_is_moved_half_way_back():
    p = DEFAULT.with_values({"feed.per_gain": 2.1, "feed.frass_share": 0.5}, "test")
    high = moves(p, ["feed.frass_share"])[1]
    assert (high.asked, high.moved_to) == (0.54, pytest.approx(0.52))
    p = DEFAULT.with_values({"feed.per_gain": 2.0, "feed.frass_share": 0.5}, "test")
    assert moves(p, ["feed.frass_share"])[1].moved_to is None


# -- keepers ------------------------------------------------------------------------------


def test_the_closing_size_closes_the_gap_and_none_larger_does():
    quick = {"larva.duration_days": 85.0, "growth.dry_share": 0.9}
    seen = keepers._Watched(DEFAULT.with_values(quick, "test"), 27.0, 1)
    size = seen.closing_size(70.0)
    assert seen.first_harvest(size) <= 70.0 < seen.first_harvest(size + 0.5)
    assert seen.first_harvest(20.0) <= seen.first_harvest(80.0)


# -- the command and its figure -----------------------------------------------------------


def test_the_command_says_first_how_many_come_out(done, table):
    out = done[1]
    judged = table[table["standing"] == "judged"]
    assert out[0] == words.headline(table)
    assert out[0].startswith(f"{judged['in'].sum()} of {len(judged)} judged numbers come out;")
    for number in numbers():
        assert sum(f"({number.id})" in line for line in out) == 1, number.id
    assert (done[0] / "verdict.txt").read_text().splitlines()[0] == out[0]


def test_the_table_holds_every_number_once(table):
    assert table["id"].tolist() == [n.id for n in numbers()]
    held = table["standing"] == "held against"
    assert not table.loc[held, "in"].any()
    assert table.loc[~held, "model"].notna().sum() > 0.95 * (~held).sum()


def test_what_does_not_come_out_is_named_with_a_reason_and_nothing_else(done, table):
    seen = table[table["standing"] != "held against"]
    facts = pd.read_csv(done[0] / "keepers.csv")
    out = {*seen.loc[~seen["in"], "id"], *facts.loc[~facts["in"], "id"]}
    assert out == set(misses())
    text = "\n".join(done[1])
    assert all(reason in text for reason in misses().values())


def test_the_files_are_there(done):
    names = {path.name for path in done[0].iterdir()}
    wanted = {"evidence.csv", "evidence.png", "evidence.svg", "keepers.csv", "manifest.json"}
    assert wanted <= names


def test_the_figure_draws_the_numbers_of_the_table(table):
    drawn = figure.marks(table)
    assert drawn["id"].tolist() == table["id"].tolist()
    by_id = {n.id: n for n in numbers()}
    with_mark = drawn[drawn["note"] == ""]
    for row, of in zip(drawn.itertuples(), table.itertuples(), strict=True):
        if row.note == "":
            number = by_id[row.id]
            scale = 1.0 if number.compare is Compare.WORDS and number.unit == "ratio" else None
            scale = scale or number.middle
            assert row.at * scale == pytest.approx(of.model)
            assert row.published_from * scale == pytest.approx(number.low)
        else:
            assert row.note
    with style.theme():
        painted = figure.draw(table)
    dots = [
        line.get_xdata()[0]
        for axes in painted.axes
        for line in axes.lines
        if line.get_marker() in ("o", "<", ">")
    ]
    expected = with_mark["at"].clip(*figure.EDGES)
    assert sorted(dots) == pytest.approx(sorted(expected))


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--set", "larva.luck=1"], "larva.luck"),
        (["--set", "rotation.interval_days=7"], "biology"),
        (["--set", "egg.duration_days=-3"], "egg.duration_days"),
        (["--set", "egg.duration_days=6,7"], "one value"),
        (["--set", "egg.duration_days=6", "--set", "egg.duration_days=7"], "given twice"),
        (["--set", "growth.law=magic"], "growth.law"),
        (["--seed", "-1"], "--seed"),
        (["--keys", "egg.duration_days"], "--teeth"),
        (["--teeth", "--keys", "egg.luck"], "egg.luck"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_two(tmp_path, given, told):
    code, out, err = cli("evidence", *given, cwd=tmp_path, faults=None)
    assert (code, out, len(err)) == (2, "", 1)
    assert told in err[0]
    assert not (tmp_path / "results").exists()
