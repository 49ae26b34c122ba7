"""The racks behind the page, without a page: settings, days, figures, files, who may ask."""

from __future__ import annotations

import dataclasses
import math
import re
import socket
import sys
import threading
from contextlib import asynccontextmanager

import numpy as np
import pytest
from commandline import wait_for

from colony_sim.biology.climate import Climate, constant
from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.colony.simulate import Scenario, simulate
from colony_sim.commands import explore, main
from colony_sim.drawing.content import Scale
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import content_key
from colony_sim.experiment.worlds import SHIPPED, Worlds, read_worlds, write_worlds
from colony_sim.explore import (
    answer,
    band,
    clock,
    colonies,
    experiment_file,
    possible,
    rack,
    rules,
    server,
    session,
    side,
    site,
)
from colony_sim.planning.wants import LARVAE_EACH
from colony_sim.running.local import SerialExecutor
from colony_sim.running.runner import default_workers
from colony_sim.serving import hosts
from colony_sim.statistics.over_worlds import verdict_over_worlds

DAYS = 130
STAY, TRAY, SCOOP = rules.ON_THE_RACK


def small(days: int = DAYS, **changes) -> Scenario:
    scenario = Scenario(Parameters.default(), constant(27.0), days, 3, breeders=60, larvae=800)
    for key, to in changes.items():
        scenario = rules.changed(scenario, key.replace("__", "."), to, scenario.climate)
    return scenario


def lived(start: Scenario, days: int) -> session.Session:
    found = session.Session(start)
    for _ in range(days):
        found.live()
    return found


@pytest.fixture(scope="module")
def record():
    return simulate(small(), record_bins=True)


def test_a_rack_gives_what_simulate_says(record):
    found = lived(small(), DAYS)
    assert found.over and found.day == found.old_run.day == DAYS
    for day in (1, 5, 28, 29, 100, DAYS):
        gives = found.old_run.gives(day)
        rows = record.daily.iloc[max(0, day - 28) : day]
        assert gives.days == len(rows)
        assert gives.larvae == pytest.approx(rows["harvest_larvae"].mean(), rel=1e-12)
        assert gives.grams == pytest.approx(rows["harvest_g"].mean(), rel=1e-12)
        assert gives.hours == pytest.approx(rows["work_minutes"].mean() / 60 * 7, rel=1e-12)
        assert gives.birds == int(gives.larvae / LARVAE_EACH)
    assert found.old_run.gives(DAYS).larvae > 0
    # Days after a colony's death count, with nothing.
    dead = lived(small(), 20).old_run
    assert dead.gives(34).larvae == pytest.approx(
        record.daily["harvest_larvae"][6:20].sum() / 28, rel=1e-12
    )
    assert session.Session(small()).old_run.gives(0) == session.Gives(0)


def test_the_rack_drawn_is_that_of_the_run(record):
    found = lived(small(), 100).old_run
    rows = record.bins_daily[record.bins_daily["day"] == 100].set_index("bin")
    drawn = rack.rack_now(found, 12.4)
    assert [one.number for one in drawn.bins] == list(rows.index)
    for one in drawn.bins:
        row = rows.loc[one.number]
        assert one.phase == row["phase"]
        stages = (one.eggs, one.larvae, one.pupae, one.adults)
        assert stages == tuple(row[list(session.STAGES)])
        assert one.larva_mg * one.larvae / 1000 == pytest.approx(row["larvae_g"])
        assert (one.bran_g, one.frass_g) == (row["bran_g"], row["frass_g"])
        assert (one.skins, one.moist) == (row["visible_skins"], row["moisture_g"] > 0)
        since = {"breeding": row["date_in"], "growing": row["date_out"], "free": 0}[one.phase]
        since = int(since)
        words = {"breeding": f"day {100 - since} of 14", "growing": f"out {100 - since} d"}
        assert one.label == (words.get(one.phase, "free"),)
    assert {one.phase for one in drawn.bins} == {"breeding", "growing", "free"}
    last = record.daily.iloc[99]
    held = {stage: sum(getattr(one, stage) for one in drawn.bins) for stage in ("pupae", "adults")}
    assert drawn.tray == {stage: last[stage] - held[stage] for stage in held}
    assert drawn.tray["pupae"] > 0 and drawn.bowl_larvae == 12
    said = rack.in_words(drawn, 100)
    assert f"{int(last['larvae']):,} larvae" in said and "14 bins on day 100" in said


