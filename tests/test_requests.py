"""Requests of any kind, drawn by hypothesis, at the pages that are served, over real sockets."""

from __future__ import annotations

import json
import re
import socket
from dataclasses import dataclass

import pytest
from attack import mutate
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from test_explore import Inside
from test_today_served import LOG, ROW, let_in, serving, shed  # noqa: F401  # A fixture.

from colony_sim.explore import site
from colony_sim.logs.logbook import parse

COUNT = 500
BODY = {"key": "row-one-1", "cells": ROW}
METHODS = ("GET", "POST", "HEAD", "PUT", "OPTIONS", "get", "G ET", "", "\x00", "X" * 9000)
TARGETS = (
    "/", "/rows", "/undo", "/again", "/pair", "/status", "/waiting", "/?t=", "/?t=x", "/x", "//",
    "http://[/", "http://[::1]/", "*", "", "/%", "/%00", "/?t=%ff", "/é", "/../../etc/passwd",
    "/?" + "t=1&" * 2000, "/" + "a" * 70_000, "/rows HTTP/9.9", "/ extra words",
    "/_nicegui/auto/static/..%2f..%2fetc/passwd", "/_nicegui_ws/socket.io/?EIO=4&transport=polling",
)  # fmt: skip
HOSTS = ("[", "", "rack.example", "127.0.0.1:1", "a" * 70_000, "\x00", "é")
LENGTHS = ("", "-1", "0", "1e3", "0x10", "9" * 30, "9" * 5000, "16385", "²", "+5", " 7", "7, 7")
LINES = ("x", ": x", "X: " + "y" * 70_000, " folded", "Transfer-Encoding: chunked", "\x00: \x00",
         "Expect: 100-continue", "Connection: Upgrade", "Upgrade: websocket",
         "Sec-WebSocket-Key: x", "Sec-WebSocket-Version: 13", "Content-Type: text/plain",
         "Content-Type: application/json; charset=\xff", "Origin: null", "Origin: http://[",
         "Cookie: =;;=", "Cookie: " + "a=b; " * 3000)  # fmt: skip
ANSWERS = {100, 101, 200, 303, 400, 403, 404, 405, 411, 413, 414, 415, 422, 426, 431, 501, 505}


@dataclass(frozen=True, repr=False)
class Asked:
    """A request: what of a sound one is kept, and what is sent in place of the rest."""

    method: str
    target: str
    host: str | None
    origin: bool
    let_in: bool
    length: str | None
    more: tuple[str, ...]
    body: bytes

    def __repr__(self) -> str:
        return ", ".join(f"{name}={str(value)[:200]!r}" for name, value in vars(self).items())

    def as_bytes(self, port: int, cookie: str) -> bytes:
        own = f"127.0.0.1:{port}"
        head = [f"{self.method} {self.target} HTTP/1.1",
                f"Host: {own if self.host is None else self.host}", *self.more]  # fmt: skip
        head += [f"Origin: http://{own}"] * self.origin + [f"Cookie: {cookie}"] * self.let_in
        if self.body or self.length is not None:
            length = len(self.body) if self.length is None else self.length
            head += ["Content-Type: application/json", f"Content-Length: {length}"]
        return "".join(f"{line}\r\n" for line in (*head, "")).encode("latin-1", "replace") + (
            self.body
        )


@st.composite
def asked(draw: st.DrawFn) -> Asked:
    """Mostly sound, with one or two faults; a row is posted as often as all else."""
    posts = draw(st.booleans())
    method = "POST" if posts else draw(st.sampled_from(METHODS[:1] * 4 + METHODS))
    target = draw(st.sampled_from(("/rows", "/undo") * 8 + TARGETS if posts else TARGETS))
    body = b""
    if posts:
        data = draw(st.one_of(mutate.json_of(BODY), st.just(BODY), st.sampled_from(mutate.JSON)))
        # Of Python's own, which writes numbers of any length and halves of letters.
        body = json.dumps(data).encode()
        body = draw(mutate.bytes_of(body)) if draw(st.integers(0, 5)) == 0 else body
    seldom = st.integers(0, 7).map(lambda n: n == 0)
    return Asked(
        method, target,
        draw(st.sampled_from(HOSTS)) if draw(seldom) else None,
        not draw(seldom), not draw(seldom),
        draw(st.sampled_from(LENGTHS)) if draw(seldom) or draw(seldom) else None,
        tuple(draw(st.lists(st.sampled_from(LINES), max_size=2))) if draw(seldom) else (),
        body,
    )  # fmt: skip


