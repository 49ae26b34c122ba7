"""Serves the page on the loopback address only, to the browser of this machine only."""

from __future__ import annotations

import socket
import webbrowser
from collections.abc import Callable
from contextlib import closing

import uvicorn
from fastapi import FastAPI
from nicegui import ui

from colony_sim.colony.simulate import Scenario
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.explore.clock import Clock
from colony_sim.explore.guard import Guard
from colony_sim.explore.page import TITLE, Page
from colony_sim.explore.session import Run, Session

HOST = "127.0.0.1"
_ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16"><rect x="1" y="3" width="14" '
    'height="11" rx="1" fill="#14508c"/><rect x="3" y="8" width="10" height="4" fill="#fff"/></svg>'
)
_TELL_SCHEME = """
const scheme = matchMedia('(prefers-color-scheme: dark)');
scheme.addEventListener('change', () => emitEvent('scheme', scheme.matches));
if (scheme.matches) emitEvent('scheme', true);
"""


def listening(port: int) -> socket.socket:
    """A socket bound to the loopback address; port 0 takes any that is free.

    Raises
    ------
    InputError
        The port is in use or not allowed.
    """
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((HOST, port))
        bound.listen(64)
    except OSError as error:
        bound.close()
        allowed = f"a free port ({error.strerror}); 0 takes any"
        raise InputError(ARGUMENT, "port", port, allowed) from None
    return bound


def serve(
    scenario: Scenario, about: str, port: int, ready: Callable[[str], None], browse: bool
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    scenario : Scenario
        What the page starts from.
    about : str
        Where it comes from, in a sentence or two.
    port : int
    ready : callable
        Called with the address once the page can be opened.
    browse : bool
        Whether to open it in the browser.

    Raises
    ------
    InputError
        The port is in use.
    KeyboardInterrupt
        Stopped with Ctrl-C.
    """
    with closing(listening(port)) as bound:
        address = f"http://{HOST}:{bound.getsockname()[1]}/"
        # Loads the kernels: the page would stand still for as long as that takes.
        Run(scenario).live()
        clock = Clock(Session(scenario))
        try:
            # An open page must not hold up the end.
            config = uvicorn.Config(
                _app(clock, about), log_level="warning", timeout_graceful_shutdown=1
            )
            server = uvicorn.Server(config)
            server.config.load()
            ready(address)
            if browse:
                webbrowser.open(address)
            # uvicorn raises KeyboardInterrupt again once it has shut down.
            server.run(sockets=[bound])
        finally:
            clock.close()


def _app(clock: Clock, about: str) -> Guard:
    web = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)

    async def root() -> None:
        page = Page(clock, about)
        # Charts are drawn by script: they must be told of the reader's light or dark scheme.
        ui.on("scheme", lambda event: page.colours(bool(event.args)))
        await ui.context.client.connected()
        ui.run_javascript(_TELL_SCHEME)

    ui.run_with(
        web,
        root=root,
        title=TITLE,
        favicon=_ICON,
        dark=None,
        language="en-US",
        binding_refresh_interval=None,
        tailwind=False,
        show_welcome_message=False,
    )
    return Guard(web)