def test_the_label_tells_no_date_of_a_rule_that_looks():
    start = small()
    parameters = start.parameters.with_values({"rotation.when": "larvae"}, "test")
    run = lived(dataclasses.replace(start, parameters=parameters), 20).old_run
    labels = [one.label[0] for one in rack.rack_now(run, 0).bins if one.phase == "breeding"]
    assert labels and all(label.startswith("in ") for label in labels)


def test_what_flies_is_what_the_keeper_moved(record):
    run = session.Run(small())
    scale = Scale({kind: 1.0 for kind in ("eggs", "larvae", "pupae", "adults", "skins", "bowl")}, 1)
    goes = {}
    for _ in range(DAYS):
        run.live()
        goes[run.day] = rack.flights(run, scale)
    log = record.bin_log
    for action, glyph, end in (("harvest", "larva", "bowl"), ("pupae to tray", "pupa", "tray")):
        kind = {"larva": "larvae", "pupa": "pupae"}[glyph]
        rows = log[(log["action"] == action) & (log[kind] > 0)]
        wanted = [(row.day, row.bin - 1) for row in rows.itertuples()]
        seen = [(day, go.begin) for day, all_ in goes.items() for go in all_ if go.end == end]
        assert seen == wanted and wanted
    out = log[(log["action"] == "beetles out") & (log["adults"] > 0)]
    for row in out.itertuples():
        ins = log[(log["day"] == row.day) & (log["action"] == "beetles in")]
        expected = {(row.bin - 1, bin_ - 1) for bin_ in ins["bin"]}
        moved = {(go.begin, go.end) for go in goes[row.day] if go.glyph == "beetle"}
        assert expected and expected <= moved
    assert all(1 <= go.signs <= 7 for all_ in goes.values() for go in all_)


def test_the_band_is_the_year_of_the_run(record):
    run = session.Run(small(days=600))
    for _ in range(450):
        run.live()
    columns = run.columns["harvest_larvae"]
    first = band.band(run, DAYS)
    assert (first.number, first.today, first.before) == (1, DAYS, ())
    assert sum(first.weeks) == sum(record.daily["harvest_larvae"]) > 0
    log = record.bin_log
    moved = log[(log["action"] == "beetles in") & (log["adults"] > 0)]["day"]
    assert first.moves == tuple(moved.drop_duplicates())
    later = band.band(run, 450)
    assert (later.number, later.today) == (2, 450 - 364)
    assert later.weeks[0] == sum(columns[364:371]) and len(later.before) == 52
    drawn = band.band_svg(later, max(later.weeks))
    # A bar for each week that was lived, and pale ones of the year before for those to come.
    assert drawn.count("<rect") == 52 and drawn.count("opacity") == 52 - len(later.weeks)
    wave = dataclasses.replace(small(), climate=Climate("yearly_wave", (22.0, 5.0, 20.0)))
    assert band.room_words(band.band(session.Run(wave), 0)).endswith("°C")
    assert band.room_words(first) == "27 °C"