def answered(port: int, data: bytes) -> list[bytes]:
    """What comes back for bytes after which nothing more is sent: lines of the head, and a body."""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as caller:
        text = b""
        try:
            caller.sendall(data)
            caller.shutdown(socket.SHUT_WR)
            while part := caller.recv(65536):
                text += part
        except OSError:
            pass  # Refused before all was read.
    return text.split(b"\r\n")


def code_of(reply: list[bytes]) -> int | None:
    """The code of an answer; None without one, as of what is no HTTP."""
    found = re.match(rb"HTTP/\d\.\d (\d+)", reply[0])
    return int(found[1]) if found else None


def drawn(count: int = COUNT):
    """Draws requests for a function with one argument."""
    quiet = settings(max_examples=count, database=None, deadline=None, derandomize=True,
                     phases=[Phase.generate], suppress_health_check=list(HealthCheck))  # fmt: skip
    return lambda one: quiet(given(asked())(one))()


def test_no_request_breaks_the_page_of_a_rack(shed, capfd):  # noqa: F811
    codes, (folder, found, _) = [], shed
    # Nothing is worked out anew: the fixture would write the log.
    with serving((folder, found, lambda hear: found)) as (server, path, _):
        faults = []
        server.handle_error = lambda *_: faults.append(pytest.ExceptionInfo.from_current())
        cookie = let_in(server)

        @drawn()
        def _ask(one: Asked) -> None:
            before = path.read_text()
            code = code_of(answered(server.port, one.as_bytes(server.port, cookie)))
            assert not faults, (one, faults)
            assert code is None or code in ANSWERS, (one, code)
            after = path.read_text()
            assert not parse(after)[1]
            if after != before:
                assert code == 200 and one.let_in and one.origin and one.method == "POST", one
            codes.append(code)

        # Once a traceback, told to whoever looks at the terminal.
        endless = Asked("POST", "/rows", None, True, False, "9" * 5000, (), b"{}")
        assert code_of(answered(server.port, endless.as_bytes(server.port, ""))) == 413
        sound = Asked("GET", "/", None, True, True, None, (), b"")
        assert code_of(answered(server.port, sound.as_bytes(server.port, cookie))) == 200
    assert {200, 400, 403, 404, 413, 422, 501} <= set(codes)
    assert codes.count(None) < COUNT / 5
    assert capfd.readouterr() == ("", "")


def test_no_request_gets_past_the_guard_of_the_colony_to_try(capfd):
    codes = []
    with site.Site(0, lambda line: None) as up:
        up.put(Inside())
        port, token = up.entrance.port, up.entrance.door.token
        first = Asked("GET", f"/?t={token}", None, False, False, None, ("Connection: close",), b"")
        (line,) = [x for x in answered(port, first.as_bytes(port, "")) if b"set-cookie" in x]
        cookie = re.search(rb"set-cookie: ([^;]+);", line)[1].decode()

        @drawn()
        def _ask(one: Asked) -> None:
            reply = answered(port, one.as_bytes(port, cookie))
            code = code_of(reply)
            assert code is None or code in ANSWERS, (one, code)
            if reply[-1] == b"inside" or code == 101:
                assert one.let_in and one.host is None, one
            codes.append(code)

        sound = Asked("GET", "/", None, True, True, None, ("Connection: close",), b"")
        assert answered(port, sound.as_bytes(port, cookie))[-1] == b"inside"
    assert {200, 400, 403} <= set(codes)
    assert capfd.readouterr() == ("", "")
