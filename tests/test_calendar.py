"""The calendar of the work: tasks against the bin log, .ics and PDF read back by other readers."""

from __future__ import annotations

import json
import re
import sys
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from io import BytesIO

import numpy as np
import pandas as pd
import pypdf
import pytest
import vobject
from commandline import cli, tree, without_sums
from inline import Inline

from colony_sim.biology.parameters import Parameters
from colony_sim.colony.binlog import COLUMNS, BinLog
from colony_sim.commands.calendar import run_calendar
from colony_sim.commands.main import run
from colony_sim.commands.run import run_single
from colony_sim.drawing.content import SLOTS
from colony_sim.drawing.rack import sign_scene
from colony_sim.drawing.scene import Mark
from colony_sim.errors import InputError
from colony_sim.planning.choose import Effort
from colony_sim.planning.facts import stored
from colony_sim.planning.planner import make_plan
from colony_sim.planning.request import read_request
from colony_sim.planning.study import STUDY
from colony_sim.results.folder import claim
from colony_sim.results.study import write_study
from colony_sim.running.task import run_task
from colony_sim.worklist import cautions, ical
from colony_sim.worklist.checklist import checklist
from colony_sim.worklist.fillings import fillings
from colony_sim.worklist.gather import DAILY, by_day, daily_by_week, gathered, work_days
from colony_sim.worklist.labels import Looks, labelled, labels
from colony_sim.worklist.paper import EDGE, SIZES, Paper
from colony_sim.worklist.task import Kind, bins_in_words, day_in_words
from colony_sim.worklist.tasks import build
from colony_sim.worklist.work import Work, read_work

