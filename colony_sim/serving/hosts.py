"""Tells requests of the page itself from those of a foreign page in the same browser.

A foreign page could reach a server under a name of its own that it lets point here (DNS
rebinding), or by posting to its address. The host and the origin of a request tell.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Collection, Sequence
from contextlib import closing
from http import HTTPStatus
from urllib.parse import urlsplit

LOOPBACK = "127.0.0.1"
NAMES = (LOOPBACK, "localhost")
_ELSEWHERE = ("192.0.2.1", 9)
"""An address for documentation (RFC 5737): nothing is sent to it."""


def refusal(
    hosts: Sequence[str],
    origins: Sequence[str],
    names: Collection[str] = NAMES,
    *,
    by_a_page: bool,
) -> HTTPStatus | None:
    """Why a request is refused: it must name this machine as its host and the same as its origin.

    Parameters
    ----------
    hosts, origins : sequence of str
        All headers of that name.
    names : collection of str
        Names and addresses of this machine, in small letters.
    by_a_page : bool
        Whether only a page asks so, whose browser then names an origin: it is demanded.

    Returns
    -------
    HTTPStatus or None
        400 without one host that can be read, 403 for what is foreign, None for what is allowed.
    """
    try:
        name = urlsplit(f"//{hosts[0]}").hostname if len(hosts) == 1 else None
    except ValueError:  # Such as an open bracket.
        name = None
    if name is None:
        return HTTPStatus.BAD_REQUEST
    same = all(origin == f"http://{hosts[0]}" for origin in origins)
    if name in names and same and (origins or not by_a_page):
        return None
    return HTTPStatus.FORBIDDEN


def home_address() -> str:
    """This machine's address in the home network; the loopback address if it is in none."""
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as asked:
        try:
            asked.connect(_ELSEWHERE)
            return str(asked.getsockname()[0])
        except OSError:
            return LOOPBACK


def home_names() -> tuple[str, ...]:
    """Names under which a machine of the home network may ask for this one."""
    name = socket.gethostname().lower()
    return (*NAMES, home_address(), name, f"{name.removesuffix('.local')}.local")


def at_home(address: str) -> bool:
    """Whether an address is this machine's or one of a private network."""
    return ipaddress.ip_address(address).is_private
