"""The state of a rack today: the statistics, colonies kept and gone on from, words and page."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import plain_words
import pytest
from answers import of_folder
from commandline import cli
from small_log import FILE, LOG, MEMBERS, MORE, ON, asked_of

from colony_sim.assimilation import lived, look, page, remembered, today, words
from colony_sim.assimilation.checkpoint import Kept, prefix_digest
from colony_sim.assimilation.conditioning import Draws, Kind, Nearness, adjust, kernel
from colony_sim.assimilation.misfit import _left_out, _residuals, misfit
from colony_sim.assimilation.onward import Course
from colony_sim.assimilation.today import assimilate
from colony_sim.assimilation.told import Floor, Move, Range, Told, _buy, _take, tell
from colony_sim.colony.bins import Phase
from colony_sim.commands.today import run_today
from colony_sim.errors import InputError
from colony_sim.logs.log_rows import Layout
from colony_sim.logs.logbook import parse
from colony_sim.logs.schedule import compile_schedule
from colony_sim.running.runner import Progress
from colony_sim.statistics.ridge import ridge


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("today")
    asked = asked_of(folder)
    return folder, asked, assimilate(asked.ensemble, MEMBERS, folder, otherwise=False)


# ---- Statistics


def test_leaving_rows_out_in_closed_form_is_what_refitting_without_them_gives():
    rng = np.random.default_rng(1)
    x, weights, new = rng.normal(size=(20, 30)), rng.random(20) + 0.1, rng.normal(size=30)
    y = x[:, :2] + rng.normal(size=(20, 2))
    found = ridge(x, y, weights, penalties=np.array([3.0]))
    drawn = found.jackknife(new, y)
    share = weights / weights.sum() * 20
    for row in range(20):
        rest = np.arange(20) != row
        a = np.column_stack([np.ones(20), x - found.centre])[rest]
        pull = np.diag([0.0] + [3.0] * 30)
        beta = np.linalg.solve(a.T * share[rest] @ a + pull, a.T * share[rest] @ y[rest])
        there, here = (np.append(1, z - found.centre) @ beta for z in (x[row], new))
        assert found.left_out[row] == pytest.approx(there)
        assert drawn[row] == pytest.approx(here + y[row] - there)


def test_intervals_hold_the_truth_as_often_as_they_say_and_are_narrower_than_before():
    """80 logs; the false-alarm rate of each share is 1e-3 (binomial)."""
    rng = np.random.default_rng(2)
    hidden = rng.normal(size=(280, 3))
    contents = np.expm1(np.maximum(4 + hidden @ rng.normal(size=(3, 4)), 0))[:, None, :]
    features = hidden @ rng.normal(size=(3, 12)) + 0.3 * rng.normal(size=(280, 12))
    held, width = [], []
    for row in range(80):
        rest = np.arange(280) != row
        near = Nearness.learn(features[rest], np.log1p(contents[rest, 0]))
        weights = kernel(near.distances(features[row]), 112)
        draws = adjust(features[rest], {"x": contents[rest]}, {"x": Kind()}, weights, features[row])
        low, high = draws.quantiles(draws.values["x"], (0.05, 0.95))
        held.append(((low <= contents[row]) & (contents[row] <= high)).mean())
        width.append(np.log1p(high - low).mean())
        assert 40 < draws.effective < 112
    before = np.subtract(*np.quantile(contents, [0.95, 0.05], axis=0))
    assert 0.80 < np.mean(held) < 0.98
    assert np.mean(width) < np.log1p(before).mean() - 0.5


def test_without_a_number_in_the_log_all_possible_colonies_are_alike():
    values = {"x": np.arange(12.0)[:, None]}
    draws = adjust(np.empty((12, 0)), values, {"x": Kind()}, np.ones(12), np.empty(0))
    assert draws.effective == pytest.approx(12)
    assert draws.values["x"] == pytest.approx(values["x"])


def test_leaving_a_member_out_in_closed_form_is_what_comparing_it_with_the_others_gives():
    table = np.random.default_rng(4).normal(size=(12, 20))
    others = [_residuals(np.delete(table, row, axis=0), table[row]) for row in range(12)]
    assert _left_out(table) == pytest.approx(np.stack(others))


def test_a_log_that_none_writes_is_told_apart_and_the_bin_is_named():
    schedule = compile_schedule(parse(LOG)[0])
    rng = np.random.default_rng(3)
    common = rng.normal(size=(150, 1))
    members = common + 0.3 * rng.normal(size=(150, len(schedule.observed)))
    assert misfit(schedule, members[1:], members[0]).p > 0.05
    strange = members[0].copy()
    place = next(k for k, one in enumerate(schedule.observed) if one.entry.bin == "B")
    strange[place] += 4.0
    found = misfit(schedule, members[1:], strange)
    assert found.doubtful and found.strange[0].bin == "B"
    assert found.residuals[place] == max(found.residuals)


# ---- Colonies


def test_a_colony_gone_on_from_is_the_colony_lived_from_the_start(tmp_path):
    ensemble, longer = (asked_of(tmp_path, text, on).ensemble for text, on in (
        (LOG, ON), (LOG + MORE, ON + datetime.timedelta(days=2)),
    ))  # fmt: skip
    kept = Kept(tmp_path / "kept")
    ensemble.today_of(3, save=kept)
    assert ensemble.kept_digest(ensemble.keep_day) == longer.kept_digest(ensemble.keep_day)
    assert prefix_digest(longer.schedule, 29) != prefix_digest(ensemble.schedule, 29)
    again, whole = longer.today_of(3, kept), longer.today_of(3)
    assert np.array_equal(lived.shown(again), lived.shown(whole))
    assert np.array_equal(lived.contents(again), lived.contents(whole))
    for name, values in lived.live_on(again).items():
        assert np.array_equal(values, lived.live_on(longer.today_of(3))[name]), name
    (tmp_path / "kept" / "3.colony").write_bytes(b"damaged")
    assert np.array_equal(lived.shown(longer.today_of(3, kept)), lived.shown(whole))


def test_the_beetles_are_moved_on_the_day_that_is_chosen_and_by_the_rules_else(tmp_path):
    ensemble = asked_of(tmp_path, **{"rotation.interval_days": 14}).ensemble
    for course, day in ((Course(), 7), (Course(move_on=1), 1), (Course(move_on=11), 11)):
        came = lived.live_on(ensemble.today_of(1), course)
        assert came["move"][0] == day
    took = [
        lived.live_on(ensemble.today_of(1), Course(rules=(("harvest.fraction", share),)))[
            "harvest_g"
        ].sum()
        for share in (0.2, 0.9)
    ]
    assert took[0] <= took[1]


def test_a_further_row_goes_on_from_the_nearest_and_the_same_log_gives_the_same_again(whole):
    folder, asked, state = whole
    again = assimilate(asked.ensemble, MEMBERS, folder, otherwise=False)
    assert not again.resumed
    for name, values in state.draws.values.items():
        assert np.array_equal(values, again.draws.values[name]), name
    later = asked_of(folder, LOG + MORE, ON + datetime.timedelta(days=2))
    told = []
    went_on = assimilate(later.ensemble, MEMBERS, folder, otherwise=False, on_first=told.append)
    assert words.first_state(told[0]).startswith(f"The state today, from {told[0].members} ")
    assert went_on.resumed and set(went_on.members) <= set(state.members)
    day = asked.ensemble.keep_day
    other = asked_of(folder, LOG.replace("52", "40"))
    assert other.ensemble.kept_digest(day) != asked.ensemble.kept_digest(day)
    (folder / "shed.csv").write_text(LOG, encoding="utf-8")


def test_other_courses_are_not_lived_again_for_a_count_of_the_next_days(whole, monkeypatch):
    folder, asked, _ = whole
    monkeypatch.setattr(today, "OTHERWISE", 2)
    first = assimilate(asked.ensemble, MEMBERS, folder).otherwise
    assert first.day == asked.ensemble.today and first.harvested_g.shape == (2, 7)
    later = asked_of(folder, LOG + MORE, ON + datetime.timedelta(days=2))
    state = assimilate(later.ensemble, MEMBERS, folder)
    again = state.otherwise
    assert again.day == first.day and set(again.members) <= set(first.members)
    places = [first.members.tolist().index(member) for member in again.members]
    assert np.array_equal(again.beetles, first.beetles[places])
    share = dict(zip(state.members.tolist(), state.draws.weights, strict=True))
    of_now = np.array([share[member] for member in again.members])
    assert again.weights == pytest.approx(of_now / of_now.sum())
    told = tell(later, state)
    assert told.waits_on == ON and "moving on 29 Mar, over" in words.waiting(told)

    index = remembered.fitting_index(folder / "colonies", later.ensemble)
    moved = LOG + "2031-03-30,C,beetles out,beetles,40,,,,\n2031-03-30,A,beetles in,beetles,,,,,\n"
    for text, days, kept in ((LOG + MORE, 3, True), (LOG + MORE, 4, False), (moved, 2, False)):
        ensemble = asked_of(folder, text, ON + datetime.timedelta(days=days)).ensemble
        found = remembered.tried_before(
            folder / "colonies", ensemble, index, first.members.tolist(), np.ones(2)
        )
        assert (found is not None) == kept, (days, text)
    (folder / "shed.csv").write_text(LOG, encoding="utf-8")


def test_two_workers_give_the_bytes_of_one(whole, tmp_path):
    _, asked, state = whole
    two = assimilate(asked.ensemble, MEMBERS, tmp_path, otherwise=False, workers=2)
    for name, values in state.draws.values.items():
        assert values.tobytes() == two.draws.values[name].tobytes(), name
    assert state.draws.weights.tobytes() == two.draws.weights.tobytes()
    kept, kept_by_two = (
        {path.name: path.read_bytes() for path in (home / "colonies").glob("*/*.colony")}
        for home in (whole[0], tmp_path)
    )
    assert kept == kept_by_two and kept


def test_a_first_state_is_told_of_some_and_changes_nothing(whole, monkeypatch):
    folder, asked, state = whole
    monkeypatch.setattr(today, "FIRST", 16)
    told = []
    again = assimilate(
        asked.ensemble, MEMBERS, folder, anew=True, otherwise=False, on_first=told.append
    )
    assert [(first.members, first.of) for first in told] == [(16, MEMBERS)]
    assert f"from 16 of {MEMBERS} possible colonies: " in words.first_state(told[0])
    # Of the colonies that were lived by then alone.
    beetles = told[0].draws.values["rack"][:, lived.CONTENTS.index("beetles")]
    assert 2 <= beetles.size <= 16 and beetles.max() > 0
    for name, values in state.draws.values.items():
        np.testing.assert_array_equal(again.draws.values[name], values)


def test_the_time_left_is_that_of_all_stages(monkeypatch):
    """Ten lives of 1 s, five of them kept, then two of 10 s."""
    clock = [0.0]
    monkeypatch.setattr(today.time, "monotonic", lambda: clock[0])
    told = []
    whole = today._Whole([(10, 1.0), (2, 10.0)], told.append)
    clock[0] = 3.0
    whole.next()(Progress(8, 10, 5, 0, None))
    assert (told[-1].done, told[-1].total, told[-1].reused) == (8, 12, 5)
    assert told[-1].seconds_left == pytest.approx(22.0)
    clock[0] = 15.0
    whole.next()(Progress(1, 2, 0, 0, None))
    assert told[-1].done == 11 and told[-1].seconds_left == pytest.approx(10.0)


# ---- Questions that cannot be answered


def test_a_day_before_the_log_is_refused(tmp_path):
    with pytest.raises(InputError, match="--on"):
        asked_of(tmp_path, on=datetime.date(2031, 2, 1))


def test_today_is_the_last_row_where_that_is_long_past(tmp_path):
    asked = asked_of(tmp_path, LOG.replace("2031", "2001"), None)
    assert asked.on == datetime.date(2001, 3, 28) and "--on" in asked.notes[0]


# ---- Words and page


@pytest.fixture(scope="module")
def told(whole) -> Told:
    _, asked, state = whole
    return tell(asked, state)


def test_types_hold_what_the_log_says_for_certain(told):
    assert [bin_.phase for bin_ in told.bins] == ["growing", "growing", "breeding", "free"]
    assert [bin_.name for bin_ in told.bins] == ["A", "B", "C", "1"]
    assert told.bins[2].beetles_in == datetime.date(2031, 3, 21)
    assert told.bins[0].contents["beetles"].high_90 < told.bins[2].contents["beetles"].low_90
    for bin_ in told.bins:
        for one in bin_.contents.values():
            ends = [one.low_90, one.low_50, one.median, one.high_50, one.high_90]
            assert ends == sorted(ends) and ends[0] >= 0
    assert told.known["beetles"] > 0.2


@pytest.mark.parametrize(
    ("due", "begins"),
    [
        (1, "Move the beetles"),
        (2, "Move the beetles"),
        (3, "Do not move"),
        (-4, "Move the beetles"),
    ],
)
def test_the_first_sentence_says_whether_to_move_the_beetles_this_weekend(told, due, begins):
    """Today is a Friday: Sunday is in two days."""
    move = Move(("C",), 14 - due, Range(*[float(due)] * 5), True, 14.0)
    text = words.headline(replace(told, move=move))
    assert text.startswith(begins) and "bin C" in text and "14 days" in text
    assert ("4 days late" in text) == (due < 0)
    monday = replace(told, on=told.on - datetime.timedelta(days=4), move=move)
    assert ("weekend at the latest" in words.headline(monday)) == (0 <= due < 5)


def test_what_is_past_its_day_is_overdue_everywhere(told):
    breeding = told.bins[2]
    step = next(step for step in breeding.steps if step.what == "beetles out")
    late = replace(step, days=Range(*[-8.0] * 5))
    bins = (*told.bins[:2], replace(breeding, steps=(late,)), *told.bins[3:])
    late_rack = replace(told, bins=bins)
    text = page.html(late_rack, Layout.of(LOG))[0] + "\n".join(words.bins(late_rack))
    assert text.count("overdue since Thu 20 Mar") == 3  # The work, the bin, the line.
    assert "on Thu 20 Mar" not in text


def _state(beetles, now):
    """Draws of beetles: today, and at the end of each week (draws x weeks)."""
    rack = np.zeros((len(now), len(lived.CONTENTS)))
    rack[:, lived.CONTENTS.index("beetles")] = now
    weights = np.full(len(now), 1 / len(now))
    draws = Draws(weights, {"rack": rack, "beetles": np.asarray(beetles, float)})
    rules = {"harvest.fraction": 0.7}
    return SimpleNamespace(
        draws=draws, otherwise=None, ensemble=SimpleNamespace(parameters=rules)
    )  # fmt: skip


def test_beetles_are_to_be_bought_when_running_short_is_more_likely_than_not(told):
    weeks, floor = np.arange(1, lived.WEEKS + 1), Floor(100, "as many as you want")
    asked = SimpleNamespace(on=ON)
    now = np.linspace(180, 220, 41)
    falling = now[:, None] - 20.0 * weeks  # Short in week 5 or 6 of most draws.
    found = _buy(asked, _state(falling, now), floor)
    week = next(w for w in weeks if np.mean(now - 20.0 * w < 100) > 0.5)
    assert found.on == ON + datetime.timedelta(days=7 * int(week)) and found.already == 0
    last = np.quantile(now - 20.0 * (week + 4), 0.1)
    assert found.beetles == pytest.approx(100 - last, abs=2)
    assert found.probability == pytest.approx(1)
    few = _buy(asked, _state(falling - 150, now - 150), floor)
    assert few.on == ON and few.already == pytest.approx(1)
    some = np.where(np.arange(41)[:, None] < 12, falling, now[:, None])
    rare = _buy(asked, _state(some, now), floor)
    assert rare.on is None and rare.beetles == 0 and rare.probability == pytest.approx(12 / 41)
    for buy, begins in ((found, "before"), (few, "now"), (rare, "No beetles need be bought")):
        take = _take(_state(falling, now), floor, ())
        text = words.buy(replace(told, buy=buy, take=take))
        assert begins in text and f"by {words.nice(ON)}" not in text


def test_the_fewest_beetles_are_those_last_counted_at_a_move(whole, told):
    _, asked, state = whole
    assert told.take.floor == Floor(45, "as many as you moved on 21 Mar")
    mine = tell(asked, state, Floor(7, "as many as you want")).take
    assert mine.floor.beetles == 7 and mine.probability >= told.take.probability


def test_the_look_that_tells_most_is_found_with_what_it_would_narrow():
    """Harvests hang on what is in the second bin; a draw left out is a regression without it."""
    chance = np.random.default_rng(4)
    draws, slots = 120, 3
    contents = np.exp(chance.normal(4, 0.5, (draws, slots, len(lived.CONTENTS))))
    large = contents[:, 1, lived.CONTENTS.index("large_g")]
    noise = np.exp(chance.normal(0, 0.2, (draws, lived.WEEKS)))
    rack = contents.sum(axis=1)
    weights = chance.random(draws) + 0.1
    told = Draws(weights / weights.sum(), {
        "contents": contents, "rack": rack, "rack_larvae": rack[:, [1]],
        "harvested_g": large[:, None] ** 2 * noise,
    })  # fmt: skip
    bins = [("A", Phase.GROWING), ("B", Phase.GROWING), ("C", Phase.BREEDING)]
    found = look.best(told, bins, 1)
    assert (found.bin, found.what) == ("B", "large_g")
    spread = np.sqrt(1 + (2 * 0.5 / 0.2) ** 2)
    assert found.narrower["harvests of 8 weeks"] == pytest.approx(1 - 1 / spread, abs=0.05)
    said, answer = np.log(large), chance.normal(size=(draws, 1))
    gaps, about = [], []
    for row in range(draws):
        rest = np.arange(draws) != row
        fit = np.polyfit(said[rest], answer[rest, 0], 1, w=np.sqrt(told.weights[rest]))
        gaps.append(answer[row, 0] - np.polyval(fit, said[row]))
        about.append(answer[row, 0] - np.average(answer[rest, 0], weights=told.weights[rest]))
    after, before = (np.sqrt(told.weights @ np.square(part)) for part in (gaps, about))
    gain = look.narrower(said, answer, told.weights)[0]
    assert gain == pytest.approx(max(1 - after / before, 0.0), abs=1e-9)
    assert look.narrower(np.ones(draws), answer, told.weights) == 0


def test_skins_that_were_seen_are_shown_and_nothing_is_worked_out_from_them(whole, tmp_path):
    _, asked, state = whole
    seen = asked_of(tmp_path, LOG + "2031-03-27,A,skins seen,,,,,,\n")
    assert seen.ensemble.digest == asked.ensemble.digest
    assert any("skins" in note for note in seen.notes)
    told = tell(seen, state)
    assert [bin_.skins for bin_ in told.bins] == [datetime.date(2031, 3, 27), None, None, None]
    assert "skins seen on 27 Mar" in page.html(told, Layout.of(LOG))[0]
    with pytest.raises(InputError, match="not in use"):
        asked_of(tmp_path, LOG + "2031-03-27,D,skins seen,,,,,,\n")


def test_the_page_is_closed_and_every_bin_can_be_opened(told):
    text, policy = page.html(told, Layout.of(LOG))
    assert not re.findall(r'(?:src|href)="(?!#)[^"]*"|url\((?!data:)', text)
    assert "connect-src 'none'" in policy
    assert text.count('<details id="bin-') == text.count('<a href="#bin-') == len(told.bins)
    assert words.headline(told) in text and 'name="viewport"' in text


def test_the_command_answers_first_and_writes_its_folder(whole, tmp_path, monkeypatch, capsys):
    """In the folder of another test, in whose store the log has been lived."""
    folder, *_ = whole
    monkeypatch.setattr(today, "OTHERWISE", 3)
    monkeypatch.chdir(folder)
    experiment = tmp_path / "shed.toml"
    experiment.write_text(FILE, encoding="utf-8")
    options = dict.fromkeys(("policy", "breeders", "profile", "name", "seed"))
    run_today(
        folder / "shed.csv", experiment=experiment, on=str(ON), members=MEMBERS, anew=True,
        workers=1, out=folder, **options,
    )  # fmt: skip
    out = capsys.readouterr().out
    assert re.match(r"(Move|Do not move) the beetles this weekend", out)
    assert not plain_words.faults(out)
    assert {"today.html", "contents.csv", "weeks.csv", "steps.csv", "work.csv", "waiting.csv",
            "residuals.csv", "answer.json"} <= {path.name for path in folder.iterdir()}  # fmt: skip
    settings = of_folder(folder, "today")["settings"]
    assert settings["members"] == MEMBERS and settings["effective"] <= settings["near"]
    assert settings["other_courses"] == 3 and settings["take"]["breeders"] == 60
    assert settings["look"]["bin"] in "ABC"


def test_a_day_that_is_none_is_refused_in_one_line(tmp_path):
    (tmp_path / "shed.csv").write_text(LOG, encoding="utf-8")
    code, _, err = cli("today", "shed.csv", "--on", "28.3.2031", cwd=tmp_path, faults=None)
    assert code == 2 and len(err) == 1 and "--on" in err[0] and "like 2030-03-01" in err[0]
    assert [path.name for path in tmp_path.iterdir()] == ["shed.csv"]


def test_what_waiting_gains_is_told_as_more_and_less():
    # Costs as quantiles: of 5, 25, 50, 75 and 95 %; a cost below nothing is a gain.
    assert words._gained(Range(-59, -20, -13, 0, 160), "g") == "13 g more (160 less to 59 more)"
    assert words._gained(Range(0, 5, 33, 60, 150), "g") == "33 g less (150 less to 0)"
    assert words._gained(Range(0, 0, 0, 0, 0), "eggs") == "as many eggs"


def test_what_if_lives_the_same_colonies_with_a_rule_or_a_date_changed(tmp_path, monkeypatch):
    """No change brings nothing; all of the harvest more grams; and words and options follow."""
    monkeypatch.setattr(today, "OTHERWISE", 4)
    asked = asked_of(tmp_path)

    def more(course):
        state = assimilate(asked.ensemble, MEMBERS, tmp_path, what_if=course)
        return tell(asked, state)

    same = more(Course(rules=(("harvest.fraction", 0.8),))).what_if
    assert same.grams == same.hatched == same.beetles == Range(0, 0, 0, 0, 0)
    told = more(Course(move_on=3, rules=(("harvest.fraction", 0.0),)))
    assert told.what_if.grams.median < 0
    text = words.what_if(told)
    assert "With" in text and "moved on Mon 31 Mar" in text and not plain_words.jargon(text)
    assert words.what_if(more(None)) == ""


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"rules": ["rack.bins=9"]}, "the bins are there"),
        ({"rules": ["larva.duration_days=9"]}, "--rule"),
        ({"rules": ["harvest.fraction=2"]}, "harvest.fraction"),
        ({"rules": ["harvest.fraction=0.5", "harvest.fraction=0.6"]}, "every key once"),
        ({"move_on": "soon"}, "--move-on = 'soon'"),
        ({"move_on": "2031-03-01"}, "a day from the one after 2031-03-28"),
    ],
)
def test_a_rule_or_a_date_that_is_none_is_one_line_and_writes_nothing(tmp_path, options, said):
    (tmp_path / "shed.csv").write_text(LOG)
    names = ("experiment", "policy", "breeders", "profile", "members", "name", "seed")
    with pytest.raises(InputError) as error:
        run_today(tmp_path / "shed.csv", on=str(ON), anew=False, workers=1, out=tmp_path / "x",
                  **dict.fromkeys(names), **options)  # fmt: skip
    assert said in error.value.line and not (tmp_path / "x").exists()
