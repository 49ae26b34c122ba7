"""A keeper begins with an empty log and a telephone, and taps a year of it."""

from __future__ import annotations

import datetime
import os

import browser
import pytest
from commandline import PROGRAM, cli, wait_for
from plain_words import jargon
from test_today_served import PHONE, serving

from colony_sim.assimilation.asked import ask
from colony_sim.assimilation.study import Found
from colony_sim.assimilation.taps import TAPS, of_phase
from colony_sim.assimilation.today import assimilate
from colony_sim.assimilation.told import tell
from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.bins import Phase
from colony_sim.experiment.worlds import SHIPPED, read_worlds
from colony_sim.logs.logbook import parse
from colony_sim.logs.schedule import compile_schedule
from colony_sim.logs.words import COLUMNS, LogAction

BINS, MEMBERS, STAY = 5, 20, 42
FIRST, LAST = datetime.date(2031, 1, 4), datetime.date(2032, 1, 3)
HEAD = ",".join(COLUMNS) + "\n"


@pytest.fixture(scope="module")
def chromium():
    with browser.chromium() as running:
        yield running


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    folder = tmp_path_factory.mktemp("year")
    path = folder / "shed.csv"
    parameters = Parameters.default().with_values({"rack.bins": BINS}, where="test")

    def work(hear, text=None):
        if text is not None:
            path.write_text(text)
        asked = ask(path, parameters, constant(27.0), read_worlds(SHIPPED), on=LAST, empty_too=True)
        state = assimilate(asked.ensemble, MEMBERS, folder, otherwise=False, workers=2,
                           on_progress=hear)  # fmt: skip
        return Found(asked, state, tell(asked, state))

    return folder, work(lambda progress: None, HEAD), work


def a_year() -> list[tuple[datetime.date, str, LogAction, dict[str, str]]]:
    """What is done: day, bin, action, fields."""
    rows = [(0, 0, LogAction.BEETLES_IN, {"How many": "60"})]
    for turn in range(9):
        start, out = STAY * turn, STAY * (turn + 1)
        rows.append((out, turn, LogAction.BEETLES_OUT, {
            "How many": str(50 + 7 * (turn % 3)), "They go into bin": str((turn + 1) % BINS + 1),
        }))  # fmt: skip
        if turn % 3 == 0:
            rows.append((out, turn, LogAction.DEAD_BEETLES, {"How many": str(3 + turn)}))
        rows += [
            (start + 75, turn, LogAction.SKINS_SEEN, {}),
            (start + 78, turn, LogAction.MOISTURE_STARTED, {}),
            (start + 88, turn, LogAction.COUNT, {"Of what": "larvae", "How many": "350"}),
            (start + 120, turn, LogAction.HARVEST, {"Grams": "9"}),
            (start + 140, turn, LogAction.PUPAE_PICKED, {"How many": "40"}),
            (start + 196, turn, LogAction.CLEARED, {}),
        ]
    end = (LAST - FIRST).days
    rows = sorted((row for row in rows if row[0] <= end), key=lambda row: row[0])
    return [
        (FIRST + datetime.timedelta(days=day), str(turn % BINS + 1), action, fields)
        for day, turn, action, fields in rows
    ]


def test_a_year_is_tapped_from_an_empty_log(chromium, empty, monkeypatch):
    folder, found, work = empty
    pictures = os.environ.get("COLONY_SIM_YEAR")
    monkeypatch.setattr("test_today_served.LOG", HEAD)
    monkeypatch.setattr("test_today_served.ON", LAST)
    with (
        serving(empty) as (server, path, _),
        browser.visit(
            chromium, server.entrance.address, browser.PHONE, still=True, **PHONE
        ) as seen,
    ):
        shown = seen.page
        assert "Your rack is empty" in shown.locator("h1").inner_text()
        assert shown.locator(".rack a").count() == BINS
        buttons = shown.locator("#bin-1 [data-action]").evaluate_all(
            "found => found.map(one => one.dataset.action)"
        )
        assert sorted(buttons) == sorted(LogAction)
        assert seen.violations() == [] and seen.overflow() == 0
        if pictures:
            shown.screenshot(path=f"{pictures}/year-empty-390.png", full_page=True)
        wanted = []
        for date, name, action, fields in a_year():
            place = shown.locator(f"#bin-{name}")
            if place.get_attribute("open") != "":
                shown.locator(f'.rack a[href="#bin-{name}"]').tap()
            button = place.locator(f'[data-action="{action}"]')
            if not button.is_visible():
                place.get_by_text("Something else").tap()
            button.tap()
            shown.locator("#form input[name=date]").fill(str(date))
            for label, text in fields.items():
                one = shown.locator("#form").get_by_label(label)
                if label in ("Of what", "They go into bin"):
                    one.select_option(text)
                else:
                    one.fill(text)
            shown.get_by_role("button", name="Log it").tap()
            shown.locator("#form").wait_for(state="hidden")
            wanted.append((date, name, action))
            if into := fields.get("They go into bin"):
                wanted.append((date, into, LogAction.BEETLES_IN))
        wait_for(lambda: path.read_text().count("\n") == len(wanted) + 1)
        entries, faults = parse(path.read_text())[:2]
        assert not faults and not compile_schedule(entries).faults
        assert [(e.date, e.bin, e.action) for e in entries] == wanted
        shown.get_by_role("button", name="Work it out again").tap()
        shown.locator("#before").wait_for(state="hidden", timeout=120_000)
        head = shown.locator("h1").inner_text()
        assert "Move the beetles" in head or "move the beetles" in head
        assert shown.locator("details[id] table").count() >= BINS - 1
        assert seen.violations() == [] and seen.overflow() == 0 and seen.errors == []
        assert jargon(shown.locator("main").inner_text()) == []
        if pictures:
            shown.screenshot(path=f"{pictures}/year-full-390.png", full_page=True)
            shown.set_viewport_size({"width": 1280, "height": 900})
            shown.screenshot(path=f"{pictures}/year-full-1280.png", full_page=True)


def test_every_action_of_the_log_has_a_button_and_a_form():
    for phase in Phase:
        first, others = of_phase(phase.value)
        assert sorted([*first, *others]) == sorted(LogAction)
    asked = {tap.action: set(tap.asks) for tap in TAPS}
    for action in LogAction:
        needs = set(action.needs) - {"either"}
        assert needs <= asked[action], action
        if "either" in action.needs:
            assert asked[action] & {"count", "grams"}


def test_a_folder_that_is_served_is_not_served_twice_and_ctrl_c_ends_it(tmp_path):
    """The second is refused in a line; the first ends on Ctrl-C and leaves the log as it is."""
    import signal
    import subprocess

    words = [*PROGRAM, "today", "new.csv", "--serve", "--no-browser", "--members", "40",
             "--workers", "1"]  # fmt: skip
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen([*words, "--port", "8561"], cwd=tmp_path, **pipes) as first:
        try:
            assert first.stdout is not None
            lines = [first.stdout.readline()]
            while "The page of your rack" not in lines[-1] and lines[-1]:
                lines.append(first.stdout.readline())
            assert lines[0].startswith("A new log: new.csv")
            code, _, err = cli("today", "new.csv", "--serve", "--no-browser", "--port", "8562",
                               cwd=tmp_path, faults=None)  # fmt: skip
            assert code == 2 and "in use by another colony-sim" in err[-1]
        finally:
            first.send_signal(signal.SIGINT)
        _, err = first.communicate(timeout=20)
    assert first.returncode == 130 and err.strip().splitlines()[-1].endswith("Stopped.")
    assert "Traceback" not in err
    assert (tmp_path / "new.csv").read_text() == HEAD