def test_a_changed_rule_is_a_new_way_beside_the_old_one(record):
    found = lived(small(), 60)
    found.change(STAY, 21)
    assert found.stale and found.day == 60 and found.runs == (found.old_run,)
    found.renew()
    assert found.new_run.day == 0 and found.behind == [found.new_run] and not found.stale
    found.catch_up()
    # A further change goes on from the same old way.
    found.change(SCOOP, 0.5)
    found.renew()
    while found.behind:
        found.catch_up()
    changed = simulate(small(rotation__interval_days=21, harvest__fraction=0.5))
    assert found.new_run.columns == changed.daily.iloc[:60].to_dict("list")
    assert found.old_run.columns == record.daily.iloc[:60].to_dict("list")
    found.live()
    assert found.old_run.day == found.new_run.day == found.day == 61
    assert answer.way(found.new, found.old) == (
        "beetles stay 21 days, pupae on the tray, the scoop takes 50%"
    )
    found.back()
    found.renew()
    assert found.new_run is None and found.runs == (found.old_run,)
    found.change(TRAY, False)
    found.renew()
    kept = found.new_run
    found.keep()
    assert found.old_run is kept and found.new_run is None and not found.stale
    found.again()
    assert found.day == found.old_run.day == 0 and not found.old.parameters[TRAY]
    found.to_the_start()
    found.renew()
    assert found.old_run.scenario == found.old == small()


def test_the_page_opens_on_a_rack_that_lives(record):
    found = session.Session(small())
    scale = server.lived_on(found, 60)
    assert found.day == found.old_run.day == 60
    assert found.old_run.columns == record.daily.iloc[:60].to_dict("list")
    assert scale.wider(Scale.of([rack.rack_now(found.old_run, 0)])) == scale


def test_room_start_and_chance_are_those_of_both_ways():
    found = lived(small(), 10)
    found.change(STAY, 21)
    for key, to in (("temperature_c", 24), ("breeders", 50), ("larvae", 700), ("seed", 9)):
        found.change(key, to)
    found.renew()
    for run in found.runs:
        scenario = run.scenario
        assert (scenario.breeders, scenario.larvae, scenario.seed) == (50, 700, 9)
        assert scenario.climate == constant(24.0)
    assert [rule.key for rule, _, _ in rules.differences(found.old, found.new)] == [STAY]
    assert set(rules.COMMON).isdisjoint(catalogue())


def test_a_colony_that_died_out_is_over():
    found = session.Session(small(breeders=3, larvae=5, temperature_c=48))
    while not found.over:
        found.live()
    assert found.old_run.died_out and found.day == simulate(found.old).died_out_day < DAYS
    found.live()
    assert found.old_run.day == found.day
    # Beside a way that lives on, days go on.
    found.change("temperature_c", 27)
    found.change("temperature_c", 27)
    found.renew()
    assert not found.over


@pytest.mark.parametrize(
    ("key", "to"),
    [
        ("rotation.interval_days", 0),
        ("rotation.interval_days", 14.5),
        ("harvest.fraction", float("nan")),
        ("harvest.fraction", "0.5"),
        ("pupae.isolate", 1),
        ("moisture.start", "sometimes"),
        ("temperature_c", 80),
        ("temperature_c", None),
        ("breeders", 0),
        ("larvae", 2.5),
        ("seed", -1),
        ("seed", float("inf")),
    ],
)
def test_refused_value_is_told_in_words_and_changes_nothing(key, to):
    found = session.Session(small())
    with pytest.raises(InputError) as caught:
        found.change(key, to)
    assert (found.old, found.new) == (small(), small()) and not found.stale
    text = rules.refused(caught.value)
    assert text.startswith(f"{rules.rule(key).label}: ") and "Possible is " in text
    assert "\n" not in text and rules.WHERE + ":" not in text


def test_sliders_span_the_plausible_ranges_and_steps_reach_the_defaults():
    for rule in rules.rules():
        entry = catalogue().get(rule.key)
        if entry is not None:
            assert (rule.low, rule.high, rule.kind) == (entry.low, entry.high, entry.kind)
            assert entry.about in rule.meaning and entry.basis in rule.meaning
            if entry.kind == "choice":
                assert set(rule.words) == set(entry.choices)
        if rule.low is not None:
            steps = (session.Session(session.invented()).value(rule.key) - rule.low) / rule.step
            assert steps == pytest.approx(round(steps))
    defaults = session.invented().parameters
    assert defaults == Parameters.default()
    assert rules.span(rules.rule("rack.bins"), 3) == (3, 60)


