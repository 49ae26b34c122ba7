"""The page of the rack as it is served: who is let in, and a telephone that logs by touch."""

from __future__ import annotations

import http.client
import json
import re
import threading
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import timedelta

import browser
import pytest
from commandline import cli, wait_for
from plain_words import jargon
from small_log import LOG, MEMBERS, ON, asked_of

from colony_sim.assimilation import page, served
from colony_sim.assimilation.desk import Desk
from colony_sim.assimilation.study import Found
from colony_sim.assimilation.today import assimilate
from colony_sim.assimilation.told import Range, Step, tell
from colony_sim.errors import InputError
from colony_sim.logs.log_rows import Layout, LogRows
from colony_sim.serving import hosts
from colony_sim.serving.door import MOST_TRIES, Door

ROW = {"date": str(ON), "bin": "A", "action": "harvest", "grams": "12"}
SOON = Step("moisture", 0.9, Range(1.0, 2.0, 2.0, 3.0, 4.0))


@pytest.fixture(scope="module")
def shed(tmp_path_factory):
    """A rack with a state, two bins of which want moisture this week; how to work it out again."""
    folder = tmp_path_factory.mktemp("shed")

    def work(hear, text=None):
        text = (folder / "shed.csv").read_text() if text is None else text
        asked = asked_of(folder, text)
        state = assimilate(asked.ensemble, MEMBERS, folder, otherwise=False, on_progress=hear)
        return Found(asked, state, tell(asked, state))

    found = work(lambda progress: None, LOG)
    bins = [
        replace(bin_, steps=(SOON,)) if bin_.phase == "growing" else bin_
        for bin_ in found.told.bins
    ]
    return folder, replace(found, told=replace(found.told, bins=tuple(bins))), work


@contextmanager
def serving(shed, home=False):
    folder, found, work = shed
    (folder / "shed.csv").write_text(LOG)
    (folder / "logged.json").unlink(missing_ok=True)
    desk = Desk(found, work, LogRows(folder / "shed.csv", folder / "logged.json"), ON)
    lines: list[str] = []
    with closing(served.bind(0, home)) as bound:
        names = hosts.home_names() if home else hosts.NAMES
        server = served.Server(bound, desk, Door(home), names, lines.append)
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield server, folder / "shed.csv", lines
        finally:
            server.shutdown()
            thread.join()
            desk.close()


def asks(server, method, path, body=None, **headers):
    """Code, headers and text of a reply; header names have _ for -."""
    own = f"127.0.0.1:{server.port}"
    named = {"Host": own} | ({"Origin": f"http://{own}"} if method == "POST" else {})
    named |= {"Content-Type": "application/json"} if isinstance(body, dict) else {}
    named |= {name.replace("_", "-"): text for name, text in headers.items()}
    named = {name: text for name, text in named.items() if text is not None}
    with closing(http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)) as connection:
        connection.putrequest(method, path, skip_host=True)
        data = json.dumps(body).encode() if isinstance(body, dict) else body
        for name, text in named.items():
            connection.putheader(name, text)
        if data is not None:
            connection.putheader("Content-Length", str(len(data)))
        connection.endheaders(data)
        reply = connection.getresponse()
        return reply.status, reply.headers, reply.read().decode()


def let_in(server):
    code, headers, _ = asks(server, "GET", f"/?t={server.door.token}")
    assert code == 303 and headers["Location"] == "/"
    assert {"HttpOnly", "SameSite=Strict"} <= {*headers["Set-Cookie"].split("; ")}
    return headers["Set-Cookie"].split(";")[0]


def test_only_a_browser_with_the_address_of_the_terminal_is_let_in_once(shed):
    with serving(shed) as (server, path, lines):
        token = server.door.token
        for method, where in (("GET", "/"), ("GET", "/status"), ("GET", "/?t=x"), ("POST", "/rows"),
                              ("POST", "/pair"), ("POST", "/again")):  # fmt: skip
            assert asks(server, method, where, {} if method == "POST" else None)[0] == 403
        cookie = let_in(server)
        assert asks(server, "GET", f"/?t={token}")[0] == 403
        assert asks(server, "GET", f"/?t={token}", Cookie=cookie)[0] == 303
        assert asks(server, "GET", "/", Cookie=cookie[:-1] + "é")[0] == 403
        assert server.door.token in lines[-1] and token not in lines[-1]

        code, headers, text = asks(server, "GET", "/", Cookie=cookie)
        policy = headers["Content-Security-Policy"]
        assert code == 200 and "unsafe" not in policy and "frame-ancestors 'none'" in policy
        assert headers["Cache-Control"] == "no-store" and "To do this week" in text
        for wrong in ({"Host": "rack.example"}, {"Origin": "http://rack.example"},
                      {"Origin": "null"}, {"Origin": None}):  # fmt: skip
            body = {"key": "row-one-1", "cells": ROW}
            assert asks(server, "POST", "/rows", body, Cookie=cookie, **wrong)[0] == 403, wrong
        for method in ("GET", "POST"):
            assert asks(server, method, "http://[/", b"", Cookie=cookie)[0] in (404, 415)
            for wrong in ({"Host": "["}, {"Host": None}):
                assert asks(server, method, "/", b"", Cookie=cookie, **wrong)[0] == 400, wrong
        assert (
            asks(server, "POST", "/rows", b"{}", Content_Type="text/plain", Cookie=cookie)[0] == 415
        )
        assert asks(server, "POST", "/rows", b"x" * 20_000, Cookie=cookie)[0] == 413
        assert path.read_text() == LOG


