"""Serves the page of the rack: to this machine, and to the home network if that is asked for.

Every request must name this machine as its host and the page as its origin (`serving.hosts`), and
come from a browser that was let in (`serving.door`), which a cookie tells.
"""

from __future__ import annotations

import json
import socket
import sys
import webbrowser
from collections.abc import Callable, Mapping
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from typing import Any
from urllib.parse import parse_qs

import jinja2
from markupsafe import Markup

from colony_sim.assimilation.desk import Desk
from colony_sim.drawing import palette
from colony_sim.logs.log_rows import Refused
from colony_sim.serving import hosts
from colony_sim.serving.door import Door
from colony_sim.serving.entrance import SHUT_OUT, Entrance, Turn
from colony_sim.serving.listening import listening

PORT = 8417
_ALL = "0.0.0.0"  # noqa: S104 (only when the home network is asked for)
_YEAR_S = 365 * 24 * 3600
_MOST_BYTES = 16 * 1024
_SILENT_S = 20
# Under no-referrer a browser would post forms with the origin "null".
_HEADERS = {
    "Cache-Control": "no-store", "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
}  # fmt: skip
_PAIRING = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'self'; "
    "base-uri 'none'"
)


def bind(port: int | None, home: bool) -> socket.socket:
    """Take the port, before anything else is done for the page; None: the usual one.

    Raises
    ------
    InputError
        The port is in use.
    """
    return listening(PORT if port is None else port, _ALL if home else hosts.LOOPBACK)