def test_notes_tell_of_odd_values():
    found = session.Session(small())
    assert all(rules.note(found, rule.key) == "" for rule in rules.rules())
    found.change("rack.bins", 4)
    assert rules.note(found, "rack.bins") == "Outside the plausible range, 6 to 60 bins."
    found.change("pupae.isolate", False)
    assert "No effect" in rules.note(found, "pupae.inspection_days")


def test_room_of_the_file_can_be_left_and_taken_again():
    wave = Climate("yearly_wave", (22.0, 5.0, 20.0))
    start = Scenario(Parameters.default(), wave, 50, 1, 10, 100)
    found = session.Session(start)
    assert found.value("temperature_c") is None
    assert rules.note(found, "temperature_c") == "As in the file."
    found.change("temperature_c", 26)
    assert found.new.climate == found.old.climate == constant(26.0)
    found.change("temperature_c", None)
    assert found.old == found.new == start


def test_experiment_file_holds_the_two_ways(tmp_path):
    old = small(rack__bins=10)
    new = small(rack__bins=10, rotation__interval_days=21, pupae__isolate=False,
                moisture__start="always")  # fmt: skip
    path = tmp_path / "explored.toml"
    path.write_text(experiment_file.experiment_text(old, new), encoding="utf-8")
    read = load(path)
    assert [policy.name for policy in read.policies] == ["old way", "new way"]
    assert [policy.parameters for policy in read.policies] == [old.parameters, new.parameters]
    assert (read.climate, read.days, read.breeders, read.larvae, read.seed, read.baseline) == (
        new.climate, new.days, new.breeders, new.larvae, new.seed, "old way",
    )  # fmt: skip
    assert read.invented
    assert experiment_file.experiment_text(old, old) is None
    for room in (
        Climate("series", (20.0, 22.0)),
        Climate("logger", (20.0, 22.0), "2030-03-01", "2030-03-01"),
    ):
        pair = [dataclasses.replace(run, climate=room) for run in (old, new)]
        assert experiment_file.experiment_text(*pair) is None


def test_a_profile_gives_its_central_draw_and_what_is_possible(tmp_path, monkeypatch):
    path = tmp_path / "shed.profile.csv"
    keys = ("egg.duration_days", "larva.mature_mass_mg")
    shed = Worlds("shed", keys, np.array([[6.0, 120.0], [7.5, 131.0], [9.0, 150.0]]))
    write_worlds(path, shed)
    served = []
    monkeypatch.setattr(server, "serve", lambda *words: served.append(words[1:]))
    explore.run_explore(None, policy=None, profile=path, port=0, browse=False)
    scenario, about, worlds = served[0][:3]
    fitted = {"egg.duration_days": 7.5, "larva.mature_mass_mg": 131.0}
    assert scenario.parameters == session.invented().parameters.with_values(fitted, where="test")
    assert "central draw of profile “shed”" in about and worlds == shed
    explore.run_explore(None, policy=None, profile=None, port=0, browse=False)
    assert served[1][2] == read_worlds(SHIPPED)


# ---- Possible colonies

PAIR = (small(), small(rotation__interval_days=21))


def outcomes(olds, news):
    one = "yield_larvae_per_day"
    return {
        number: {
            possible.OLD: {"yield_g_per_day": old, one: 10 * old},
            possible.NEW: {"yield_g_per_day": new, one: 10 * new},
        }
        for number, (old, new) in enumerate(zip(olds, news, strict=True), start=1)
    }


