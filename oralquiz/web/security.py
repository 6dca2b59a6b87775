"""Which hosts and origins are accepted, how much at once, and the headers of every page."""

from __future__ import annotations

import re
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from oralquiz.web.credentials import Limit

BODY_BYTES = 64 * 1024
SAFE = frozenset({"GET", "HEAD"})

_HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # without a referrer, forms would come from origin "null"
    "permissions-policy": "microphone=(self), camera=(), geolocation=(), payment=(), usb=()",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


def content_policy(host: str, secure: bool) -> str:
    """Everything from this server, nothing inline. The socket is named for browsers whose 'self'
    does not cover it."""
    socket = f"{'wss' if secure else 'ws'}://{host}"
    return (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        f"media-src 'self' blob:; connect-src 'self' {socket}; worker-src 'self'; "
        "font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    )


def host_name(host: str) -> str:
    """The name in a Host header, without its port; empty for nonsense."""
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


class Security:
    """ASGI middleware around the whole app.

    Refuses a Host that is not this server's (a foreign name that resolves to this machine), and
    whatever changes something or opens a socket without coming from one of its own pages.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str], secure: bool, limit: Limit) -> None:
        self._app = app
        self._hosts = {host.lower() for host in hosts}
        self._secure = secure
        self._limit = limit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        refusal = self._refusal(scope, headers, host)
        if refusal is not None and scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 4403, "reason": refusal[1]})
            return
        if refusal is not None:
            await PlainTextResponse(refusal[1] + "\n", refusal[0])(scope, receive, send)
            return
        if scope["type"] == "websocket":
            await self._app(scope, receive, send)
            return

        policy = content_policy(host, self._secure)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                out["content-security-policy"] = policy
                for name, value in _HEADERS.items():
                    out.setdefault(name, value)
                if not scope["path"].startswith("/static/"):
                    out["cache-control"] = "no-store"
            await send(message)

        await self._app(scope, _bounded(receive), send_with_headers)

    def _refusal(self, scope: Scope, headers: Headers, host: str) -> tuple[int, str] | None:
        if host_name(host) not in self._hosts:
            return 421, "this computer does not go by that name"
        who = scope["client"][0] if scope.get("client") else "?"
        if not self._limit.take(who):
            return 429, "too many requests: wait a moment"
        if scope["type"] == "http" and scope["method"] in SAFE:
            return None
        origin = headers.get("origin", "")
        if origin != f"{'https' if self._secure else 'http'}://{host}":
            return 403, "this did not come from a page of this server"
        length = headers.get("content-length", "0")
        if not re.fullmatch("[0-9]{1,9}", length) or int(length) > BODY_BYTES:
            return 413, f"at most {BODY_BYTES} bytes"
        return None


def _bounded(receive: Receive) -> Receive:
    """``receive`` that ends a body without a length once it is too long."""
    came = 0

    async def bounded() -> Message:
        nonlocal came
        message = await receive()
        came += len(message.get("body", b""))
        if came > BODY_BYTES:
            return {"type": "http.disconnect"}
        return message

    return bounded