START = "2031-12-01"  # The year after has a 29 February.
WEEKS = 52
SATURDAYS = (5,)
EXPERIMENT = """\
[experiment]
name = "rack"
question = "What work is there?"
days = 430
replicates = 2
seed = 5
[climate]
kind = "constant"
temperature_c = 27.0
[start]
breeders = 200
[[policy]]
name = "short"
rack.bins = 9
moisture.breeding_g_per_day = 5.0
[[policy]]
name = "long"
rotation.interval_days = 21
"""
PLAN = """\
[plan]
name = "tiny"
start = 2030-03-01
years = 2
seed = 1
[want]
grams_per_day = 0.5
probability = 0.5
[have]
bins = 8
breeders = 60
[climate]
kind = "constant"
temperature_c = 27.0
"""
#: Action of the log and the kind of task that stands for it, bin by bin.
SAME = {
    "pupae to tray": Kind.INSPECT,
    "emerged beetles to breeders": Kind.COLLECT,
    "harvest": Kind.HARVEST,
    "moisture started": Kind.START_MOISTURE,
    "bran added": Kind.ADD_BRAN,
    "cleared": Kind.CLEAR,
}
#: Cautions that the work cannot do without, by words that must be read beside the task.
NEEDED = {
    Kind.SETUP: ("mask",),
    Kind.INSPECT: ("mask",),
    Kind.COLLECT: ("mask",),
    Kind.CLEAR: ("mask", "never mix with ammonia or acids", "rinse well"),
    Kind.MOVE: ("mask",),
    Kind.DEAD: ("mask",),
    Kind.WASH: ("never mix with ammonia or acids", "rinse well", "gloves", "off live bins"),
    Kind.HARVEST: ("local feed law", "mask"),
    Kind.START_MOISTURE: ("regulated",),
    Kind.MOISTURE: ("regulated",),
    Kind.ADD_BRAN: ("mask",),
    Kind.TREAT: (
        "60 °C (140 °F) in the middle",
        "30 min",
        "Never leave it alone",
        "freeze",
        "mask",
    ),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The folder of a real run."""
    place = tmp_path_factory.mktemp("calendar")
    (place / "rack.toml").write_text(EXPERIMENT)
    out = place / "run"
    run_single(place / "rack.toml", policy="short", seed=None, days=None, out=out)
    return out


@pytest.fixture(scope="module")
def work(folder):
    return read_work(folder, START)


@pytest.fixture(scope="module")
def tasks(work):
    return build(work, WEEKS)


@pytest.fixture(scope="module")
def days(work, tasks):
    """The tasks on the keeper's days."""
    return gathered(tasks, SATURDAYS, work.start)


@pytest.fixture(scope="module")
def events(work, days):
    """The calendar as vobject reads it: another package than the one that writes it."""
    page = vobject.readOne(ical.calendar(work, days, timedelta(hours=8)).decode())
    return page.vevent_list


def a_work(rows=(), **changes) -> Work:
    """A made-up log; rows are (day, bin, action, date in, date out) and other columns."""
    table = pd.DataFrame(
        [dict(zip(COLUMNS, row[:5], strict=False)) | row[5] for row in rows], columns=list(COLUMNS)
    )
    table = table.astype(BinLog().frame().dtypes)
    made = datetime(2030, 1, 2, 3, 4, 5, tzinfo=UTC)
    start = date(2031, 12, 1)
    handling = Parameters.default()
    return replace(
        Work("w", "a made-up log", start, 400, None, handling, 100, 0, table, made), **changes
    )


def single(tasks) -> list[tuple]:
    """Every task of every day."""
    return [(task, day) for task in tasks for day in task.days]


# -- tasks against the log ------------------------------------------------------------------


def test_tasks_are_the_bin_log(work, tasks):
    log = work.log[work.log["day"] <= 7 * WEEKS]
    calendar = pd.date_range(START, periods=7 * WEEKS, freq="D")  # Knows leap years itself.
    for kind in {*SAME.values()}:
        actions = [action for action, of in SAME.items() if of is kind]
        rows = log[log["action"].isin(actions) & log["bin"].notna()]
        expected = {(calendar[row.day - 1].date(), int(row.bin)) for row in rows.itertuples()}
        assert expected, kind
        found = [(day, bin_) for task, day in single(tasks) if task.kind is kind
                 for bin_ in task.bins]  # fmt: skip
        assert len(found) == len({*found}) and {*found} == expected, kind


def test_each_move_is_one_task_on_its_date_and_once_in_the_calendar(work, tasks, events):
    log = work.log[work.log["day"] <= 7 * WEEKS]
    outs = log[log["action"] == "beetles out"]
    ins = log[log["action"] == "beetles in"].set_index("day")["bin"]
    outs = outs[outs["day"].isin(ins.index)]
    calendar = pd.date_range(START, periods=7 * WEEKS, freq="D")
    expected = {
        calendar[row.day - 1].date(): f"Move beetles: bin {row.bin} to bin {ins[row.day]}"
        for row in outs.itertuples()
    }
    moves = [task for task in tasks if task.summary.startswith("Move beetles")]
    assert len(moves) == len(expected) >= 20
    assert {task.day: task.summary for task in moves} == expected
    said = " ".join(e.description.value for e in events)
    for text, times in Counter(expected.values()).items():
        assert said.count(f"- {text}. ") == times
    for kind in (Kind.WASH, Kind.DEAD):
        assert {day for task, day in single(tasks) if task.kind is kind} == {*expected}
    dead = {task.day: task for task in tasks if task.kind is Kind.DEAD}
    for row in outs.itertuples():
        assert dead[calendar[row.day - 1].date()].detail.endswith(f"expects {row.dead}.")


def test_moisture_is_given_where_the_log_says(work, tasks):
    """A day-by-day walk through the log: who is moist, who breeds."""
    moist, breeding, expected = set(), {1}, set()
    for day in range(1, 7 * WEEKS + 1):
        for row in work.log[work.log["day"] == day].itertuples():
            if row.action == "beetles out":
                breeding.discard(row.bin)
            elif row.action == "beetles in":
                breeding.add(row.bin)
            elif row.action == "moisture started":
                moist.add(row.bin)
            elif row.action == "cleared":
                moist.discard(row.bin)
        expected |= {(work.date(day), int(bin_)) for bin_ in moist | breeding}
    found = {
        (day, bin_) for task, day in single(tasks) if task.kind is Kind.MOISTURE
        for bin_ in task.bins
    }  # fmt: skip
    assert found == expected
    assert any(task.kind is Kind.MOISTURE and "breeding bin" in task.detail for task in tasks)


def test_the_tray_is_looked_at_on_each_day_of_the_log(work, tasks):
    log = work.log[work.log["day"] <= 7 * WEEKS]
    days = log[log["action"] == "beetles from tray to breeders"]["day"].unique()
    target = {day: task.bins for task, day in single(tasks) if task.kind is Kind.TRAY}
    assert len(days) > 50 and {work.date(int(day)) for day in days} <= {*target}
    home = 1
    for day in range(1, 7 * WEEKS + 1):
        if work.date(day) in target:
            assert target[work.date(day)] == ((home,) if home else ())
        rows = log[log["day"] == day]
        if ((rows["action"] == "beetles out") & (rows["adults"] == 0)).any():
            home = None  # The last beetle has died; the next get a fresh bin.
        rows = rows[rows["action"] == "beetles in"]
        home = int(rows["bin"].iloc[0]) if len(rows) else home


def test_what_is_sifted_lost_or_opened_is_told():
    clear = {"larvae": 30, "pupae": 2, "reason": "to make room", "heir": 4}
    rows = [(20, 3, "cleared", 0, 14, clear),
            (20, 7, "small larvae in", 10, 17, {"larvae": 50}),
            (30, 5, "cleared", 16, None, {"larvae": 9, "reason": "as lost"}),
            (40, 3, "beetles in", 40, None, {"adults": 0}),
            (42, 4, "bran added", 2, 16, {"grams": 150.0}),
            (42, 6, "bran added", 2, 16, {"grams": 200.0})]  # fmt: skip
    found = {(task.kind, task.day): task for task in build(a_work(rows), 52)}
    start = date(2031, 12, 1)
    sift = found[Kind.CLEAR, start + timedelta(19)]
    assert sift.bins == (3,)
    assert "(about 32) into bin 4" in sift.detail and "50 larvae fall through" in sift.detail
    assert "into bin 7" in sift.detail
    lost = found[Kind.CLEAR, start + timedelta(29)]
    assert lost.bins == (5,) and "lost to mites" in lost.detail and "into bin" not in lost.detail
    opened = found[Kind.MOVE, start + timedelta(39)]
    assert opened.bins == (3,) and "600 g" in opened.detail
    bran = found[Kind.ADD_BRAN, start + timedelta(41)]
    assert "150 g (2.75 cups) into bin 4; 200 g (" in bran.detail and "every 7 days" in (
        bran.detail.lower()
    )


def test_an_idle_tray_is_not_looked_at():
    rows = [(day, None, "beetles from tray to breeders", None, None, {}) for day in (100, 110, 150)]
    work = a_work(rows)
    found = [task for task in build(work, 52) if task.kind is Kind.TRAY]
    assert [(task.day, task.times) for task in found] == [
        (work.date(100), 11), (work.date(150), 1)
    ]  # fmt: skip


def test_bran_is_treated_ahead_of_every_need_and_adds_up(work, tasks):
    log, p = work.log, work.handling
    needed = [(0, p["bran.start_g"])]
    needed += [(int(day), p["bran.start_g"]) for day in log[log["action"] == "beetles in"]["day"]]
    added = log[log["action"] == "bran added"]
    needed += [(int(row.day), row.grams) for row in added.itertuples()]
    batches = sorted(task.day for task in build(work, 100) if task.kind is Kind.TREAT)
    kilograms = sum(
        float(re.search(r": ([\d.]+) kg \([\d.]+ lb\)", task.summary)[1])
        for task in build(work, 100)
        if task.kind is Kind.TREAT
    )
    assert kilograms == pytest.approx(sum(grams for _, grams in needed) / 1000, abs=0.006 * 20)
    for day, _ in needed:
        assert any(7 <= (work.date(day) - batch).days < 7 + 28 for batch in batches)
    assert min(batches) == work.start - timedelta(7)


def test_one_task_a_day_and_kind_in_the_order_of_the_work(tasks):
    assert {*Counter((task.kind, day) for task, day in single(tasks)).values()} == {1}
    assert [task.day for task in tasks] == sorted(task.day for task in tasks)
    assert {task.kind for task in tasks} == {*Kind}


def test_no_harvest_without_one_in_the_log():
    rows = [(14, 1, "beetles out", 0, 14, {"adults": 90}),
            (14, 2, "beetles in", 14, None, {"adults": 90})]  # fmt: skip
    kinds = Counter(task.kind for task in build(a_work(rows), 52))
    assert kinds == {Kind.SETUP: 1, Kind.MOVE: 1, Kind.DEAD: 1, Kind.WASH: 1, Kind.TREAT: 1,
                     Kind.MOISTURE: 2}  # fmt: skip
    kept = a_work(rows, handling=Parameters.default().with_values(
        {"rotation.remove_dead": False}, where="test"))  # fmt: skip
    assert not any(task.kind is Kind.DEAD for task in build(kept, 52))


def test_a_move_that_had_to_wait_is_not_said_to_be_by_the_rule():
    rows = []
    for day, old in ((14, 1), (28, 2), (45, 3)):
        rows.append((day, old, "beetles out", 0 if old == 1 else day - 14, day, {"adults": 9}))
        rows.append((day, old + 1, "beetles in", day, None, {"adults": 9}))
    moves = [task for task in build(a_work(rows), 52) if task.kind is Kind.MOVE]
    assert [task.expected for task in moves] == [False, False, True]
    assert "every 14 days" in moves[1].when and "may come earlier or later" in moves[2].when


@pytest.mark.parametrize("on", [(5,), (2, 5), (0, 1, 2, 3, 4, 5, 6)])
def test_work_comes_on_the_keepers_days_and_none_is_lost(work, tasks, on):
    """Each task on the nearest work day; on all days of the week nothing moves."""
    found = gathered(tasks, on, work.start)
    for task in found:
        if task.kind not in DAILY and task.kind is not Kind.SETUP:
            assert task.day.weekday() in on or task.day == work.start
    for task in tasks:
        same = [one for one in found if one.kind is task.kind and {*task.bins} <= {*one.bins}]
        reach = 6 if len(on) == 1 else 3
        near = [one for one in same if abs((one.day - task.day).days) <= reach]
        assert task in found or near, task
        if task.kind is Kind.TREAT:
            assert min(one.day for one in near) <= task.day
    if len(on) == 7:
        assert found == tasks
    order = [(task.day, list(Kind).index(task.kind)) for task in found]
    assert order == sorted(order)


def test_a_normal_week_has_at_most_three_entries(work, tasks):
    """One or two work days and what is done every day; without gathering it was one a task."""
    for on, most in (((5,), 2), ((2, 5), 3)):
        found = gathered(tasks, on, work.start)
        starts = [*by_day(found), *daily_by_week(found, work.start)]
        weeks = Counter((day - work.start).days // 7 for day in starts)
        inside = [weeks[week] for week in range(1, WEEKS)]
        assert max(inside) <= most and np.mean(inside) > most - 1
    alone = Counter((day - work.start).days // 7 for _, day in single(tasks))
    assert np.mean([alone[week] for week in range(1, WEEKS)]) > 12


def test_bins_harvested_have_had_moisture_first(work, tasks):
    """Bins of the first larvae as well, whose skins the model has not seen."""
    rows = [(7, 3, "harvest", -60, -30, {"larvae": 5, "grams": 0.5}),
            (9, 4, "moisture started", -50, -20, {}),
            (7, 4, "harvest", -50, -20, {"larvae": 5, "grams": 0.5})]  # fmt: skip
    old = a_work(sorted(rows, key=lambda row: row[0]), larvae=500)
    for one, all_tasks in ((work, tasks), (old, build(old, 4))):
        moist: dict[int, list[date]] = {}
        for task, day in single(all_tasks):
            if task.kind is Kind.MOISTURE:
                for bin_ in task.bins:
                    moist.setdefault(bin_, []).append(day)
        for task in all_tasks:
            if task.kind is Kind.HARVEST:
                for bin_ in task.bins:
                    assert any(day <= task.day for day in moist[bin_]), (one.name, task)
    assert not [task for task in build(old, 4) if task.kind is Kind.START_MOISTURE]
    assert "Moist feed from the first day in bins 3, 4" in build(old, 4)[1].detail


def test_all_growing_bins_are_inspected_in_so_many_words(tasks):
    said = [task.summary for task in tasks if task.kind is Kind.INSPECT]
    assert said.count("Inspect all growing bins for pupae") > 0.8 * len(said)


@pytest.mark.parametrize("text", ["", "someday", "sat,sat", "mon;tue"])
def test_work_days_that_are_none_are_refused(text):
    with pytest.raises(InputError, match="one or more of mon, tue"):
        work_days(text)
    assert work_days("Saturday, wed") == (2, 5)


def test_weeks_bound_the_work_and_the_words_name_bins_and_days(work):
    last = max(day for _, day in single(build(work, 3)))
    assert last <= work.start + timedelta(20)
    assert bins_in_words([3, 1, 2, 7]) == "bins 1-3, 7" and bins_in_words([4, 4]) == "bin 4"
    assert bins_in_words([1, 2, 9, 10]) == "bins 1, 2, 9, 10"
    assert day_in_words(date(2032, 2, 29), weekday=True) == "Sun 29 Feb 2032"


# -- the calendar, read by vobject ----------------------------------------------------------


def test_every_task_comes_back_from_another_reader(work, days, events):
    """RFC 5545, read by vobject: dates, text, alarms."""
    texts = {(e.dtstart.value, e.summary.value.startswith("Every day")): e for e in events}
    assert len(texts) == len(events)
    for day, tasks in by_day(days).items():
        event = texts[day, False]
        assert event.dtend.value - event.dtstart.value == timedelta(1)
        for task in tasks:
            assert task.summary in event.description.value
            assert task.detail in event.description.value
            assert task.kind.value in event.summary.value
        sure = any(not task.expected for task in tasks)
        assert event.status.value == ("CONFIRMED" if sure else "TENTATIVE")
        assert event.valarm.trigger.value == timedelta(hours=8)
        assert event.valarm.action.value == "DISPLAY"
    for week, found in daily_by_week(days, work.start).items():
        event = texts[week, True]
        assert event.dtend.value - week == timedelta(7) and "valarm" not in event.contents
        assert all(task.summary in event.description.value for task, _, _ in found)
    kept = {day for _, found in daily_by_week(days, work.start).items()
            for _, first, last in found
            for day in pd.date_range(first, last).date}  # fmt: skip
    assert kept == {day for task in days if task.kind in DAILY for day in task.days}
    assert date(2032, 2, 29) in kept
    assert all(event.dtstamp.value == work.made for event in events)
    assert {c for e in events for c in e.categories.value} == {
        "Beetles", "Pupae", "Moisture", "Harvest", "Bran", "Cleaning"
    }  # fmt: skip


def test_lines_are_folded_escaped_and_ended_as_rfc_5545_says():
    """RFC 5545, 3.1 (75 octets, CRLF) and 3.3.11 (escaped text), with non-ASCII text."""
    name = "Käfer, rack; 'ünder' \\ 甲虫 " + "ß" * 90
    rows = [(14, 1, "beetles out", 0, 14, {"adults": 1}),
            (14, 2, "beetles in", 14, None, {"adults": 1})]  # fmt: skip
    work = a_work(rows, name=name)
    data = ical.calendar(work, gathered(build(work, 52), range(7), work.start))
    assert data.endswith(b"END:VCALENDAR\r\n")
    lines = data.split(b"\r\n")
    assert all(len(line) <= 75 and b"\n" not in line and b"\r" not in line for line in lines)
    for line in lines:
        line.decode()  # No character is cut in two.
    unfolded = data.replace(b"\r\n ", b"").decode()
    assert "NAME:Mealworm work: Käfer\\, rack\\; 'ünder' \\\\ 甲虫 ßß" in unfolded
    assert re.search(r"DESCRIPTION:- .*First 600 g .*\. By your rule: every 14 days\.\\n", unfolded)
    page = vobject.readOne(data.decode())
    assert page.contents["x-wr-calname"][0].value == f"Mealworm work: {name}"
    assert page.prodid.value == ical.PRODID and page.version.value == "2.0"
    assert page.contents["description"][0].value == ical.about(work)


def test_uids_are_unique_and_stay(work, tasks, days, events):
    uids = [e.uid.value for e in events]
    assert len({*uids}) == len(uids)
    again = gathered(build(work, WEEKS), SATURDAYS, work.start)
    assert ical.calendar(work, again) == ical.calendar(work, days)
    # A new run moves numbers and bins; the event of the same work day is the same event.
    day = next(iter(by_day(days)))
    assert ical.uid(work, "work day", day) in uids
    assert ical.uid(replace(work, name="other"), "work day", day) not in uids


# -- cautions -------------------------------------------------------------------------------


def test_every_kind_has_the_cautions_it_needs_once_an_event(days, events):
    texts = {(e.dtstart.value, e.summary.value.startswith("Every day")): e.description.value
             for e in events}  # fmt: skip
    for kind, words in NEEDED.items():
        of_kind = [task for task in days if task.kind is kind]
        assert of_kind
        for task in of_kind:
            if kind not in DAILY:
                text = texts[task.day, False]
                assert all(word in text for word in words), kind
    for text in texts.values():
        assert all(text.count(caution.short) <= 1 for caution in cautions.ALL)
    assert all("regulated" in text for (_, daily), text in texts.items() if daily)
    assert {*NEEDED} | {Kind.TRAY} == {*Kind}
    full = " ".join(caution.text for caution in cautions.ALL)
    for word in (
        *("ammonia", "acids", "gloves", "rinse well", "fitted mask", "see a doctor", "60 °C"),
        *("30 minutes", "leave the oven alone", "fire", "-18 °C", "local feed law"),
    ):
        assert word in full


def spots(page) -> list[tuple[float, float, str]]:
    """Texts of a page with their place (mm from the left and the top)."""
    found, height = [], float(page.mediabox.height)

    def visit(text, _, matrix, *__):
        if text.strip():
            found.append((matrix[4] * 25.4 / 72, (height - matrix[5]) * 25.4 / 72, text.strip()))

    page.extract_text(visitor_text=visit)
    return found


def test_a_week_is_a_page_that_ends_with_each_caution_once(work, days):
    """The PDF read by pypdf."""
    reader = pypdf.PdfReader(BytesIO(checklist(work, days, WEEKS, "letter")))
    pages = [" ".join(text for *_, text in spots(page)) for page in reader.pages]
    weeks = [page for page in pages if re.search(r"\bWeek \d+:", page)]
    assert len(weeks) == WEEKS and not any("(continued)" in page for page in pages)
    for number, text in enumerate(weeks):
        first = work.start + timedelta(7 * number)
        here = {
            task.kind for task in days for day in task.days if 0 <= (day - first).days < 7
        }  # fmt: skip
        wanted = {caution.short for kind in here for caution in cautions.beside(kind)}
        for caution in cautions.ALL:
            assert text.count(caution.short) == (caution.short in wanted), (number, caution.name)


# -- paper ----------------------------------------------------------------------------------


def test_labels_hold_every_bin_and_date(work):
    reader = pypdf.PdfReader(BytesIO(labels(work, WEEKS, "a4")))
    found = labelled(work, WEEKS)
    log = work.log
    ins = log[(log["action"] == "beetles in") & (log["day"] <= 7 * WEEKS)]
    assert [(f.bin, f.day_in) for f in found] == [
        (1, 0), *((int(row.bin), int(row.day)) for row in ins.itertuples())
    ]  # fmt: skip
    assert len(reader.pages) == -(-len(found) // 8)
    for k, filling in enumerate(found):
        texts = spots(reader.pages[k // 8])
        row, column = divmod(k % 8, 2)
        own = [text for x, y, text in texts if x // 105 == column and y // 74.25 == row]
        rows = log[(log["bin"] == filling.bin) & (log["date_in"] == filling.day_in)]
        assert str(filling.bin) in own
        expected = [day_in_words(work.date(filling.day_in))]
        for action in ("beetles out", "moisture started", "harvest", "cleared"):
            days = rows[rows["action"] == action]["day"]
            expected += [day_in_words(work.date(int(days.min())))] if len(days) else []
        shown = [text for text in own if re.search(r"\d{4}$", text)]
        assert Counter(shown) == Counter(expected)


def test_a_label_shows_its_bin_as_the_run_has_it_before_the_first_harvest(work, monkeypatch):
    looks, harvested = Looks(work), [f for f in labelled(work, 40) if f.harvest]
    held = work.bins.set_index(["day", "bin"])
    for filling in harvested:
        row = held.loc[filling.harvest - 1, filling.bin]
        marks = [item.of for item in looks.of(filling).items if isinstance(item, Mark)]
        for kind in ("larvae", "pupae"):
            due = looks.scale.signs(kind, row[kind], SLOTS[kind])
            assert marks.count(kind) == due
        assert marks.count("larvae") > 0
    assert len(harvested) > 3
    drawn, scene = [], Paper.scene
    monkeypatch.setattr(Paper, "scene", lambda *given: drawn.append(given[1]) or scene(*given))
    count = len(labelled(work, 40))
    for known, due in ((work, [s for s in map(looks.of, labelled(work, 40)) if s]), (
        replace(work, bins=None), [])):  # fmt: skip
        drawn.clear()
        data = labels(known, 40, "a4")
        assert [s for s in drawn if s != sign_scene()] == due
        assert len(drawn) == 2 * count
        assert b"AtkinsonHyperlegible" in data and b"DejaVu" not in data


def test_the_checklist_begins_with_the_rack_of_the_first_day(work, tasks, monkeypatch):
    drawn, scene = [], Paper.scene
    monkeypatch.setattr(Paper, "scene", lambda *given: drawn.append(given[1]) or scene(*given))
    checklist(work, tasks, 2, "letter")
    checklist(replace(work, bins=None), tasks, 2, "letter")
    rack, sign = drawn
    assert sign == sign_scene()
    first = work.bins[work.bins["day"] == work.bins["day"].min()]
    used = {m.bin + 1 for m in rack.items if isinstance(m, Mark) and m.of == "bran"}
    assert used == set(first.loc[first["phase"] != "free", "bin"])


def test_founder_larvae_have_labels_and_a_place_in_the_set_up():
    rows = [(7, 3, "harvest", -60, -30, {"larvae": 5, "grams": 0.5})]
    work = a_work(rows, larvae=500)
    assert [(f.bin, f.day_in, f.day_out) for f in fillings(work.log)] == [
        (3, -60, -30),
        (1, 0, None),
    ]
    (page,) = pypdf.PdfReader(BytesIO(labels(work, 4, "letter"))).pages
    assert [text for *_, text in spots(page)].count("before the start") == 2
    task = build(work, 4)[1]
    assert task.bins == (1, 3) and "500 first larvae" in task.detail


@pytest.mark.parametrize("paper", SIZES)
def test_nothing_is_printed_outside_the_page(monkeypatch, paper):
    """Every text, line and box, by the widths of the type itself, with awkward input."""
    rows = []
    for k in range(12):
        day = 14 * (k + 1)
        ins = [4980 + k, 5000 - k, 17, 900 + 2 * k]
        rows += [(day, b, "beetles out", day - 14 if k else 0, day, {"adults": 12345,
                  "dead": 999}) for b in (1001 + k, 2002)]  # fmt: skip
        rows += [(day, b, "beetles in", day, None, {"adults": 9000}) for b in ins]
        rows += [(day + 1, b, "harvest", -500, -400, {"larvae": 10**6, "grams": 1e5})
                 for b in range(2000, 2400, 3)]  # fmt: skip
    work = a_work(rows, name="W" * 200 + " and Käfer 甲虫 " * 30)
    width, height = SIZES[paper]
    boxes, put, box, rule = [], Paper.put, Paper.box, Paper.rule

    def check_put(self, x, base, text, *, right=False):
        wide = self.pdf.get_string_width(self._known(text))
        tall = self.pdf.font_size_pt * 25.4 / 72
        left = x - wide if right else x
        assert left >= EDGE and left + wide <= width - EDGE, text
        assert base - 0.75 * tall >= EDGE and base + 0.25 * tall <= height - EDGE + 0.8, text
        put(self, x, base, text, right=right)

    def check_box(self, x, y, side):
        boxes.append((x, y))
        assert EDGE <= x <= width - EDGE - side and EDGE <= y <= height - EDGE - side
        box(self, x, y, side)

    def check_rule(self, x0, y0, x1, y1, *rest):
        assert min(x0, x1) >= 5 and max(x0, x1) <= width - 5
        assert min(y0, y1) >= 5 and max(y0, y1) <= height - 5
        rule(self, x0, y0, x1, y1, *rest)

    monkeypatch.setattr(Paper, "put", check_put)
    monkeypatch.setattr(Paper, "box", check_box)
    monkeypatch.setattr(Paper, "rule", check_rule)
    tasks = build(work, 30)
    for data in (labels(work, 30, paper), checklist(work, tasks, 30, paper)):
        for page in pypdf.PdfReader(BytesIO(data)).pages:
            size = (float(page.mediabox.width), float(page.mediabox.height))
            # ISO 216: 210 by 297 mm; US Letter: 612 by 792 points.
            assert size == pytest.approx(
                {"a4": (595.28, 841.89), "letter": (612, 792)}[paper], abs=0.01
            )
    assert len(boxes) == sum(task.times for task in tasks)


def test_the_checklist_has_a_box_for_each_task_in_its_week(monkeypatch, work, days):
    ticks, tasks = [], days
    box = Paper.box
    monkeypatch.setattr(Paper, "box", lambda self, *at: (ticks.append(at), box(self, *at)))
    reader = pypdf.PdfReader(BytesIO(checklist(work, tasks, WEEKS, "a4")))
    assert len(ticks) == sum(task.times for task in tasks)
    heading, under = None, {}
    for page in reader.pages:
        for *_, text in spots(page):
            if text.startswith(("Week ", "Before the start")):
                heading = text.split(":")[0].removesuffix(" (continued)")
            under.setdefault(heading, []).append(text)
    for task, day in single(tasks):
        week = (day - work.start).days // 7 + 1
        name = f"Week {week}" if week > 0 else "Before the start"
        assert any(task.summary.startswith(t) and len(t) > 12 for t in under[name]), task.summary
        if task.times == 1:
            assert day_in_words(day, weekday=True, year=False) in under[name]


# -- the command ----------------------------------------------------------------------------


def test_the_command_writes_the_same_bytes_every_time(folder, capsys):
    run_calendar(folder, start=START, weeks=WEEKS, paper="letter", out=None)
    told = capsys.readouterr().out
    first = tree(folder / "calendar")
    assert first.keys() == {"work.ics", "labels.pdf", "checklist.pdf"}
    assert all(str(folder / "calendar" / name) in told for name in first)
    (folder / "calendar" / "mine.txt").write_text("kept")
    out = folder.parent / "elsewhere"
    words = ("calendar", folder, "--start", START, "--paper", "letter", "--out", out)
    code, text, err = cli(*words, cwd=folder.parent, faults=None)
    assert (code, err) == (0, []) and "1 Dec 2031 to 28 Nov 2032" in text
    assert tree(out) == first
    # The folder is still a results folder, and what was made of it is kept.
    with claim(folder, "rack-run-short", ()):
        pass
    assert (folder / "calendar" / "mine.txt").read_text() == "kept"


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ([], "--start: date = None; allowed: needed for the folder of a run"),
        (["--start", "tomorrow"], "--start: date = 'tomorrow'; allowed: a date from"),
        (["--start", "2031-02-29"], "--start: date = '2031-02-29'; allowed"),
        (["--start", "20310301"], "--start: date = '20310301'; allowed"),
        (["--start", "9999-12-31"], "--start: date = '9999-12-31'; allowed"),
        (["--start", START, "--weeks", "0"], "--weeks: weeks = 0; allowed: a whole number"),
        (["--start", START, "--weeks", "few"], "--weeks"),
        (["--start", START, "--paper", "a5"], "--paper: paper = 'a5'; allowed: a4 or letter"),
        (["--start", START, "--weeks", "1", "--out", "taken"], "taken: file = 'File exists'"),
    ],
)
def test_bad_options_end_with_2_and_one_line(
    folder, tmp_path, monkeypatch, capsys, words, expected
):
    (tmp_path / "taken").write_text("a file")
    before = tree(folder)
    _refused(["calendar", str(folder), *words], tmp_path, monkeypatch, capsys, expected)
    assert tree(folder) == before and tree(tmp_path).keys() == {"taken"}


def test_bad_folders_end_with_2_and_one_line(folder, tmp_path, monkeypatch, capsys):
    def refused(expected):
        words = ["calendar", "bad", "--start", START]
        before = tree(tmp_path)
        _refused(words, tmp_path, monkeypatch, capsys, expected)
        assert tree(tmp_path) == before

    bad = tmp_path / "bad"
    refused("the folder of a finished colony-sim plan or colony-sim run")
    bad.mkdir()
    for name in ("manifest.json", "bin_log.parquet", "daily.parquet"):
        (bad / name).write_bytes((folder / name).read_bytes())
    without_sums(bad)
    good = json.loads((bad / "manifest.json").read_text())
    for change, expected in (
        (
            {"kind": "comparison"},
            "kind = 'comparison'; allowed: the folder of a plan or single run",
        ),
        ({"parameters": None}, 'contents = "damaged'),
        ({"created_utc": "yesterday"}, 'contents = "damaged'),
    ):
        (bad / "manifest.json").write_text(json.dumps(good | change))
        refused(expected)
    (bad / "manifest.json").write_text(json.dumps(good))
    (bad / "bin_log.parquet").write_bytes(b"PAR1 no table")
    refused("bin_log.parquet: file = 'damaged'")
    (bad / "bin_log.parquet").unlink()
    refused("bin_log.parquet: file = 'No such file or directory'")
    pd.DataFrame({"day": [1]}).to_parquet(bad / "bin_log.parquet")
    refused("bin_log.parquet: column = 'bin'")
    older = pd.read_parquet(folder / "bin_log.parquet").drop(columns=["heir", "dead"])
    older.to_parquet(bad / "bin_log.parquet")
    (bad / "manifest.json").write_text(
        json.dumps(good | {"software": {"colony_sim": "0.0.9"}, "commit": "0123456789abcdef"})
    )
    refused("column = 'heir'; allowed: in the table; this folder was written by colony_sim 0.0.9, "
            "commit 0123456: make it again")  # fmt: skip


@pytest.mark.parametrize("package", ["icalendar", "fpdf"])
def test_a_missing_extra_is_one_line(folder, tmp_path, monkeypatch, capsys, package):
    monkeypatch.setitem(sys.modules, package, None)
    words = ["calendar", str(folder), "--start", START, "--out", str(tmp_path / "out")]
    _refused(words, tmp_path, monkeypatch, capsys, "python -m pip install '" + package)
    assert not (tmp_path / "out").exists()


def _refused(words, place, monkeypatch, capsys, expected):
    monkeypatch.chdir(place)
    monkeypatch.setattr(sys, "argv", ["colony-sim", *words])
    with pytest.raises(SystemExit) as end:
        run()
    out, err = capsys.readouterr()
    assert (end.value.code, out) == (2, "")
    assert err.count("\n") == 1 and expected in err


def test_a_colony_that_dies_out_is_told_of(tmp_path, folder, capsys):
    bad = tmp_path / "run"
    bad.mkdir()
    for name in ("manifest.json", "bin_log.parquet"):
        (bad / name).write_bytes((folder / name).read_bytes())
    without_sums(bad)
    pd.read_parquet(folder / "daily.parquet").iloc[:40].to_parquet(bad / "daily.parquet")
    run_calendar(bad, start=START, weeks=WEEKS, paper="a4", out=tmp_path / "out")
    assert "the colony died out on day 40" in capsys.readouterr().out
    work = read_work(bad, START)
    assert "died out on day 40 (2032-01-09)" in ical.about(work)
    assert max(day for _, day in single(build(work, WEEKS))) <= date(2032, 1, 9)


def test_a_varying_climate_is_told_of(tmp_path, folder):
    bad = tmp_path / "run"
    bad.mkdir()
    for name in ("manifest.json", "bin_log.parquet", "daily.parquet"):
        (bad / name).write_bytes((folder / name).read_bytes())
    without_sums(bad)
    data = json.loads((bad / "manifest.json").read_text())
    data["climate"] = {"kind": "yearly_wave", "values": [15, 8, 20]}
    (bad / "manifest.json").write_text(json.dumps(data))
    assert "whatever the season" in ical.about(read_work(bad, START))
    assert "season" not in ical.about(read_work(folder, START))
    with pytest.raises(InputError):
        read_work(bad)


@pytest.fixture(scope="module")
def plan_folder(tmp_path_factory):
    """The folder of a real, tiny plan."""
    place = tmp_path_factory.mktemp("plan")
    (place / "tiny.toml").write_text(PLAN)
    request = read_request(place / "tiny.toml", {})
    effort = Effort(
        designed=1, first_seeds=1, seeds=2, fresh=2, parents=(), finalists=1, attempts=1, check=2
    )
    with claim(place / "out", "tiny-plan", STUDY.files):
        found = make_plan(request, place / "out", effort, executor=Inline(run_task))
        kept = stored(found, effort)
        plan = replace(found.plan, name="tiny-plan")
        write_study(plan, place / "out", "plan", kept.tables, "", kept.facts)
    return place / "out"


def test_a_plan_has_its_own_start_and_tells_how_sure_it_is(plan_folder, tmp_path, capsys):
    run_calendar(plan_folder, start=None, weeks=30, paper="a4", out=None)
    told = capsys.readouterr().out
    page = vobject.readOne((plan_folder / "calendar" / "work.ics").read_bytes().decode())
    log = pd.read_parquet(plan_folder / "plan_log.parquet")
    moves = log[(log["action"] == "beetles out") & (log["adults"] > 0) & (log["day"] <= 210)]
    found = [e.dtstart.value for e in page.vevent_list if "move beetles" in e.summary.value]
    calendar = pd.date_range("2030-03-01", periods=210, freq="D")
    far = [min(abs(day - calendar[out - 1].date()) for day in found) for out in moves["day"]]
    # Wednesdays and Saturdays are never further than two days.
    assert len(far) >= 5 and max(far) <= timedelta(2)
    assert {day.weekday() for day in found} == {2, 5}
    study = json.loads((plan_folder / "manifest.json").read_text())["study"]
    startup = pd.read_parquet(plan_folder / "startup.parquet").set_index("event")
    day = date.fromisoformat(startup.loc["first_harvest", "date"])
    for text in (told, page.contents["description"][0].value):
        assert f"is met in {study['met']['met']} of {study['met']['runs']} runs" in text
        assert f"first harvest {day_in_words(day)} (" in text
    moved = read_work(plan_folder, "2031-05-05")
    assert moved.date(1) == date(2031, 5, 5) and "not moved" not in " ".join(moved.notes)


def test_a_plan_moved_to_another_season_is_warned_of(plan_folder, tmp_path):
    copy = tmp_path / "copy"
    copy.mkdir()
    for name in ("manifest.json", "plan_log.parquet", "startup.parquet"):
        (copy / name).write_bytes((plan_folder / name).read_bytes())
    without_sums(copy)
    data = json.loads((copy / "manifest.json").read_text())
    data["climate"] = {"kind": "yearly_wave", "values": [15, 8, 20]}
    (copy / "manifest.json").write_text(json.dumps(data))
    assert "not moved" in " ".join(read_work(copy, "2031-05-05").notes)
    assert "not moved" not in " ".join(read_work(copy, "2030-03-01").notes)
    for key in ("start", "policy", "met"):
        broken = data | {"study": {k: v for k, v in data["study"].items() if k != key}}
        (copy / "manifest.json").write_text(json.dumps(broken))
        with pytest.raises(InputError, match="damaged"):
            read_work(copy)
    (copy / "manifest.json").write_text(json.dumps(data))
    (copy / "startup.parquet").unlink()
    with pytest.raises(InputError, match="startup.parquet: file = 'No such file"):
        read_work(copy)


def test_a_name_with_ends_of_lines_adds_nothing_to_the_calendar(work, days):
    """Read back by another reader, and line by line as the most lenient one would."""
    bad = "END:VEVENT{0}BEGIN:VEVENT{0}SUMMARY:evil{0}ATTACH:http://example.org{0}END:VCALENDAR"
    plain = ical.calendar(work, days, timedelta(hours=8))
    for end in ("\r\n", "\n", "\r", "\x0b", "\x0c", "\x85", "\u2028", "\r\n ", "\x00"):
        name = bad.format(end)
        hostile = replace(work, name=f"rack{end}{name}", origin=name, notes=(name,))
        first = days[0]
        tasks = [replace(first, summary=name, detail=name, when=name), *days[1:]]
        text = ical.calendar(hostile, tasks, timedelta(hours=8)).decode()
        assert "\r" not in text.replace("\r\n", "") and "\0" not in text
        heads = Counter(re.split("[:;]", line)[0] for line in text.splitlines() if line[:1] != " ")
        usual = (line for line in plain.decode().splitlines() if line[:1] != " ")
        assert heads == Counter(re.split("[:;]", line)[0] for line in usual), repr(end)
        page = next(vobject.readComponents(text))
        assert "evil" in page.name.value if hasattr(page.name, "value") else True
        assert len(page.vevent_list) == len(
            next(vobject.readComponents(plain.decode())).vevent_list
        )
        assert not any("attach" in event.contents for event in page.vevent_list)