def test_both_ways_live_in_the_same_worlds_with_the_same_chance():
    plan = possible.plan_of(PAIR, read_worlds(SHIPPED), colonies.MOST)
    runs = list(plan.runs())
    assert len(runs) == 2 * colonies.MOST and len({run.scenario.seed for run in runs}) == 30
    for old, new in zip(runs[::2], runs[1::2], strict=True):
        assert (old.policy, new.policy) == (possible.OLD, possible.NEW)
        assert old.scenario.seed == new.scenario.seed
        both = [dict(run.scenario.parameters.items()) for run in (old, new)]
        differ = {key for key in both[0] if both[0][key] != both[1][key]}
        assert differ == {STAY}
    one_way = possible.plan_of((PAIR[0], PAIR[0]), read_worlds(SHIPPED), colonies.MOST)
    # What is lived before anything is changed serves every new way.
    assert [content_key(run.scenario) for run in one_way.runs()] == [run.key for run in runs[::2]]


def test_summary_counts_pairs_and_takes_the_error_from_the_statistics():
    olds, news = [5.0, 6.0, 7.0, 8.0, 9.0, 10.0], [6.0, 7.0, 8.0, 9.0, 8.0, 12.0]
    found = outcomes(olds, news)
    del found[6][possible.NEW]  # Not lived both ways yet.
    said = possible.summary(found, 2, 30)
    assert (said.colonies, said.most) == (5, 30)
    assert said.ahead == (True, True, True, True, False) and said.known == "more"
    verdict = verdict_over_worlds([[1.0], [1.0], [1.0], [1.0], [-1.0]])
    assert said.probability == pytest.approx(verdict.probability_a)
    assert said.error == pytest.approx(verdict.probability_a_se)
    assert said.larvae == pytest.approx(np.quantile([50, 60, 70, 80, 90], [0.1, 0.9]))
    assert possible.summary(outcomes(news, olds), 2, 30).known == "less"
    assert possible.summary(outcomes([1, 2, 3, 4], [2, 3, 2, 3]), 2, 30).known == "open"
    alone = possible.summary(outcomes(olds[:1], news[:1]), 2, 30)
    assert math.isnan(alone.probability) and alone.known == "open" and alone.larvae is None


class Slow(SerialExecutor):
    """Jobs one by one; each waits until it may begin."""

    def __init__(self):
        self.may = threading.Semaphore(0)
        self.seen = []

    def submit(self, job):
        self.may.acquire()
        self.seen.append(job.scenario)
        return super().submit(job)

    def stop(self, futures):
        self.may.release()


def test_colonies_are_lived_while_somebody_looks_and_a_change_begins_anew(monkeypatch):
    monkeypatch.setattr(colonies, "MOST", 2)
    pool = Slow()
    behind = colonies.Colonies(read_worlds(SHIPPED), pool)
    try:
        behind.ask(PAIR[0], PAIR[0])
        pool.may.release(2)
        assert pool.seen == [] and behind.so_far().colonies == 0
        behind.watch(True)
        wait_for(lambda: behind.so_far().colonies == 2)
        behind.ask(*PAIR)
        assert behind.so_far() == colonies.SoFar()
        pool.may.release(2)
        wait_for(lambda: behind.so_far().colonies == 2)
        # The old way was lived already.
        assert [one.parameters[STAY] for one in pool.seen] == [14, 14, 21, 21]
        assert len(behind.so_far().ahead) == 2 and behind.fault is None
    finally:
        pool.may.release(9)
        behind.close()


def test_a_colony_that_fails_is_told(monkeypatch):
    monkeypatch.setattr(colonies, "MOST", 2)
    monkeypatch.setattr(possible.SteadyMeasuring, "of_record", lambda *_: 1 / 0)
    behind = colonies.Colonies(read_worlds(SHIPPED), SerialExecutor())
    try:
        behind.ask(*PAIR)
        behind.watch(True)
        wait_for(lambda: behind.fault is not None)
        assert "ZeroDivisionError" in behind.fault
    finally:
        behind.close()


