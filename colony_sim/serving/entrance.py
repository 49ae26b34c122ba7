"""Lets a browser in by the token of the address, once, and knows it by its cookie from then on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from colony_sim.serving.door import Door
from colony_sim.serving.hosts import LOOPBACK

SHUT_OUT = "Open the address that the terminal shows: this browser was not let in."
_USED = f"This address was used already; if not by you, end the program with Ctrl-C. {SHUT_OUT}"


@dataclass(frozen=True)
class Turn:
    """What a browser is answered at the entrance.

    Attributes
    ----------
    status : HTTPStatus
    why : str
        In a line; empty if it is sent on.
    headers : mapping of str to str
    """

    status: HTTPStatus
    why: str = ""
    headers: Mapping[str, str] = field(default_factory=dict)


class Entrance:
    """The way in to a page that this machine serves.

    Parameters
    ----------
    door : Door
    port : int
    tell : callable
        Called with lines for the keeper.
    keeps_s : int or None
        How long (s) a browser keeps its key; None: until it is closed.
    """

    def __init__(
        self, door: Door, port: int, tell: Callable[[str], None], keeps_s: int | None = None
    ) -> None:
        self.door, self.port, self.tell = door, port, tell
        self._keeps = "" if keeps_s is None else f" Max-Age={keeps_s};"
        # Cookies do not tell ports apart.
        self._cookie = f"rack{port}"

    @property
    def address(self) -> str:
        """Lets one browser of this machine in."""
        return f"http://{LOOPBACK}:{self.port}/?t={self.door.token}"

    def knows(self, cookies: Sequence[str]) -> bool:
        """Whether a browser with these headers was let in."""
        try:
            found = SimpleCookie("; ".join(cookies))
        except CookieError:
            return False
        return self._cookie in found and self.door.knows(found[self._cookie].value)

    def by_token(self, target: str, cookies: Sequence[str]) -> Turn | None:
        """The answer to a target that has a token; None if it has none."""
        # Not urlsplit(), which stumbles over the brackets of a whole address.
        path, _, query = target.partition("?")
        token = parse_qs(query).get("t", [""])[0]
        if path != "/" or not token:
            return None
        if key := self.door.enter(token):
            with suppress(OSError):  # The terminal may be closed; the browser is let in.
                self.tell(f"Opened. For another browser: {self.address}")
            return self.let_in(key)
        if self.knows(cookies):
            return Turn(HTTPStatus.SEE_OTHER, headers={"Location": "/"})
        return Turn(HTTPStatus.FORBIDDEN, _USED)

    def let_in(self, key: str) -> Turn:
        """Hand a browser its key and send it to the page, without the token in its address."""
        cookie = f"{self._cookie}={key}; Path=/;{self._keeps} HttpOnly; SameSite=Strict"
        return Turn(HTTPStatus.SEE_OTHER, headers={"Location": "/", "Set-Cookie": cookie})
