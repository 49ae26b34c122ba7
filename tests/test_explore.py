"""The run behind the page, without a page: settings, days, numbers, files, who may ask."""

from __future__ import annotations

import dataclasses
import re
import socket
import sys
from importlib.resources import files
from itertools import combinations

import numpy as np
import pytest
from commandline import wait_for
from sight import SIGHT, contrast, lab, linear

from colony_sim.biology.climate import Climate, constant
from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.colony.simulate import Scenario, simulate
from colony_sim.commands import explore, main
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.worlds import Worlds, write_worlds
from colony_sim.explore import charts, clock, experiment_file, guard, rack, rules, server, session

DAYS = 130


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


def test_numbers_are_those_of_simulate(record):
    found = lived(small(), DAYS)
    assert found.run.over
    for day in (1, 5, 28, 29, 100, DAYS):
        numbers = found.run.numbers(day)
        rows = record.daily.iloc[max(0, day - 28) : day]
        assert (numbers.day, numbers.window) == (day, len(rows))
        last = record.daily.iloc[day - 1]
        assert numbers.stocks == {name: last[name] for name in numbers.stocks}
        lost = rows[["adults_died_age", "adults_died_background", "adults_died_handling"]]
        expected = {
            "yield_g_per_day": rows["harvest_g"].sum() / len(rows),
            "adult_losses_per_100_per_day": 100 * lost.to_numpy().sum() / rows["adults"].sum(),
            "work_hours_per_week": rows["work_minutes"].sum() / 60 * 7 / len(rows),
        }
        assert numbers.measures == pytest.approx(expected, rel=1e-12)
    assert found.run.numbers(DAYS).measures["yield_g_per_day"] > 0
    assert found.run.numbers(DAYS + 50) == found.run.numbers(DAYS)
    assert session.Session(small()).run.numbers(0) is None
    thirty = record.daily["harvest_g"].to_numpy()[:120].reshape(4, 30).mean(axis=1)
    assert found.run.months() == pytest.approx(thirty.tolist(), rel=1e-12)


def test_rack_is_that_of_the_run(record):
    found = lived(small(), 100)
    rows = record.bins_daily[record.bins_daily["day"] == 100].set_index("bin")
    states = found.run.rack()
    assert [state.label for state in states] == list(rows.index)
    for state in states:
        row = rows.loc[state.label]
        assert state.phase == row["phase"]
        assert state.stages == tuple(row[list(session.STAGES)])
        since = {"breeding": row["date_in"], "growing": row["date_out"], "free": np.nan}
        age = 100 - since[state.phase]
        assert state.age == age if state.age is not None else np.isnan(age)
    assert {state.phase for state in states} == {"breeding", "growing", "free"}
    page = rack.rack_html(states)
    assert page.count("<li") == len(states) == 14
    for name in session.STAGES:
        shown = re.findall(rf"([\d,]+) (?:{name}|{rack._ONE[name]})\b", page)
        assert sum(int(count.replace(",", "")) for count in shown) == rows[name].sum()


def test_the_move_comes_on_the_day_the_rack_says():
    found = lived(small(), 20)
    breeding = next(state for state in found.run.rack() if state.phase == "breeding")
    for _ in range(breeding.due):
        found.live()
    assert found.run.colony.keeper.last_move == 20 + breeding.due == found.run.day


def test_the_rack_tells_no_date_of_a_rule_that_looks():
    start = small()
    looks = {"rotation.when": "larvae", "rack.clear_when": "little_left"}
    parameters = start.parameters.with_values(looks, "test")
    states = lived(dataclasses.replace(start, parameters=parameters), 20).run.rack()
    assert {state.phase for state in states} == {"breeding", "growing", "free"}
    assert {state.due for state in states} == {None}
    page = rack.rack_html(states)
    assert "to the move" not in page and "left" not in page and "None" not in page


def test_changed_rule_starts_again_catches_up_and_holds_the_run_before(record):
    found = lived(small(), 60)
    found.change("rotation.interval_days", 21)
    assert found.stale and found.run.day == 60
    found.renew()
    assert (found.run.day, found.target, found.catching_up) == (0, 60, True)
    # Passed through only: another change before it has caught up.
    found.live()
    found.change("harvest.fraction", 0.5)
    found.renew()
    assert found.held.scenario == small() and found.held.day == 60
    while found.catching_up:
        found.live()
    changed = simulate(small(rotation__interval_days=21, harvest__fraction=0.5))
    assert found.run.day == 60
    assert found.run.columns == changed.daily.iloc[:60].to_dict("list")
    assert found.held.columns == record.daily.iloc[:60].to_dict("list")
    assert found.run.scenario.seed == found.held.scenario.seed
    labels = [
        (rule.key, held, this)
        for rule, held, this in rules.differences(small(), found.run.scenario)
    ]
    assert labels == [
        ("rotation.interval_days", "14 d", "21 d"),
        ("harvest.fraction", "0.8 share", "0.5 share"),
    ]
    found.keep = True
    found.change("rack.bins", 10)
    found.renew()
    assert found.held.scenario == small()
    found.keep = False
    found.again()
    assert (found.run.day, found.target) == (0, 0) and found.held.scenario == small()
    found.revert()
    found.renew()
    assert found.run.scenario == small() and found.held.day == 60


def test_a_colony_that_died_out_is_over_and_says_when():
    found = session.Session(small(breeders=3, larvae=5, temperature_c=48))
    while not found.run.over:
        found.live()
    record = simulate(found.run.scenario)
    assert found.run.died_out_day == record.died_out_day
    assert 0 < record.died_out_day < DAYS
    found.live()
    assert found.run.day == record.died_out_day


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
    assert found.scenario == small() and not found.stale
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
    assert found.scenario.climate == constant(26.0)
    found.change("temperature_c", None)
    assert found.scenario == start


