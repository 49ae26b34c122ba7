"""Plans as a user meets them: command, folder, words and slides equal the tables."""

from __future__ import annotations

import io
import json
import math
import re
from contextlib import redirect_stdout
from dataclasses import replace

import pandas as pd
import pytest
from answers import of_folder
from inline import Inline
from made_up_plan import made_up
from pictures import readable
from plain_words import COLUMNS, faults
from test_plan import FLOCK, SMALL
from test_plan_over_worlds import AGAIN

from colony_sim.commands import plan as command
from colony_sim.commands.main import app
from colony_sim.errors import InputError
from colony_sim.planning import phrases, planner, words, words_page, words_short
from colony_sim.planning import slides as plan_slides
from colony_sim.planning.facts import StoredPlan, read_plan
from colony_sim.studies import repeat
from colony_sim.words.estimate import number, percents

ROOM = ["--coldest", "15", "--warmest", "29", "--years", "2", "--bin-area", "3"]


def run(folder, *options, monkeypatch, file=FLOCK):
    """The command in this process, with made-up runs (and one real run for the log)."""
    monkeypatch.setattr(planner, "open_executor", lambda workers: Inline(made_up))
    monkeypatch.setattr(
        command, "effort_of", lambda quick, over_worlds, from_log: AGAIN if over_worlds else SMALL
    )
    monkeypatch.setattr(command, "command_line", lambda: "colony-sim plan")
    monkeypatch.setenv("COLUMNS", str(COLUMNS))
    given = [str(file)] if file is not None else []
    with redirect_stdout(io.StringIO()) as screen:
        app(["plan", *given, "--out", str(folder), *map(str, options)], standalone_mode=False)
    assert faults(screen.getvalue()) == [], screen.getvalue()


@pytest.fixture(scope="module")
def short(tmp_path_factory):
    """A plan that falls short in the cold."""
    folder = tmp_path_factory.mktemp("short") / "results"
    with pytest.MonkeyPatch.context() as patch:
        run(folder, "--grams-per-day", "5", *ROOM, "--one-world", monkeypatch=patch)
    return folder


@pytest.fixture(scope="module")
def met(tmp_path_factory):
    """A plan that is met."""
    folder = tmp_path_factory.mktemp("met") / "results"
    options = ["--birds", 4, "--bins", 10, "--bin-area", 3, "--temperature", 25, "--years", 2,
               "--one-world"]  # fmt: skip
    with pytest.MonkeyPatch.context() as patch:
        run(folder, *options, "--start", "2031-03-01", monkeypatch=patch, file=None)
    return folder


def test_the_folder_holds_what_the_calendar_reads(short):
    data = json.loads((short / "manifest.json").read_text())
    study = data["study"]
    assert data["kind"] == "plan" and study["start"] == "2030-03-01"
    assert study["want"]["grams_per_day"] == 5.0
    assert study["policy"] == data["policies"][0]["handling"]
    assert study["policy"]["rack.bins"] <= study["have"]["bins"]
    assert data["climate"]["kind"] == "yearly_wave"
    log = pd.read_parquet(short / "plan_log.parquet")
    assert {"day", "bin", "action", "date_in", "date_out"} <= set(log.columns)
    assert log["day"].max() <= study["days"]
    listed = set(data["files"])
    assert listed == {p.name for p in short.iterdir()} - {"runs.sqlite", ".lock"}
    assert of_folder(short, "plan")["settings"]["want"] == study["want"]
    for slide in plan_slides.slides(short):
        assert {f"{slide.name}.png", f"{slide.name}.svg"} <= listed


