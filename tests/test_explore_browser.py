"""The page in a real browser, and the server that only this machine can reach."""

from __future__ import annotations

import http.client
import os
import re
import signal
import socket
import time
from contextlib import asynccontextmanager, contextmanager
from functools import cache

import browser
import pytest
from commandline import start, told, wait_for
from plain_words import jargon

from colony_sim.colony.simulate import simulate
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import single
from colony_sim.explore import rules, site
from colony_sim.planning.wants import LARVAE_EACH

DAYS = 200
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
DRAWER = ".drawer > summary"


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    path = tmp_path_factory.mktemp("explore") / "page.toml"
    path.write_text(FILE, encoding="utf-8")
    return path, single(load(path), policy="two weeks").scenario


class Served:
    """A page that is served: its address lets in one browser, then the terminal tells another."""

    def __init__(self, terminal):
        self.terminal = terminal
        self.opened()

    def opened(self):
        self.address = re.search(r"http://\S+|$", self.terminal.readline())[0]

    @property
    def port(self):
        return int(self.address.split(":")[2].split("/")[0])


@pytest.fixture(scope="module")
def server(scenario):
    """A page served by the command; ended with Ctrl-C, which must end it well."""
    path, _ = scenario
    process = start("explore", path, "--policy", "two weeks", "--no-browser", cwd=path.parent,
                    faults=None)  # fmt: skip
    served = Served(process.stdout)
    assert served.address, process.stderr.read()
    yield served
    os.kill(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out, told(err)) == (130, "", ["colony-sim: Stopped."])
    assert [item.name for item in path.parent.iterdir()] == ["page.toml"]


@pytest.fixture(scope="module")
def chromium():
    with browser.chromium() as found:
        yield found


@contextmanager
def open_page(chromium, server, size=browser.LAPTOP, **options):
    # With less motion wanted nothing moves before it is asked to.
    with browser.visit(chromium, server.address, size, still=True, **options) as seen:
        server.opened()
        yield seen


def fresh(page):
    """Everything as at first, on the day the rack is set up."""
    page.context.set_default_timeout(60_000)
    page.locator("#rack-new > svg").wait_for()
    page.locator(DRAWER).click()
    page.get_by_role("button", name="Everything as it was at first").click()
    page.get_by_role("button", name="Again from the first day").click()
    page.locator(".day").get_by_text("The day it is set up").wait_for()
    page.locator(".way.old").wait_for(state="hidden")
    page.locator(DRAWER).click()


@pytest.fixture
def page(chromium, server):
    """A page on a fresh rack; whatever the test does must not upset the console."""
    with open_page(chromium, server) as seen:
        fresh(seen.page)
        yield seen.page
        assert seen.complaints() == []
        assert seen.leaving(f"http://127.0.0.1:{server.port}") == []


def a_year_on(page):
    page.locator(DRAWER).click()
    page.get_by_role("button", name="A year on, at once").click()
    page.locator(DRAWER).click()


def shows(page, read, wanted) -> None:
    """Wait until what is read is what is wanted: parts of the page are sent one after another."""
    for _ in range(300):
        if read() == wanted:
            return
        page.wait_for_timeout(100)
    assert read() == wanted


@cache
def simulated(scenario):
    return simulate(scenario, record_bins=True)


def expected(scenario) -> str:
    rows = simulated(scenario).daily.iloc[-28:]
    return f"{rows['harvest_larvae'].mean():,.0f} larvae a day"


def test_a_rule_changed_by_keys_lives_a_second_rack_like_simulate(page, scenario):
    _, old = scenario
    a_year_on(page)
    larvae = {way: page.locator(f".way.{way} .larvae") for way in ("old", "new")}
    shows(page, larvae["new"].inner_text, expected(old))
    birds = int(simulated(old).daily["harvest_larvae"].iloc[-28:].mean() / LARVAE_EACH)
    assert page.locator(".headline").inner_text() == f"This rack feeds {birds} birds."
    assert not page.locator(".way.old").is_visible()
    grip = page.get_by_role("spinbutton", name="Beetles stay in a bin")
    assert grip.get_attribute("aria-valuetext") == "14 days"
    grip.focus()
    began = time.monotonic()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    page.locator(".way.old").wait_for()
    print(f"second rack {time.monotonic() - began:.2f} s after the first of six keys")
    new = rules.changed(old, rules.STAY, 20, old.climate)
    assert expected(new) != expected(old)
    shows(page, larvae["new"].inner_text, expected(new))
    assert larvae["old"].inner_text() == expected(old)
    assert "beetles stay 20 days" in page.locator(".way.new .how").inner_text()
    assert "no evidence" in page.locator(".answer").inner_text()
    # The rack that is drawn is the model's, too: its bins in use, by the boxes shown.
    end = simulated(new).bins_daily
    used = (end[end["day"] == DAYS]["phase"] != "free").sum()
    boxes = '#rack-new use[href="#new-box-back"]:not([display])'
    shows(page, page.locator(boxes).count, used)
    page.get_by_role("button", name="Keep the new way").click()
    page.locator(".way.old").wait_for(state="hidden")
    shows(page, larvae["new"].inner_text, expected(new))