def test_workers_give_way_and_end_with_the_page(monkeypatch):
    monkeypatch.setattr(colonies, "MOST", 2)
    behind = colonies.Colonies(read_worlds(SHIPPED))
    try:
        assert behind._executor.workers == max(1, default_workers() - 1)
        behind.ask(PAIR[0], PAIR[0])
        behind.watch(True)
        wait_for(lambda: behind._executor._pool is not None and behind._executor._pool._processes)
        process = next(iter(behind._executor._pool._processes.values()))
        wait_for(lambda: niceness(process.pid) == 10)
    finally:
        behind.close()
    wait_for(lambda: not process.is_alive())


def niceness(pid: int) -> int:
    with open(f"/proc/{pid}/stat", encoding="utf-8") as stat:
        return int(stat.read().rpartition(")")[2].split()[16])


# ---- Words


def so_far(ahead, known, most=30, **more):
    count = len(ahead)
    return colonies.SoFar(count, most, tuple(ahead), sum(ahead) / count, 0.14, known, **more)


def test_the_answer_says_what_is_known():
    gives = session.Gives(28, 397.0, 36.6, 2.6)
    said = answer.headline(colonies.SoFar(), False, gives)
    assert said == "This rack feeds 39 birds."
    # Too few days to say what it gives.
    assert "first weeks" in answer.headline(colonies.SoFar(), False, session.Gives(27, 9.0))
    more = so_far([True] * 7 + [False] * 3, "more")
    assert answer.headline(more, True, gives) == (
        "The new way gives more in 7 of 10 possible colonies so far."
    )
    less = so_far([True] * 6 + [False] * 24, "less")
    assert answer.headline(less, True, gives) == (
        "The new way gives no more in 24 of 30 possible colonies."
    )
    half = so_far([True] * 5 + [False] * 5, "open")
    assert answer.headline(half, True, gives).startswith("Nobody knows yet: ")
    assert "being lived" in answer.headline(so_far([True], "open"), True, gives)
    old = session.Gives(28, 300.0, 27.0, 1.7)
    assert answer.under_it(more, True, old, gives) == (
        "That is 70%, give or take 14 points. The racks below feed 30 (old way) and 39 birds "
        "(new way), for 1.7 and 2.6 hours of work a week."
    )
    spread = colonies.SoFar(12, 30, larvae=(61.0, 148.0))
    assert "8 of 10 feed between 6 and 14 birds (12 lived so far)" in answer.under_it(
        spread, False, gives, gives
    )
    # News for those who listen come now and then only.
    steps = [answer.milestone(so_far([True] * n, "more")) for n in range(2, 31)]
    assert len(set(steps)) == 5


def test_hens_go_with_birds():
    for birds, most in ((0, 5), (1, 1), (12, 12), (39, 39), (3, 60), (500, 1000)):
        drawn = side.flock(birds, most).count("<use")
        each = next(each for each in side._EACH if each * 12 >= most)
        assert drawn == (0 if birds == 0 else max(1, round(birds / each))) <= 12
    assert "one hen drawn: 5 birds" in side.flock(39, 39) and "drawn" not in side.flock(9, 9)


def test_clock_lives_days_in_the_background_and_pauses():
    ticking = clock.Clock(session.Session(small(days=60)))
    try:
        ticking.step(3)
        wait_for(lambda: not ticking.busy)
        assert ticking.ask(lambda s: (s.day, s.old_run.day)) == (3, 3)
        ticking.watch(False)
        ticking.pace = 100
        ticking.start()
        ticking.watch(True)
        wait_for(lambda: ticking.session.day > 8)
        ticking.pause()
        day = ticking.ask(lambda s: s.day)
        ticking.change(STAY, 20)
        wait_for(lambda: not ticking.busy)
        assert ticking.ask(lambda s: (s.new_run.day, s.old_run.day)) == (day, day)
        assert ticking.session.new_run.scenario == small(days=60, rotation__interval_days=20)
        with pytest.raises(InputError):
            ticking.change(STAY, 0)
        ticking.step(1000)
        wait_for(lambda: ticking.session.over and not ticking.busy)
        ticking.again()
        wait_for(lambda: not ticking.busy)
        assert ticking.ask(lambda s: s.day) == 0 and not ticking.running
    finally:
        ticking.close()