def test_the_words_are_the_numbers_of_the_tables(short):
    plan = read_plan(short)
    text = (short / "verdict.txt").read_text()
    facts, share = plan.facts, plan.met
    assert not plan.is_met
    assert words.headline(plan) in text and text.startswith("This rack gives")
    assert f"{number(facts['reach']['grams'])} g a day or more" in text
    assert words.checked(plan) in text and words.given_up(plan) in text
    assert f"{share.met} of {share.runs} runs" in text
    rows = plan.tables["startup"].set_index("event")
    assert phrases.nice(rows.loc["first_harvest", "date"]) in text
    shortfalls = plan.tables["shortfalls"]
    for row in shortfalls.itertuples():
        assert words_short.limit_text(row) in text
        if not math.isnan(row.needed):
            assert number(row.needed) in words_short.limit_text(row)
    remedies = plan.tables["remedies"]
    for row in remedies.iloc[1:].itertuples():
        assert row.remedy in text
        gain = f"{row.remedy}{f' ({row.note})' if row.note else ''}: {100 * row.gain:.0f} perc"
        assert (gain in text) == bool(row.helps)
    weeks = plan.tables["weeks"]
    told = sum(s["last"] - s["first"] + 1 for s in facts["spells"])
    assert told == int(weeks["cold"].sum()) > 0
    for spell in facts["spells"]:
        assert phrases.nice(spell["begins"]) in text
    bins = facts["bins"]
    assert (
        f"{number(bins['needed'])} bins" in text
        and f"{number(bins['little'])} in use by Li" in text
    )
    months = plan.tables["purchases"]
    first = months[months["days"] >= 28].iloc[:12]
    assert f"{number(first['bran_kg'].mean())} kg of bran a month" in text


def test_the_page_has_each_limit_once(short):
    plan = read_plan(short)
    head, *lines = words_page.short(plan).split("\n")
    assert head == "What to do about it:"
    for row in plan.tables["shortfalls"].itertuples():
        head = "- not enough alone" if math.isnan(row.needed) else "- enough alone"
        said = words_short.limit_in_short(row)
        assert f"met in {round(row.met * row.runs)} of {row.runs}" in said
        assert [line.partition(":")[0] for line in lines if said in line] == [head]
    helping = plan.tables["remedies"].iloc[1:].query("helps")["remedy"]
    shown = helping.head(words_page.REMEDIES)
    assert [line for line in lines if ": feeds " in line] and all(
        line.startswith(f"- {name}: feeds ") for line, name in zip(lines, shown, strict=False)
    )
    # One temperature, wherever it is spoken of.
    warm = {word for word in re.findall(r"(\S+) °C or more", words.in_words(plan))}
    assert warm == {f"{plan.facts['warm_c']:g}"}


def test_a_plan_that_is_met_says_in_how_many_runs_and_no_more(met):
    plan = read_plan(met)
    text = words.headline(plan)
    assert plan.is_met and "shortfalls" not in plan.tables and "remedies" not in plan.tables
    assert f"in {plan.met.met} of {plan.met.runs} runs" in text
    # 6 runs cannot show 80 %, even if all are met.
    assert plan.facts["met"]["says"] == "open" and "too few to be sure of 80 %" in text
    sure = dict(plan.facts) | {"met": {**plan.facts["met"], "met": 40, "runs": 40, "says": "shown"}}
    assert "too few" not in words.headline(StoredPlan(sure, plan.tables))
    verdict = (met / "verdict.txt").read_text()
    assert "common practice, no source" in verdict and "--larvae-each" in verdict
    assert "local feed law" in verdict and "vet or a feed adviser" in verdict
    assert "the same all year" in verdict
    # Day 366 from 1 March 2031: the year has a leap day.
    assert "from 29 February 2032 on" in verdict


def test_slides_say_what_the_tables_say(short, met):
    for folder in (short, met):
        plan = read_plan(folder)
        slides = {slide.name: slide for slide in plan_slides.slides(folder)}
        assert set(slides) == {
            "plan_year", "plan_later", "plan_startup", "plan_purchases",
            *(["plan_remedies"] if folder is short else []),
        }  # fmt: skip
        weeks = plan.tables["weeks"]
        assert slides["plan_year"].data["week"].tolist() == list(range(1, 53))
        assert slides["plan_later"].data["week"].tolist() == list(range(53, len(weeks) + 1))
        first = plan.tables["startup"].set_index("event").loc["first_harvest"]
        assert words.when(first, plan.facts) in slides["plan_year"].title
        if folder is short:
            assert f"{int(weeks['short'].sum())} weeks" in slides["plan_later"].title
        for slide in slides.values():
            assert slide.say and slide.caveat and slide.alt and len(slide.data)
            readable(slide)


