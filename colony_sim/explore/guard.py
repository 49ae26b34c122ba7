"""Lets no request through that a let-in browser of this machine has not made (see `serving`)."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from colony_sim.serving import hosts
from colony_sim.serving.entrance import SHUT_OUT, Entrance, Turn

#: The browser itself then asks for nothing from elsewhere. Vue compiles templates: unsafe-eval.
POLICY = (
    "default-src 'self'; img-src 'self' data:; font-src 'self' data:; "
    "style-src 'self' 'unsafe-inline'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
_HEADERS = {"Content-Security-Policy": POLICY, "Referrer-Policy": "no-referrer"}


class Guard:
    """ASGI middleware: answers at the entrance, or adds the content policy to what `app` answers.

    Parameters
    ----------
    app : ASGI application
    entrance : Entrance
    """

    def __init__(self, app: Any, entrance: Entrance) -> None:
        self.app = app
        self.entrance = entrance

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        turn = self.turn(scope)
        if turn is not None:
            await _answer(turn, scope["type"], receive, send)
            return

        async def with_policy(message: Any) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *_pairs(_HEADERS)]
            await send(message)

        await self.app(scope, receive, with_policy)

    def turn(self, scope: Any) -> Turn | None:
        """What a request is answered at the entrance; None lets it through."""
        found: dict[str, list[str]] = {}
        for name, text in scope["headers"]:
            found.setdefault(name.decode("latin-1").lower(), []).append(text.decode("latin-1"))
        by_a_page = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        why = hosts.refusal(found.get("host", []), found.get("origin", []), by_a_page=by_a_page)
        if why is not None:
            return Turn(why, "Only for this machine's own browser.")
        cookies = found.get("cookie", [])
        target = f"{scope['path']}?{scope['query_string'].decode('latin-1')}"
        turn = self.entrance.by_token(target, cookies) if scope["type"] == "http" else None
        if turn is None and not self.entrance.knows(cookies):
            return Turn(HTTPStatus.FORBIDDEN, SHUT_OUT)
        return turn


async def _answer(turn: Turn, kind: str, receive: Any, send: Any) -> None:
    if kind == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})  # Which is answered 403.
        return
    told = {"Content-Type": "text/plain", "Cache-Control": "no-store", **turn.headers}
    start = {"status": int(turn.status), "headers": _pairs({**told, **_HEADERS})}
    await send({"type": "http.response.start", **start})
    await send({"type": "http.response.body", "body": f"{turn.why}\n".encode()})


def _pairs(headers: Mapping[str, str]) -> list[tuple[bytes, bytes]]:
    return [(name.lower().encode(), text.encode()) for name, text in headers.items()]
