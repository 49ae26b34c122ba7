"""The page in a real browser, and the server that only this machine can reach."""

from __future__ import annotations

import http.client
import os
import re
import signal
import socket
from functools import cache

import browser
import pytest
from commandline import start, told

from colony_sim.colony.simulate import simulate
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import single
from colony_sim.explore import charts, rules, session
from colony_sim.words.estimate import number

DAYS = 360
FILE = f"""\
[experiment]
name = "page"
days = {DAYS}
replicates = 2

[climate]
kind = "yearly_wave"
mean_c = 26.0
amplitude_k = 2.0
coldest_day = 20.0

[start]
breeders = 60
larvae = 900

[[policy]]
name = "two weeks"
rotation.interval_days = 14

[[policy]]
name = "three weeks"
rotation.interval_days = 21
"""
SLIDER = '[data-rule="rotation.interval_days"] input[type=range]'


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    path = tmp_path_factory.mktemp("explore") / "page.toml"
    path.write_text(FILE, encoding="utf-8")
    return path, single(load(path), policy="two weeks").scenario


@pytest.fixture(scope="module")
def server(scenario):
    """A page served by the command; ended with Ctrl-C, which must end it well."""
    path, _ = scenario
    process = start("explore", path, "--policy", "two weeks", "--no-browser", cwd=path.parent,
                    faults=None)  # fmt: skip
    line = process.stdout.readline()
    found = re.search(r"http://127\.0\.0\.1:(\d+)/", line)
    assert found, line + process.stderr.read()
    yield int(found[1])
    os.kill(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out, told(err)) == (130, "", ["colony-sim: Stopped."])
    assert [item.name for item in path.parent.iterdir()] == ["page.toml"]


@pytest.fixture(scope="module")
def chromium():
    with browser.chromium() as found:
        yield found


@pytest.fixture
def page(chromium, server):
    """A page on a fresh run of the file; whatever the test does must not upset the console."""
    origin = f"http://127.0.0.1:{server}"
    with browser.visit(chromium, origin) as seen:
        seen.page.get_by_role("button", name="All rules as at the start").click()
        seen.page.get_by_role("button", name="Again from day 1").click()
        seen.page.get_by_role("status").get_by_text("Not started").wait_for()
        yield seen.page
        assert seen.complaints() == []
        assert seen.leaving(origin) == []


def numbers(page, which: str) -> dict[str, str]:
    cells = page.locator(f"td[data-{which}]").all()
    return {cell.get_attribute(f"data-{which}"): cell.inner_text() for cell in cells}


@cache
def simulated(scenario):
    return simulate(scenario).daily


def expected(scenario, day: int) -> dict[str, str]:
    """What the table must say of a day, from `simulate`."""
    daily = simulated(scenario).iloc[:day]
    last, rows = daily.iloc[-1], daily.iloc[-28:]
    lost = rows[["adults_died_age", "adults_died_background", "adults_died_handling"]]
    stocks = {name: f"{int(last[name]):,}" for name in (*session.STAGES, "bins_in_use")}
    return {
        "day": str(day),
        **stocks,
        "yield_g_per_day": number(rows["harvest_g"].mean()),
        "adult_losses_per_100_per_day": number(100 * lost.to_numpy().sum() / rows["adults"].sum()),
        "work_hours_per_week": number(rows["work_minutes"].mean() / 60 * 7),
    }


def let_days_pass(page, days: int) -> None:
    """Wait until the page has shown some more days."""
    shown = "document.querySelector('td[data-this=day]').innerText"
    before = page.evaluate(f"Number({shown}) || 0")
    page.wait_for_function(f"Number({shown}) >= {before + days}")


def until(page, which: str, wanted: dict[str, str]) -> None:
    """Wait until the table says so; tell the difference if it does not."""
    shows(page, lambda: numbers(page, which), wanted)


def shows(page, read, wanted) -> None:
    """Wait until what is read is what is wanted: parts of the page are sent one after another."""
    for _ in range(150):
        if read() == wanted:
            return
        page.wait_for_timeout(100)
    assert read() == wanted


def adults_in_rack(page) -> str:
    """Adults of all bins, as the table writes the number."""
    rack = " ".join(page.locator(".rack .counts").all_inner_texts())
    return f"{sum(int(n.replace(',', '')) for n in re.findall(r'([0-9,]+) adult', rack)):,}"


def test_slider_moved_by_keys_changes_the_numbers_to_those_of_simulate(page, scenario):
    _, before = scenario
    page.get_by_role("button", name="To the end").click()
    until(page, "this", expected(before, DAYS))
    slider = page.locator(SLIDER)
    assert slider.get_attribute("aria-valuetext") == "14 d"
    slider.focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    after = rules.changed(before, "rotation.interval_days", 20, before.climate)
    wanted = expected(after, DAYS)
    assert wanted["yield_g_per_day"] != expected(before, DAYS)["yield_g_per_day"]
    until(page, "this", wanted)
    until(page, "held", expected(before, DAYS))
    told = "Beetles moved every: 20 d, held run 14 d"
    shows(page, lambda: page.locator(".changed").inner_text(), told)
    assert "no evidence" in page.locator(".warning").inner_text()
    text = page.locator("details pre")
    shows(page, lambda: text.text_content().count("rotation.interval_days"), 2)
    shows(page, lambda: adults_in_rack(page), wanted["adults"])