def test_colonies_are_counted_until_there_is_an_answer(page):
    page.get_by_role("switch", name="Pupae on the tray").click()
    page.locator(".way.old").wait_for()
    shows(page, lambda: "away" in page.locator("#rack-new").get_attribute("class"), True)
    page.locator(".headline").get_by_text(re.compile(r"in \d+ of \d+ possible colonies")).wait_for()
    assert page.locator(".dots i.more, .dots i.less").count() >= 2
    assert "give or take" in page.locator(".under").inner_text()
    page.get_by_role("button", name="Back to the old way").click()
    page.locator(".way.old").wait_for(state="hidden")
    tray = page.get_by_role("switch")
    shows(page, lambda: tray.get_attribute("aria-checked"), "true")


def test_a_page_that_stands_still_knows_what_is_set(chromium, server, page):
    with open_page(chromium, server) as seen:
        tray = seen.page.get_by_role("switch", name="Pupae on the tray")
        tray.wait_for(timeout=60_000)
        assert tray.get_attribute("aria-checked") == "true"
        grip = seen.page.get_by_role("spinbutton", name="Beetles stay in a bin")
        assert grip.get_attribute("aria-valuenow") == "14"


def test_time_passes_and_stands_still(page):
    page.get_by_role("button", name="Let time pass").click()
    page.get_by_role("status").get_by_text("Time passes.").wait_for()
    page.locator(".day").get_by_text(re.compile(r"\(day [3-9]\)")).wait_for()
    page.get_by_role("button", name="Let time stand still").click()
    page.get_by_role("status").get_by_text("Time stands still.").wait_for()
    page.wait_for_timeout(300)
    day = page.locator(".day").inner_text()
    page.wait_for_timeout(700)
    assert page.locator(".day").inner_text() == day


def test_refused_number_is_told_beside_it_and_the_page_goes_on(page):
    page.locator(DRAWER).click()
    rule = page.locator('[data-rule="rack.bins"]')
    field = rule.get_by_role("spinbutton")
    field.fill("1")
    field.press("Enter")
    rule.get_by_role("alert").get_by_text("1.0 is not possible. Possible is a whole").wait_for()
    assert "It stays: 14" in rule.get_by_role("alert").inner_text()
    assert field.get_attribute("aria-invalid") == "true"
    field.fill("9")
    field.press("Enter")
    rule.get_by_role("alert").wait_for(state="hidden")
    page.locator(".way.old").wait_for()
    shows(page, page.locator("#rack-new [data-of=number]").count, 9)
    assert page.locator("#rack-old [data-of=number]").count() == 14
    room = page.locator('[data-rule="temperature_c"]')
    shows(page, lambda: room.locator(".note").inner_text(), "As in the file.")
    page.locator('[data-rule="moisture.start"] select').select_option("never")
    shows(page, lambda: "never" in page.locator(".way.new .how").inner_text(), True)
    text = page.locator(".drawer pre")
    shows(page, lambda: text.text_content().count("rack.bins"), 2)
    # Nothing the page would not send: a value from elsewhere is refused as any other.
    page.evaluate("emitEvent('set', { name: 'scoop', value: 7 })")
    page.get_by_role("alert").get_by_text("7 is not possible").wait_for()
    page.evaluate("emitEvent('set', { name: 'seed', value: 7 })")
    page.get_by_role("button", name="Everything as it was at first").click()
    page.locator(".way.old").wait_for(state="hidden")
    assert field.input_value() == "14"


@pytest.mark.parametrize(
    ("size", "dark"), [(browser.LAPTOP, False), (browser.PHONE, True), (browser.SMALLEST, False)]
)
def test_page_is_accessible_and_plain_at_every_size(chromium, server, size, dark):
    touch = size != browser.LAPTOP
    with open_page(chromium, server, size, dark=dark, has_touch=touch, is_mobile=touch) as seen:
        page = seen.page
        fresh(page)
        first = page.locator("body").inner_text()
        assert "The rack" in first and jargon(first) == []
        more = page.get_by_role("button", name="Beetles stay a day more")
        if touch:
            more.tap()
            page.get_by_role("button", name="The scoop takes less").tap()
        else:
            dragged(page)
        page.locator(".way.old").wait_for()
        page.locator(".headline").get_by_text("possible colonies").wait_for()
        assert jargon(page.locator("body").inner_text()) == []
        grip = page.get_by_role("spinbutton", name="Beetles stay in a bin")
        if touch:
            assert grip.get_attribute("aria-valuenow") == "15"
        page.locator(DRAWER).click()
        assert seen.violations() == []
        assert seen.overflow() == 0
        assert seen.complaints() == []


