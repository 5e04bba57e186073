"""Keeps strangers out: host names we do not have, requests from other sites, bodies too large, scripts not ours."""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY = 2 * 2**20
LARGER = {"/photos": 41 * 2**20, "/results/import": 101 * 2**20}
"""Addresses that take more than a page sends; the yard's rules say how much of it is kept."""
TOO_LARGE = "More was sent than a page of this yard ever sends; nothing was changed."
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    # Not no-referrer: that would make browsers send "Origin: null" with our own forms, and the check below needs it.
    "Referrer-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Guards:
    """ASGI middleware around the whole site."""

    def __init__(self, app: ASGIApp, *, hosts: tuple[str, ...], largest_body: int = LARGEST_BODY) -> None:
        self._app, self._hosts, self._largest_body = app, frozenset(host.casefold() for host in hosts), largest_body

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        send = _with_headers(send)
        refusal = self._refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        await self._app(scope, _Limited(receive, self._most(scope)), send)

    def _most(self, scope: Scope) -> int:
        return LARGER.get(scope["path"], self._largest_body)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if _name_of(host) not in self._hosts:
            return PlainTextResponse(
                "This yard is not reached by that name. Use the address it was started with, or start it for this name.\n",
                status_code=421,
            )
        if scope["method"] not in SAFE_METHODS and not _from_here(headers, host):
            return PlainTextResponse(
                "This request came from another page and was refused; nothing was changed. "
                "Open the yard in its own window and do it there.\n",
                status_code=403,
            )
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > self._most(scope):
            return PlainTextResponse(f"{TOO_LARGE}\n", status_code=413)
        return None


class BodyTooLarge(HTTPException):
    """More came in than a page of ours ever sends."""

    def __init__(self) -> None:
        super().__init__(413, TOO_LARGE)


class _Limited:
    """Counts what comes in, for bodies that do not say their length."""

    def __init__(self, receive: Receive, largest: int) -> None:
        self._receive, self._left = receive, largest

    async def __call__(self) -> Message:
        message = await self._receive()
        self._left -= len(message.get("body", b""))
        if self._left < 0:
            raise BodyTooLarge
        return message


def _from_here(headers: Headers, host: str) -> bool:
    """Whether a browser says the request was made by one of our own pages. A request that says nothing is refused."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    origin = headers.get("origin")
    return origin is not None and urlsplit(origin).netloc.casefold() == host.casefold()


def _name_of(host: str) -> str:
    """The name in a Host header, without its port."""
    name = host.casefold()
    if name.startswith("["):
        return name.partition("]")[0] + "]"
    return name.partition(":")[0]


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in SECURITY_HEADERS.items():
                headers[name] = value
            headers.setdefault("Cache-Control", "no-cache")
        await send(message)

    return sending