def test_time_waits_for_a_hand_and_for_somebody_who_looks(monkeypatch):
    monkeypatch.setattr(clock, "HAND", 1000.0)
    ticking = clock.Clock(session.Session(small(days=60)))
    try:
        ticking.pace = 100
        ticking.watch(False)
        ticking.start()
        ticking.hand()
        ticking.watch(True)
        # What is asked for at once comes all the same.
        ticking.step(2)
        wait_for(lambda: ticking.session.old_run.day == 2)
        assert ticking.waiting and ticking.running and ticking.session.day == 2
        ticking._hand = 0.0
        ticking.watch(True)
        wait_for(lambda: ticking.session.day > 4)
    finally:
        ticking.close()


def test_fault_of_the_model_is_told_and_can_be_left(monkeypatch):
    ticking = clock.Clock(session.Session(small(days=60)))
    try:
        monkeypatch.setattr(session.Run, "live", lambda self: 1 / 0)
        ticking.step(1)
        wait_for(lambda: ticking.fault is not None)
        assert ticking.fault.startswith("ZeroDivisionError") and not ticking.busy
        monkeypatch.undo()
        ticking.again()
        wait_for(lambda: not ticking.busy and ticking.fault is None)
        ticking.step(2)
        wait_for(lambda: ticking.session.old_run.day == 2)
    finally:
        ticking.close()


# ---- Who is answered


@pytest.mark.parametrize(
    ("named", "origins", "by_a_page", "answer"),
    [
        (["127.0.0.1:80"], [], False, None),
        (["localhost:8000"], ["http://localhost:8000"], True, None),
        (["localhost:8000"], [], True, 403),
        (["rack.example:8000"], [], False, 403),
        (["127.0.0.1.example"], [], False, 403),
        (["localhost:8000"], ["http://rack.example"], False, 403),
        (["localhost:8000"], ["http://localhost:9000"], True, 403),
        (["localhost:8000"], ["null"], True, 403),
        ([], [], False, 400),
        (["localhost", "localhost"], [], False, 400),
        (["["], [], False, 400),
        (["[::1"], ["http://[::1"], True, 400),
        ([""], [], False, 400),
    ],
)
def test_a_request_names_this_machine_and_the_page_as_its_origin(named, origins, by_a_page, answer):
    assert hosts.refusal(named, origins, by_a_page=by_a_page) == answer


class Inside:
    """An application that answers whatever it is asked, and counts how often it lived."""

    def __init__(self):
        self.router = self
        self.lived = []

    @asynccontextmanager
    async def lifespan_context(self, app):
        self.lived.append("began")
        yield
        self.lived.append("ended")

    async def __call__(self, scope, receive, send):
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.accept"})
            return
        head = [(b"content-length", b"6")]
        await send({"type": "http.response.start", "status": 200, "headers": head})
        await send({"type": "http.response.body", "body": b"inside"})


