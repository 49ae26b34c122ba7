"""Turns away requests that were not made by the page itself (see `serving.hosts`)."""

from __future__ import annotations

from typing import Any

from colony_sim.serving import hosts

#: The browser itself then asks for nothing from elsewhere. Vue compiles templates: unsafe-eval.
POLICY = (
    "default-src 'self'; img-src 'self' data:; font-src 'self' data:; "
    "style-src 'self' 'unsafe-inline'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)


def allowed(headers: list[tuple[bytes, bytes]]) -> bool:
    """Whether the headers name this machine as host, and the origin, if any, is the same."""
    found: dict[str, list[str]] = {}
    for name, text in headers:
        found.setdefault(name.decode("latin-1").lower(), []).append(text.decode("latin-1"))
    return hosts.allowed(found.get("host", []), found.get("origin", []))


class Guard:
    """ASGI middleware: 403 for requests that are not `allowed`; adds the content policy.

    Parameters
    ----------
    app : ASGI application
    """

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        if not allowed(scope["headers"]):
            await _refuse(scope["type"], receive, send)
            return

        async def with_policy(message: Any) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [
                    *message.get("headers", []),
                    (b"content-security-policy", POLICY.encode()),
                    (b"referrer-policy", b"no-referrer"),
                ]
            await send(message)

        await self.app(scope, receive, with_policy)


async def _refuse(kind: str, receive: Any, send: Any) -> None:
    if kind == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})
        return
    plain = [(b"content-type", b"text/plain")]
    await send({"type": "http.response.start", "status": 403, "headers": plain})
    await send({"type": "http.response.body", "body": b"only for this machine's own browser\n"})
