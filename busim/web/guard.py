"""The guard of a page server: the right host, the right origin, the right token.

A page of another site in the same browser can send requests to loopback. If that site's own name points to loopback
(DNS rebinding), it can even read the answers. So the Host header must be the address at which the page is served, an
Origin must be that of the page itself, and everything but the page's own files needs the token.
"""

from __future__ import annotations

import hmac
from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

# No inline script, no content from elsewhere, and no page around it.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}


def same(given: object, token: str) -> bool:
    """Whether a received token is the right one."""
    return isinstance(given, str) and hmac.compare_digest(given.encode("utf-8", "replace"), token.encode())


def bearer(headers: Headers) -> str:
    """The token of a request's Authorization header, "" without one."""
    scheme, _, token = headers.get("authorization", "").partition(" ")
    return token if scheme.lower() == "bearer" else ""


class Guard:
    """An application with a check of `hosts` (host:port, as browsers send it) before it, and strict
    headers after it.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self._app = app
        self._hosts = frozenset(hosts)
        self._origins = frozenset(f"http://{host}" for host in self._hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        wrong = self._wrong(headers, needs_origin=scope["type"] == "websocket")
        if wrong is None:
            await self._app(scope, receive, _careful(send))
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008, "reason": wrong})
        else:
            await JSONResponse({"error": {"what": wrong}}, 421, headers=_HEADERS)(scope, receive, send)

    def _wrong(self, headers: Headers, *, needs_origin: bool) -> str | None:
        if headers.get("host") not in self._hosts:
            return "the Host header is not an address of this page"
        origin = headers.get("origin")
        if origin is None:  # no browser, or a plain read by the page itself
            return None if not needs_origin else "the Origin header is missing"
        return None if origin in self._origins else "the Origin header is not that of this page"


def _careful(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers[name] = value
        await send(message)

    return sent