def test_pause_step_and_start(page, scenario):
    _, given = scenario
    page.get_by_role("button", name="One day", exact=True).click()
    until(page, "this", expected(given, 1))
    page.get_by_role("button", name="28 days", exact=True).click()
    until(page, "this", expected(given, 29))
    page.get_by_role("combobox", name="Pace").select_option("7 days a second")
    page.get_by_role("button", name="Start", exact=True).click()
    page.get_by_role("status").get_by_text("Days go by.").wait_for()
    page.locator("td[data-this=day]", has_text=re.compile("^3[1-9]$")).wait_for()
    page.get_by_role("button", name="Pause", exact=True).click()
    page.get_by_role("status").get_by_text("Paused").wait_for()
    page.wait_for_timeout(300)
    day = numbers(page, "this")["day"]
    page.wait_for_timeout(500)
    until(page, "this", expected(given, int(day)))


def test_refused_number_is_told_beside_it_and_the_page_goes_on(page):
    rule = page.locator('[data-rule="rack.bins"]')
    field = rule.get_by_role("spinbutton")
    field.fill("1")
    field.press("Enter")
    rule.get_by_role("alert").get_by_text("1.0 is not possible. Possible is a whole").wait_for()
    assert field.get_attribute("aria-invalid") == "true"
    field.fill("9")
    field.press("Enter")
    rule.get_by_role("alert").wait_for(state="hidden")
    room = page.locator('[data-rule="temperature_c"]')
    shows(page, lambda: room.locator(".note").inner_text(), "As in the file.")
    page.locator('[data-rule="pupae.isolate"] input').uncheck()
    page.get_by_text("No effect while pupae are not set apart.").wait_for()
    page.locator('[data-rule="moisture.start"] select').select_option("never")
    page.get_by_role("button", name="One day", exact=True).click()
    page.locator("td[data-this=day]", has_text=re.compile("^1$")).wait_for()
    page.get_by_role("button", name="All rules as at the start").click()
    page.locator(".changed").get_by_text("Pupae set apart: yes, held run no").wait_for()
    page.locator(".changed").get_by_text("Moisture in growing bins: once shed").wait_for()
    assert field.input_value() == "14"


@pytest.mark.parametrize(
    ("size", "dark"), [(browser.LAPTOP, False), (browser.PHONE, True), (browser.SMALLEST, False)]
)
def test_page_is_accessible_at_every_size(chromium, server, size, dark):
    origin = f"http://127.0.0.1:{server}"
    with browser.visit(chromium, origin, size, dark=dark) as seen:
        seen.page.get_by_role("button", name="28 days", exact=True).click()
        colour = (charts.DARK if dark else charts.LIGHT).this
        seen.page.locator(f'figure.larvae path[stroke="{colour}"]').first.wait_for()
        seen.page.locator("summary").first.click()
        assert seen.violations() == []
        assert seen.overflow() == 0
        assert seen.complaints() == [] and seen.leaving(origin) == []


def ask(port: int, path: str = "/", **headers: str) -> http.client.HTTPResponse:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.putrequest("GET", path, skip_host=True)
    for name, text in headers.items():
        connection.putheader(name.replace("_", "-"), text)
    connection.endheaders()
    return connection.getresponse()


def test_only_this_machine_is_answered(server):
    policy = ask(server, host=f"localhost:{server}").getheader("content-security-policy")
    assert "default-src 'self'" in policy and "http" not in policy
    assert ask(server, host="rack.example").status == 403
    upgrade = {
        "upgrade": "websocket",
        "connection": "Upgrade",
        "sec_websocket_key": "AAAAAAAAAAAAAAAAAAAAAA==",
        "sec_websocket_version": "13",
    }
    path = "/_nicegui_ws/socket.io/?EIO=4&transport=websocket"
    host = f"127.0.0.1:{server}"
    assert ask(server, path, host=host, origin="http://rack.example", **upgrade).status == 403
    assert ask(server, path, host=host, origin=f"http://{host}", **upgrade).status == 101
    # Bound to 127.0.0.1 and nothing else: other addresses of this machine refuse.
    others = ["127.0.0.2"]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Chooses the address that packets would leave from; sends none (RFC 5737 address).
            probe.connect(("192.0.2.1", 9))
            others.append(probe.getsockname()[0])
        except OSError:
            pass
    for address in others:
        with socket.socket() as caller, pytest.raises(ConnectionRefusedError):
            caller.settimeout(5)
            caller.connect((address, server))


def test_a_hand_on_a_control_is_left_alone_while_days_go_by(page):
    page.get_by_role("combobox", name="Pace").select_option("7 days a second")
    page.get_by_role("button", name="Start", exact=True).click()
    let_days_pass(page, 1)
    field = page.get_by_role("spinbutton", name="Seed")
    field.fill("")
    field.press_sequentially("12")
    let_days_pass(page, 3)
    field.press_sequentially("3")
    assert field.input_value() == "123"
    slider = page.locator(SLIDER)
    page.evaluate("window.scrollTo(0, 0)")
    box = slider.bounding_box()
    across = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] / 4, across)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.75, across, steps=4)
    beside = page.locator('[data-rule="rotation.interval_days"] [type=number]')
    dragged = slider.input_value()
    assert 24 < int(dragged) < 32 and beside.input_value() == dragged
    let_days_pass(page, 3)
    assert slider.input_value() == beside.input_value() == dragged
    page.mouse.up()
    page.locator(".changed").get_by_text(f"Beetles moved every: {dragged} d, held").wait_for()
    assert field.input_value() == "123"
    page.get_by_role("button", name="Pause", exact=True).click()
