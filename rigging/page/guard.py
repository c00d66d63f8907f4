"""Stands before every request: right host, same site, let in; and puts the strict headers on every answer."""

from __future__ import annotations

from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from rigging.page.gate import Gate

COOKIE = "ribangle"
OPEN = frozenset({"/enter", "/api/enter", "/static/enter.js", "/static/page.css", "/static/icon.svg"})
"""What may be seen before the code is given."""
HEADERS = {
    "content-security-policy": "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}


class Guard:
    """ASGI middleware. hosts : the names this server goes by, with port."""

    def __init__(self, app: ASGIApp, gate: Gate, hosts: frozenset[str]) -> None:
        self.app, self.gate, self.hosts = app, gate, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer the request, or hand it on."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no web sockets here: an unanswered one is closed by the server
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(HEADERS)
            await send(message)

        answer = self._turned_away(Headers(scope=scope), scope["method"], scope["path"])
        await (answer or self.app)(scope, receive, with_headers)

    def _turned_away(self, headers: Headers, method: str, path: str) -> Response | None:
        host = headers.get("host", "")
        if host not in self.hosts:
            return _no(421, "this server does not go by that name")
        if method not in ("GET", "HEAD"):
            origin = headers.get("origin", f"http://{host}")
            if origin != f"http://{host}" or headers.get("sec-fetch-site", "same-origin") != "same-origin":
                return _no(403, "requests from other sites are not taken")
        if path in OPEN or self.gate.knows(_cookie(headers)):
            return None
        return RedirectResponse("/enter", 303) if path == "/" else _no(401, "give the code on the terminal first")


def _cookie(headers: Headers) -> str:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return found.value if found else ""


def _no(status: int, why: str) -> Response:
    return JSONResponse({"error": why}, status)