def test_a_plan_is_not_a_comparison_to_repeat(short):
    with pytest.raises(InputError, match="kind = 'plan'; allowed: the folder of a comparison"):
        repeat.repeat(short)


def test_the_same_command_gives_the_same_bytes_from_its_stored_runs(met, monkeypatch):
    before = {p.name: p.read_bytes() for p in met.iterdir() if p.suffix in (".csv", ".txt", ".png")}
    options = ["--birds", 4, "--bins", 10, "--bin-area", 3, "--temperature", 25, "--years", 2,
               "--one-world"]  # fmt: skip
    executor = Inline(made_up)
    run(met, *options, "--start", "2031-03-01", monkeypatch=monkeypatch, file=None)
    assert not executor.ran
    after = {name: (met / name).read_bytes() for name in before}
    assert before == after and len(before) > 8


@pytest.mark.parametrize(
    "options", [["--birds", "no"], ["--birds", "0"], ["--start", "1.3.2030"], ["--bins", "1000"]]
)
def test_bad_input_ends_with_2_and_writes_nothing(tmp_path, options, monkeypatch, capsys):
    from colony_sim.commands import main

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", ["colony-sim", "plan", str(FLOCK), *options])
    with pytest.raises(SystemExit) as ending:
        main.run()
    captured = capsys.readouterr()
    assert ending.value.code == 2 and captured.out == ""
    assert len(captured.err.strip().splitlines()) == 1
    assert options[0] in captured.err
    assert list(tmp_path.iterdir()) == []


def test_dates_and_intervals_in_words():
    facts = {"start": "2031-12-15", "days": 731, "want": {"after_days": 365}}
    assert words.due(facts) == "14 December 2032"
    row = pd.Series({
        "runs": 4, "came": 4, "date": "2032-02-29", "date_low": "2032-02-22",
        "date_high": "2032-03-07",
    })  # fmt: skip
    assert words.when(row, facts) == "29 February 2032 (22 February to 7 March)"
    same = replace_row(row, date_low="2032-02-29", date_high="2032-02-29")
    assert words.when(same, facts) == "29 February 2032 (8 of 10 runs on that day)"
    wide = replace_row(row, date_low="2031-12-30")
    assert words.when(wide, facts) == "29 February 2032 (30 December 2031 to 7 March 2032)"
    late = replace_row(row, date_high=None, came=3)
    text = words.when(late, facts)
    assert "to not by 14 December 2033" in text and text.endswith("came in 3 of 4 runs")
    assert words.when(replace_row(row, came=0), facts) == "in none of 4 runs by 14 December 2033"
    assert percents(0.1201, 0.8799) == "12 to 88 %"
    assert phrases.points(0.5, 0.401, 0.599).endswith("(95 % interval 40 to 60)")


def replace_row(row, **changes):
    return pd.Series({**row.to_dict(), **changes})


def test_no_stray_numbers_in_the_headline(short):
    plan = read_plan(short)
    facts = plan.facts
    allowed = {
        number(facts["want"]["grams_per_day"]), number(facts["mean_g_per_day"]),
        f"{100 * facts['fed_share']:.0f}",
    }  # fmt: skip
    assert set(re.findall(r"\d+(?:\.\d+)?", words.headline(plan))) == allowed


def test_grams_enough_but_not_the_minutes(short):
    plan = read_plan(short)
    facts = {
        **plan.facts,
        "reach": {"grams": 6.0, "low": 5.5, "high": 6.5, "lack": -1.0},
        "met": {**plan.facts["met"], "met": 1},
    }
    text = words.headline(replace(plan, facts=facts))
    assert "within 120 minutes a week only in 1 of" in text


def test_other_rules_in_words():
    text = words_short.other_rules("pupae.isolate False, rack.bins 20, larva.new 3")
    assert text == "pupae left where they are, 20 bins used, larva.new 3"
    assert words_short.other_rules("") == ""