def replied(port: int, target: str, *headers: str, method: str = "GET") -> tuple[int, str]:
    """Code and text of what a socket gets that sends these headers and no other."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as caller:
        last = [] if "Connection: Upgrade" in headers else ["Connection: close"]
        head = [f"{method} {target} HTTP/1.1", *headers, *last]
        caller.sendall("".join(f"{line}\r\n" for line in (*head, "")).encode())
        text = b""
        while part := caller.recv(4096):
            text += part
    return int(text.split()[1]), text.decode("latin-1")


def test_page_and_websocket_are_for_a_browser_that_had_the_token(capfd):
    lines, inside = [], Inside()
    with site.Site(0, lines.append) as up:
        port, token = up.entrance.port, up.entrance.door.token
        host, origin = f"Host: 127.0.0.1:{port}", f"Origin: http://127.0.0.1:{port}"
        socketry = ["Upgrade: websocket", "Connection: Upgrade", "Sec-WebSocket-Version: 13",
                    "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA=="]  # fmt: skip

        def code(target, *headers, method="GET"):
            return replied(port, target, *headers, method=method)[0]

        for put in (False, True):
            if put:
                up.put(inside)
            for target in ("/", "/waiting", "/?t=x", "/x?t=" + token):
                assert code(target, host) == 403
            assert code("/", host, origin, *socketry) == 403
        said, text = replied(port, f"/?t={token}", host)
        cookie = f"Cookie: other=1; {re.search('set-cookie: ([^;]+);', text)[1]}"
        assert said == 303 and "location: /\r\n" in text
        assert "HttpOnly; SameSite=Strict" in text and "Max-Age" not in text
        assert len(lines) == 1 and up.entrance.address in lines[0] and token not in lines[0]
        said, text = replied(port, f"/?t={token}", host)
        assert said == 403 and "used already" in text
        assert code(f"/?t={token}", host, cookie) == 303
        assert code("/", host, cookie[:-1]) == code("/", host, cookie + "é") == 403

        said, text = replied(port, "/", host, cookie)
        assert said == 200 and text.endswith("inside") and "default-src 'self'" in text
        assert code("/", host, origin, cookie, *socketry) == 101
        foreign = "Origin: http://rack.example"
        for wrong in ([host], [host, foreign], ["Host: rack.example", foreign]):
            assert code("/", *wrong, cookie, *socketry) == 403
            assert code("/", *wrong, cookie, method="POST") == 403
        assert code("/", host, origin, cookie, method="POST") == 200
        for wrong in (["Host: ["], ["Host: ", origin], [], [host, host]):
            assert code("/", *wrong, cookie) == 400
        assert code("/", "Host: [", "Origin: http://[", cookie, *socketry) == 403
    assert inside.lived == ["began", "ended"]
    assert capfd.readouterr() == ("", "")


def test_the_page_says_what_it_waits_for_until_the_model_is_there():
    with site.Site(0, lambda line: None) as up:
        host = f"Host: 127.0.0.1:{up.entrance.port}"
        _, text = replied(up.entrance.port, f"/?t={up.entrance.door.token}", host)
        cookie = f"Cookie: {re.search('set-cookie: ([^;]+);', text)[1]}"

        def page(target="/"):
            return replied(up.entrance.port, target, host, cookie)

        up.doing("Beetles & bins.")
        code, text = page()
        assert code == 200 and "Beetles &amp; bins." in text and "{{" not in text
        assert page("/waiting")[1].endswith("\r\n\r\nBeetles & bins.")
        assert page("/elsewhere")[0] == 404
        up.put(Inside())
        assert page()[1].endswith("inside") and page("/waiting")[1].endswith("\r\n\r\n")
    with pytest.raises(ConnectionRefusedError):
        page()


def test_a_model_that_fails_ends_the_site_and_is_told():
    with pytest.raises(ZeroDivisionError), site.Site(0, lambda line: None) as up:
        raise ZeroDivisionError
    with pytest.raises(ConnectionRefusedError):
        replied(up.entrance.port, "/")


def test_bad_command_lines_are_one_line_and_code_2(tmp_path, monkeypatch, capsys):
    def ending(*words: object) -> str:
        monkeypatch.setattr("sys.argv", ["colony-sim", "explore", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main.run()
        said = capsys.readouterr()
        assert (ended.value.code, said.out, said.err.count("\n")) == (2, "", 1)
        return said.err

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        said = ending("--no-browser", "--port", port)
    assert f"--port = {port}" in said and "a free port" in said
    assert "--port" in ending("--port", 70000)
    assert "--policy" in ending("--policy", "x")
    assert "missing.toml" in ending(tmp_path / "missing.toml")
    # None in this place is how Python marks a module that cannot be imported.
    monkeypatch.setitem(sys.modules, "nicegui", None)
    said = ending("--no-browser")
    assert "needs the package nicegui" in said and "extra 'explore'" in said
