"""The address of the page, answered at once: while the model is loaded, a page says what it awaits.

Imports nothing heavy. Everything is served to this machine only, to browsers that were let in.
"""

from __future__ import annotations

import asyncio
import threading
import webbrowser
from collections.abc import Callable
from contextlib import AsyncExitStack
from html import escape
from importlib.resources import files
from types import TracebackType
from typing import Any

import uvicorn

from colony_sim.drawing import palette, typeface
from colony_sim.drawing.rack import sign_scene
from colony_sim.drawing.svg import svg
from colony_sim.explore.guard import Guard
from colony_sim.serving.door import Door
from colony_sim.serving.entrance import Entrance
from colony_sim.serving.listening import listening

TITLE = "Try a change on a rack of mealworms"
#: Asked by the page that waits: what is being done, nothing once the page itself is there.
WAITING = "/waiting"


def sign() -> str:
    """The sign of the page, as SVG."""
    return svg(sign_scene(), TITLE, width=48)


class Site:
    """Serves in a thread while the `with` block loads what it is to serve, and after it.

    Parameters
    ----------
    port : int
        0 takes any that is free.
    tell : callable
        Called with lines for the keeper.

    Raises
    ------
    InputError
        The port is in use.
    """

    def __init__(self, port: int, tell: Callable[[str], None]) -> None:
        self._bound = listening(port)
        self._tell = tell
        self.entrance = Entrance(Door(), self._bound.getsockname()[1], tell)
        self._waiting = Waiting()
        guard = Guard(self._waiting, self.entrance)
        # An open page must not hold up the end.
        self._server = uvicorn.Server(
            # The terminal is the keeper's: what others send that is no request is not told.
            uvicorn.Config(guard, lifespan="off", log_level="error", timeout_graceful_shutdown=1)
        )
        self._loop: asyncio.AbstractEventLoop | None = None
        self._began = threading.Event()
        self._thread = threading.Thread(target=self._serve, name="site", daemon=True)

    def __enter__(self) -> Site:
        self._thread.start()
        self._began.wait()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._server.should_exit = True
        self._thread.join()

    def announce(self, browse: bool) -> None:
        """Say where the page is, and open it if asked to."""
        address = self.entrance.address
        self._tell(f"The page: {address} (this machine only, one browser). Ctrl-C ends it.")
        if browse:
            webbrowser.open(address)

    def doing(self, text: str) -> None:
        """What the reader of the page waits for, in a sentence."""
        self._waiting.text = text

    def put(self, app: Any) -> None:
        """Let an application with a lifespan (`router.lifespan_context`) answer from now on."""
        assert self._loop is not None
        asyncio.run_coroutine_threadsafe(self._waiting.put(app), self._loop).result()

    def wait(self) -> None:
        """Wait until the server ends.

        Raises
        ------
        KeyboardInterrupt
            Stopped with Ctrl-C.
        """
        while self._thread.is_alive():
            self._thread.join(0.5)  # Without a time Ctrl-C would not come through everywhere.

    def _serve(self) -> None:
        async def main() -> None:
            self._loop = asyncio.get_running_loop()
            self._began.set()
            async with self._waiting.lives:
                await self._server.serve(sockets=[self._bound])

        try:
            asyncio.run(main())
        finally:
            self._began.set()
            self._bound.close()


class Waiting:
    """ASGI application: a page that says what it waits for, until there is another application."""

    def __init__(self) -> None:
        self.app: Any = None
        self.text = "The program is being loaded."
        self.lives = AsyncExitStack()

    async def put(self, app: Any) -> None:
        """Begin another application, which answers from then on."""
        await self.lives.enter_async_context(app.router.lifespan_context(app))
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["path"] == WAITING and scope["type"] == "http":
            await _send(send, 200, "text/plain", "" if self.app else self.text)
        elif self.app is not None:
            await self.app(scope, receive, send)
        elif scope["path"] == "/" and scope["type"] == "http":
            await _send(send, 200, "text/html", self._page())
        elif scope["type"] == "http":
            await _send(send, 404, "text/plain", "There is nothing at this address yet.\n")
        else:
            await receive()
            await send({"type": "websocket.close", "code": 1013})

    def _page(self) -> str:
        page = files("colony_sim.explore").joinpath("waiting.html").read_text("utf-8")
        style = f"{typeface.css()}{palette.css()}"
        parts = {"title": TITLE, "style": style, "sign": sign(), "doing": escape(self.text)}
        for name, text in parts.items():
            page = page.replace(f"{{{{ {name} }}}}", text)
        return page


async def _send(send: Any, status: int, kind: str, text: str) -> None:
    body = text.encode()
    headers = [
        (b"content-type", f"{kind}; charset=utf-8".encode()),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