def test_experiment_file_holds_the_two_runs(tmp_path):
    held = small(rack__bins=10)
    this = small(rack__bins=10, rotation__interval_days=21, pupae__isolate=False,
                 moisture__start="always")  # fmt: skip
    path = tmp_path / "explored.toml"
    path.write_text(experiment_file.experiment_text(held, this), encoding="utf-8")
    read = load(path)
    assert [policy.name for policy in read.policies] == ["held run", "this run"]
    assert [policy.parameters for policy in read.policies] == [held.parameters, this.parameters]
    assert (read.climate, read.days, read.breeders, read.larvae, read.seed) == (
        this.climate, this.days, this.breeders, this.larvae, this.seed,
    )  # fmt: skip
    assert read.invented
    for other in (small(breeders=70), small(temperature_c=20), small(seed=9), held):
        assert experiment_file.experiment_text(held, other) is None or other.seed == 9
    assert experiment_file.experiment_text(held, small(rack__bins=10, seed=9)) is None
    for room in (
        Climate("series", (20.0, 22.0)),
        Climate("logger", (20.0, 22.0), "2030-03-01", "2030-03-01"),
    ):
        pair = [dataclasses.replace(run, climate=room) for run in (held, this)]
        assert experiment_file.experiment_text(*pair) is None


def test_a_profile_gives_its_central_draw(tmp_path, monkeypatch):
    path = tmp_path / "shed.profile.csv"
    keys = ("egg.duration_days", "larva.mature_mass_mg")
    write_worlds(path, Worlds("shed", keys, np.array([[6.0, 120.0], [7.5, 131.0], [9.0, 150.0]])))
    served = []
    monkeypatch.setattr(server, "serve", lambda *words: served.append(words))
    explore.run_explore(None, policy=None, profile=path, port=0, browse=False)
    scenario, about = served[0][:2]
    fitted = {"egg.duration_days": 7.5, "larva.mature_mass_mg": 131.0}
    assert scenario.parameters == session.invented().parameters.with_values(fitted, where="test")
    assert "central draw of profile “shed”" in about


def test_charts_draw_the_days_that_were_lived(record):
    found = lived(small(), 60)
    found.change("rack.bins", 10)
    found.renew()
    found.live()
    option = charts.stage("larvae", found.run, found.held, charts.LIGHT)
    held, this = option["series"]
    assert [tuple(point) for point in held["data"]] == [
        (day, record.daily["larvae"][day - 1]) for day in range(1, 61)
    ]
    assert this["data"] == [(1, found.run.columns["larvae"][0])]
    assert {held["lineStyle"]["type"], this["lineStyle"]["type"]} == {"dashed", "solid"}
    months = charts.harvest(found.held, None, charts.DARK)["series"][0]["data"]
    assert [grams for _, grams in months] == pytest.approx(found.held.months(), abs=6e-4)
    columns = {"larvae": list(range(1500)), "day": list(range(1500))}
    points = charts._line(session.Lived(small(), columns), "larvae")
    assert len(points) <= charts.POINTS + 1 and points[-1] == (1500, 1499)
    assert all(count == day - 1 for day, count in points)


def test_clock_lives_days_in_the_background_and_pauses():
    ticking = clock.Clock(session.Session(small(days=60)))
    try:
        ticking.step(3)
        wait_for(lambda: not ticking.busy)
        assert ticking.ask(lambda s: s.run.day) == 3
        ticking.pace = 100
        ticking.start()
        wait_for(lambda: ticking.session.run.day > 8)
        ticking.pause()
        day = ticking.ask(lambda s: s.run.day)
        ticking.change("rotation.interval_days", 20)
        wait_for(lambda: not ticking.busy)
        assert ticking.ask(lambda s: (s.run.day, s.held.day)) == (day, day)
        assert ticking.session.run.scenario == small(days=60, rotation__interval_days=20)
        ticking.to_the_end()
        wait_for(lambda: ticking.session.run.over)
        ticking.again()
        wait_for(lambda: not ticking.busy)
        assert ticking.ask(lambda s: s.run.day) == 0 and not ticking.running
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
        wait_for(lambda: ticking.session.run.day == 2)
    finally:
        ticking.close()


@pytest.mark.parametrize(
    ("headers", "answer"),
    [
        ({"host": "127.0.0.1:80"}, True),
        ({"host": "localhost:8000", "origin": "http://localhost:8000"}, True),
        ({"host": "rack.example:8000"}, False),
        ({"host": "127.0.0.1.example"}, False),
        ({}, False),
        ({"host": "localhost:8000", "origin": "http://rack.example"}, False),
        ({"host": "localhost:8000", "origin": "http://localhost:9000"}, False),
        ({"host": "localhost:8000", "origin": "null"}, False),
    ],
)
def test_guard_answers_this_machine_only(headers, answer):
    pairs = [(name.encode(), text.encode()) for name, text in headers.items()]
    assert guard.allowed(pairs) is answer


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


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_stages_keep_apart_for_every_reader(scheme):
    css = files("colony_sim.explore").joinpath("page.css").read_text("utf-8")
    block = re.findall(r":root \{(.*?)\}", css, re.DOTALL)[scheme == "dark"]
    colours = dict(re.findall(r"--([\w-]+): (#\w{6})", block))
    stages = [colours[name] for name in session.STAGES]
    for sight in SIGHT.values():
        seen = [lab(sight @ linear(colour)) for colour in stages]
        assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) > 25
    assert min(contrast(colour, colours["ground"]) for colour in stages) >= 3
    words = ("ink", "quiet", "this", "held")
    assert min(contrast(colours[name], colours["sheet"]) for name in words) >= 4.5