def test_rows_are_posted_undone_and_refused_in_one_line(shed):
    with serving(shed) as (server, path, _):
        cookie = let_in(server)

        def post(where, body):
            code, _, text = asks(server, "POST", where, body, Cookie=cookie)
            return code, json.loads(text)

        body = {"key": "row-one-1", "cells": ROW}
        for _ in range(2):
            code, status = post("/rows", body)
            assert code == 200 and status["stale"]
        assert path.read_text() == LOG + f"{ON},A,harvest,,,12,,,\n"
        assert post("/undo", {"key": "row-one-1"}) == (200, status | {"stale": False})
        assert path.read_text() == LOG
        tomorrow = str(ON + timedelta(days=1))
        for bad in ({"key": "row-two-2", "cells": ROW | {"date": f" {tomorrow}"}}, {"key": 7}, {},
                    {"key": "row-two-2", "cells": [1]}, {"key": "row-two-2", "cells": {"bin": {}}},
                    {"key": "row-two-2", "cells": ROW | {"grams": "a lot"}}):  # fmt: skip
            code, said = post("/rows", bad)
            assert code == 422 and said["why"] and "\n" not in said["why"], bad
        assert asks(server, "POST", "/rows", b"[", Content_Type="application/json",
                    Cookie=cookie)[0] == 422  # fmt: skip
        assert path.read_text() == LOG


def test_a_telephone_at_home_types_the_code_and_guesses_are_counted(shed):
    with serving(shed, home=True) as (server, _, lines):
        code, _, text = asks(server, "GET", "/")
        assert code == 200 and server.door.code not in text and "eight digits" in text
        right = server.door.code

        def pair(typed):
            return asks(server, "POST", "/pair", f"code={typed}".encode())

        assert pair("1")[0] == 403
        code, headers, _ = pair(f"{right[:4]}+{right[4:]}")
        assert code == 303 and "SameSite=Strict" in headers["Set-Cookie"]
        cookie = headers["Set-Cookie"].split(";")[0]
        for _ in range(MOST_TRIES):
            assert pair(right)[0] == 403
        assert "Too many" in lines[-1]
        assert pair(server.door.code)[0] == 403
        assert asks(server, "GET", "/", Cookie=cookie)[0] == 200
        assert asks(server, "GET", "/", Cookie=cookie, Host="rack.example")[0] == 403


def test_addresses_of_the_home_network_are_told_from_others():
    assert hosts.at_home("127.0.0.1") and hosts.at_home("192.168.1.7") and hosts.at_home("10.0.0.2")
    assert not hosts.at_home("93.184.216.34")
    assert {"127.0.0.1", hosts.home_address()} <= {*hosts.home_names()}


def test_a_port_that_is_taken_is_one_line_and_nothing_is_written(tmp_path):
    (tmp_path / "shed.csv").write_text(LOG)
    with closing(served.bind(0, False)) as taken:
        port = taken.getsockname()[1]
        code, _, err = cli("today", "shed.csv", "--on", ON, "--serve", "--port", port,
                           "--no-browser", cwd=tmp_path, faults=None)  # fmt: skip
    assert code == 2 and len(err) == 1 and f"--port = {port}" in err[0]
    assert [path.name for path in tmp_path.iterdir()] == ["shed.csv"]


def test_work_that_fails_is_said_and_the_page_stays(shed):
    folder, found, _ = shed
    (folder / "shed.csv").write_text(LOG)

    def fails(hear):
        raise InputError("shed.csv", "row 9", "x", "something else")

    desk = Desk(found, fails, LogRows(folder / "shed.csv", folder / "logged.json"), ON)
    desk.again()
    wait_for(lambda: not desk.status()["working"])
    assert "row 9" in desk.status()["fault"] and desk.status()["version"] == 1


@pytest.fixture(scope="module")
def chromium():
    with browser.chromium() as found:
        yield found


PHONE = {"has_touch": True, "is_mobile": True}