def serve(
    bound: socket.socket, desk: Desk, home: bool, browse: bool, tell: Callable[[str], None]
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    bound : socket
        Of `bind`.
    desk : Desk
        Is closed at the end.
    home : bool
        Whether the home network is served as well.
    browse : bool
        Whether to open the page in the browser.
    tell : callable
        Called with lines for the keeper.

    Raises
    ------
    KeyboardInterrupt
        Stopped with Ctrl-C.
    """
    names = hosts.home_names() if home else hosts.NAMES
    server = Server(bound, desk, Door(home), names, tell)
    server.announce()
    if browse:
        webbrowser.open(server.entrance.address)
    try:
        server.serve_forever()
    finally:
        desk.close()


class Server(ThreadingHTTPServer):
    """The server of a rack's page.

    Parameters
    ----------
    bound : socket
        Listens already.
    desk : Desk
    door : Door
    names : collection of str
        Names under which this machine may be asked.
    tell : callable
        Called with lines for the keeper.
    """

    daemon_threads = True

    def __init__(
        self,
        bound: Any,
        desk: Desk,
        door: Door,
        names: tuple[str, ...],
        tell: Callable[[str], None],
    ) -> None:
        super().__init__(bound.getsockname(), Handler, bind_and_activate=False)
        self.socket.close()
        self.socket = bound
        self.desk, self.door, self.names, self.tell = desk, door, names, tell
        self.port = bound.getsockname()[1]
        self.entrance = Entrance(door, self.port, tell, _YEAR_S)

    def announce(self) -> None:
        """Say where the page is."""
        address = self.entrance.address
        self.tell(f"The page of your rack: {address} (one browser). Ctrl-C ends it.")
        if self.door.pairs:
            self.tell(f"On a telephone at home: http://{hosts.home_address()}:{self.port}/")
            self.tell(f"Its code, for one telephone: {_spaced(self.door.code)}")

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that went away is no fault."""
        if not isinstance(sys.exception(), ConnectionError | TimeoutError):
            super().handle_error(request, client_address)


class Handler(BaseHTTPRequestHandler):
    """Answers one browser."""

    server: Server
    protocol_version = "HTTP/1.1"
    server_version, sys_version = "rack", ""
    timeout = _SILENT_S

    def do_GET(self) -> None:
        """The page, or how it stands."""
        if not self._is_ours():
            return
        path = self.path.partition("?")[0]
        if turn := self.server.entrance.by_token(self.path, self._cookies()):
            self._turn(turn)
        elif not self._is_let_in():
            if path == "/" and self.server.door.pairs:
                self._ask_code("")
            else:
                self._refuse(HTTPStatus.FORBIDDEN, SHUT_OUT)
        elif path == "/":
            text, policy = self.server.desk.page()
            self._send(HTTPStatus.OK, "text/html; charset=utf-8", text, policy)
        elif path == "/status":
            self._json(HTTPStatus.OK, self.server.desk.status())
        else:
            self._refuse(HTTPStatus.NOT_FOUND, "There is nothing at this address.")

    def do_POST(self) -> None:
        """A code, a row, an undo, or the wish to work it out again."""
        if not self._is_ours(posts=True):
            return
        body = self._body()
        if body is None:
            return
        if self.path == "/pair" and self.server.door.pairs:
            self._pair(body)
            return
        if not self._is_let_in():
            self._refuse(HTTPStatus.FORBIDDEN, SHUT_OUT)
            return
        # A form of a foreign page cannot send this type unasked.
        if self.headers.get_content_type() != "application/json":
            self._refuse(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Rows come as JSON.")
            return
        does = {"/rows": self._row, "/undo": self._undo, "/again": self._again}.get(self.path)
        if does is None:
            self._refuse(HTTPStatus.NOT_FOUND, "There is nothing at this address.")
            return
        try:
            asked = json.loads(body)
            if not isinstance(asked, dict):
                raise Refused("an object with the key of a row")
            does(asked)
        except (ValueError, RecursionError):
            self._json(HTTPStatus.UNPROCESSABLE_ENTITY, {"why": "this is no JSON"})
            return
        except Refused as refused:
            self._json(HTTPStatus.UNPROCESSABLE_ENTITY, {"why": str(refused)})
            return
        self._json(HTTPStatus.OK, self.server.desk.status())

    def _row(self, asked: Mapping[str, Any]) -> None:
        self.server.desk.add(asked.get("key", ""), asked.get("cells", {}))

    def _undo(self, asked: Mapping[str, Any]) -> None:
        self.server.desk.undo(asked.get("key", ""))

    def _again(self, asked: Mapping[str, Any]) -> None:
        self.server.desk.again()

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing: the terminal is the keeper's."""

    # -- Who asks

    def _is_ours(self, posts: bool = False) -> bool:
        why = hosts.refusal(
            self.headers.get_all("Host", []), self.headers.get_all("Origin", []),
            self.server.names, by_a_page=posts,
        )  # fmt: skip
        if why is None and hosts.at_home(self.client_address[0]):
            return True
        self._refuse(why or HTTPStatus.FORBIDDEN, "Only for browsers of this machine or home.")
        return False

    def _cookies(self) -> list[str]:
        return self.headers.get_all("Cookie", [])

    def _is_let_in(self) -> bool:
        return self.server.entrance.knows(self._cookies())

    def _turn(self, turn: Turn) -> None:
        if turn.why:
            self._refuse(turn.status, turn.why)
        else:
            self._send(turn.status, "text/plain", "", more=turn.headers)

    def _pair(self, body: bytes) -> None:
        door = self.server.door
        was_shut = door.is_shut
        typed = parse_qs(body.decode("utf-8", "replace")).get("code", [""])[0]
        if key := door.pair(typed):
            self._turn(self.server.entrance.let_in(key))
            self.server.tell(f"A telephone was let in. Code for another: {_spaced(door.code)}")
            return
        if door.is_shut:
            if not was_shut:
                self.server.tell("Too many wrong codes: no other telephone is let in until you "
                                 "start this anew.")  # fmt: skip
            self._ask_code("Too many wrong codes. Start the program anew for another.")
        else:
            self._ask_code("This is not the code that the terminal shows.")

    def _ask_code(self, fault: str) -> None:
        text = files("colony_sim.assimilation").joinpath("pair.html").read_text(encoding="utf-8")
        page = jinja2.Environment(autoescape=True).from_string(text)
        shown = page.render(style=Markup(palette.css()), fault=fault, shut=self.server.door.is_shut)
        code = HTTPStatus.FORBIDDEN if fault else HTTPStatus.OK
        self._send(code, "text/html; charset=utf-8", shown, _PAIRING)

    # -- What is sent

    def _body(self) -> bytes | None:
        length = self.headers.get("Content-Length", "")
        # Not of any number of digits, which Python refuses to read.
        if not length.isdecimal() or len(length) > 9 or int(length) > _MOST_BYTES:
            self._refuse(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "A row is shorter.")
            return None
        return self.rfile.read(int(length))

    def _refuse(self, code: HTTPStatus, why: str) -> None:
        self.close_connection = True  # What it may still send is not read.
        if self.path.partition("?")[0] == "/" and self.command == "GET":
            self._send(code, "text/plain; charset=utf-8", f"{why}\n")
        else:
            self._json(code, {"why": why})

    def _json(self, code: HTTPStatus, data: Mapping[str, Any]) -> None:
        self._send(code, "application/json", json.dumps(data))

    def _send(
        self, code: HTTPStatus, kind: str, text: str, policy: str = "default-src 'none'",
        more: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        body = text.encode()
        self.send_response(code)
        named = {
            "Content-Type": kind, "Content-Length": str(len(body)),
            "Content-Security-Policy": f"{policy}; frame-ancestors 'none'",
            **_HEADERS, **(more or {}),
        }  # fmt: skip
        for name, value in named.items():
            self.send_header(name, value)
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(body)


def _spaced(code: str) -> str:
    return f"{code[:4]} {code[4:]}"