def dragged(page):
    """The label dragged to the right: it follows the hand, and the rule is what was let go."""
    grip = page.get_by_role("spinbutton", name="Beetles stay in a bin")
    grip.scroll_into_view_if_needed()
    box = grip.bounding_box()
    at = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*at)
    page.mouse.down()
    page.mouse.move(at[0] + 41, at[1], steps=5)
    assert grip.get_attribute("aria-valuenow") == "19"
    assert not page.locator(".way.old").is_visible()
    page.mouse.up()
    page.locator(".way.new .how").get_by_text("beetles stay 19 days").wait_for()


def ask(port: int, path: str = "/", **headers: str) -> http.client.HTTPResponse:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.putrequest("GET", path, skip_host=True)
    for name, text in headers.items():
        connection.putheader(name.replace("_", "-"), text)
    connection.endheaders()
    return connection.getresponse()


def test_only_this_machine_is_answered(server):
    port = server.port
    own = {"host": f"127.0.0.1:{port}"}
    entered = ask(port, server.address.split(str(port))[1], **own)
    server.opened()
    assert entered.status == 303
    own["cookie"] = entered.getheader("set-cookie").split(";")[0]
    # The page itself, not the one that waits for it.
    wait_for(lambda: not ask(port, "/waiting", **own).read(), 120)
    page = ask(port, **own)
    policy = page.getheader("content-security-policy")
    assert page.status == 200 and "default-src 'self'" in policy and "http" not in policy
    assert ask(port, host=own["host"]).status == 403
    upgrade = {
        "upgrade": "websocket",
        "connection": "Upgrade",
        "sec_websocket_key": "AAAAAAAAAAAAAAAAAAAAAA==",
        "sec_websocket_version": "13",
    }
    path = "/_nicegui_ws/socket.io/?EIO=4&transport=websocket"
    origin = f"http://{own['host']}"
    assert ask(port, path, host=own["host"], origin=origin, **upgrade).status == 403
    assert ask(port, path, **own, **upgrade).status == 403
    assert ask(port, path, **own, origin=origin, **upgrade).status == 101
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
            caller.connect((address, port))


def test_a_hand_in_the_drawer_is_left_alone_while_days_go_by(page):
    page.get_by_role("button", name="Let time pass").click()
    page.locator(".day").get_by_text(re.compile(r"\(day [1-9]")).wait_for()
    page.locator(DRAWER).click()
    field = page.get_by_role("spinbutton", name="Number of the chance")
    field.fill("2834126987")
    assert field.evaluate("box => box.scrollWidth <= box.clientWidth")
    field.fill("")
    field.press_sequentially("12")
    before = page.locator(".day").inner_text()
    page.locator(".day").filter(has_not_text=before).wait_for()
    field.press_sequentially("3")
    assert field.input_value() == "123"
    slider = page.locator('[data-rule="harvest.interval_days"] input[type=range]')
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    across = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] / 4, across)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.75, across, steps=4)
    dragged = slider.input_value()
    before = page.locator(".day").inner_text()
    page.locator(".day").filter(has_not_text=before).wait_for()
    assert 14 < int(dragged) < 28 and slider.input_value() == dragged
    page.mouse.up()
    page.locator(".way.new .how").get_by_text(f"harvest every: {dragged} d").wait_for()
    assert field.input_value() == "123"
    page.get_by_role("button", name="Let time stand still").click()


class Ready:
    """An application that says so."""

    def __init__(self):
        self.router = self

    @asynccontextmanager
    async def lifespan_context(self, app):
        yield

    async def __call__(self, scope, receive, send):
        head = [(b"content-type", b"text/html")]
        await send({"type": "http.response.start", "status": 200, "headers": head})
        await send({"type": "http.response.body", "body": b"<title>x</title><h1>The rack</h1>"})


def test_a_page_that_is_opened_early_waits_and_goes_over_by_itself(chromium):
    with (
        site.Site(0, lambda line: None) as up,
        browser.visit(chromium, up.entrance.address, browser.SMALLEST) as seen,
    ):
        page = seen.page
        up.doing("The rack is being lived up to today.")
        page.get_by_role("status").get_by_text("being lived").wait_for()
        assert jargon(page.locator("body").inner_text()) == []
        assert seen.violations() == [] and seen.overflow() == 0
        assert "t=" not in page.url
        up.put(Ready())
        page.get_by_role("heading").get_by_text("The rack").wait_for()
        assert seen.complaints() == []
    with (
        site.Site(0, lambda line: None) as up,
        browser.visit(chromium, up.entrance.address) as seen,
    ):
        seen.page.get_by_role("status").wait_for()
        up.__exit__(None, None, None)
        seen.page.get_by_role("status").get_by_text("has ended").wait_for()