def test_by_touch_a_row_is_logged_undone_and_kept_while_the_network_is_away(chromium, shed):
    with (
        serving(shed) as (server, path, _),
        browser.visit(
            chromium, server.entrance.address, browser.PHONE, still=True, **PHONE
        ) as seen,
    ):
        shown = seen.page
        said = shown.locator("#said")
        assert seen.violations() == [] and seen.overflow() == 0
        assert jargon(shown.locator("main").inner_text()) == []
        assert "t=" not in shown.url

        def ends(*rows):
            wanted = LOG + "".join(f"{row}\n" for row in rows)
            # Playwright's own waiting: replies that a test holds up come meanwhile.
            for _ in range(500):
                if path.read_text() == wanted:
                    return
                shown.wait_for_timeout(20)
            assert path.read_text() == wanted

        # A tap on the drawing opens the bin; its form has bin and day already.
        shown.locator('.rack a[href="#bin-1"]').tap()
        assert shown.locator("#bin-1 table").is_visible()
        shown.get_by_role("button", name="harvest, bin A").tap()
        grams = shown.get_by_label("Grams")
        grams.fill("a lot")
        shown.get_by_role("button", name="Log it").tap()
        shown.get_by_role("alert").get_by_text("Not logged: grams").wait_for()
        assert seen.violations() == []
        grams.fill("12.5")
        shown.get_by_role("button", name="Log it").tap()
        ends(f"{ON},A,harvest,,,12.5,,,")
        shown.locator("#before").wait_for()
        shown.get_by_role("button", name="Undo").tap()
        ends()
        shown.locator("#logged").wait_for(state="hidden")

        # Two ticks while the network is away are written once each when it is back.
        shown.context.set_offline(True)
        tick = shown.get_by_label("start moisture")
        for place in range(2):
            tick.nth(place).tap()
        said.get_by_text("2 rows wait").wait_for()
        assert path.read_text() == LOG
        shown.context.set_offline(False)
        moist = [f"{ON},{name},moisture started,,,,,," for name in "AB"]
        ends(*moist)
        shown.reload()
        shown.wait_for_timeout(300)
        ends(*moist)
        assert [box.is_checked() for box in tick.all()] == [True, True]
        tick.nth(1).tap()
        ends(moist[0])
        assert seen.violations() == []

        # A reply that is lost: the row is sent again and is there once.
        lost = []

        def lose(route):
            lost.append(route.fetch())
            route.abort()

        shown.route("**/rows", lose, times=1)
        shown.locator('.rack a[href="#bin-3"]').tap()
        shown.get_by_role("button", name="beetles out, bin C").tap()
        shown.get_by_label("How many").fill("40")
        shown.get_by_label("They go into bin").select_option("1")
        shown.get_by_role("button", name="Log it").tap()
        ends(moist[0], f"{ON},C,beetles out,,40,,,,", f"{ON},1,beetles in,,,,,,")
        assert len(lost) == 1

        again = shown.get_by_role("button", name="Work it out again")
        again.tap()
        shown.locator("#before").wait_for(state="hidden", timeout=60_000)
        label = shown.locator("#bin-4 > summary").inner_text()
        assert "beetles in since 28 Mar" in label
        assert seen.leaving(f"http://127.0.0.1:{server.port}") == []
        assert seen.errors == []


def test_a_telephone_is_paired_by_its_code_and_logs_under_the_address_at_home(chromium, shed):
    with serving(shed, home=True) as (server, path, _):
        address = f"http://{hosts.home_address()}:{server.port}/"
        with browser.visit(chromium, address, browser.PHONE, **PHONE) as seen:
            code, enter = seen.page.get_by_label("Code"), seen.page.get_by_role("button")
            for typed in ("12", f"{server.door.code[:4]} {server.door.code[4:]}"):
                assert seen.violations() == [] and seen.overflow() == 0
                code.fill(typed)
                with seen.page.expect_navigation():
                    enter.tap()
            assert server.door.wrong == 1
            seen.page.get_by_label("start moisture").first.tap()
            seen.page.get_by_text("In the log:").wait_for()
            assert path.read_text() == LOG + f"{ON},A,moisture started,,,,,,\n"
            # The code that was wrong is the only complaint.
            assert [text for text in seen.complaints() if "403" not in text] == []


def test_a_closed_page_gives_its_rows_as_a_file(chromium, shed, tmp_path):
    _, found, _ = shed
    path = tmp_path / "today.html"
    page.write(found.told, Layout(("action", "date", "bin", "grams", "note"), ";"), path)
    with browser.visit(chromium, path, browser.PHONE, still=True, **PHONE) as seen:
        shown = seen.page
        shown.get_by_label("start moisture").first.check()
        shown.locator('.rack a[href="#bin-1"]').press("Enter")
        shown.get_by_role("button", name="harvest, bin A").press("Enter")
        shown.get_by_label("Grams").fill("12,5")
        shown.get_by_label("Note").fill('old; "dry"')
        shown.get_by_label("Note").press("Enter")
        with shown.expect_download() as download:
            shown.get_by_role("button", name="Save the rows").tap()
        assert download.value.path().read_text().splitlines() == [
            "action;date;bin;grams;note",
            f"moisture started;{ON};A;;",
            f'harvest;{ON};A;12,5;"old; ""dry"""',
        ]
        assert re.fullmatch(r"rows-2031-03-28\.csv", download.value.suggested_filename)
        assert seen.violations() == [] and seen.complaints() == [] and seen.overflow() == 0
