"""The cookies of the site. On https their names say that no other host and no plain connection can have set them."""

from __future__ import annotations

from http.cookies import SimpleCookie

from starlette.requests import HTTPConnection
from starlette.responses import Response

SESSION = "trayside-session"
TABLET = "trayside-tablet"
VISIT = "trayside-visit"
FORM = "trayside-form"
"""The token for forms, readable by our own scripts; alone it opens nothing."""
TABLET_DAYS = 400
"""The longest that browsers keep a cookie (common practice)."""


def sent(request: HTTPConnection, name: str) -> str | None:
    return request.cookies.get(_full(name, request.url.scheme == "https")) or None


def put(response: Response, request: HTTPConnection, name: str, value: str, *, seconds: int | None = None) -> None:
    response.headers.append(
        "set-cookie", cookie_line(name, value, https=request.url.scheme == "https", seconds=seconds)
    )


def drop(response: Response, request: HTTPConnection, name: str) -> None:
    put(response, request, name, "", seconds=0)


def cookie_line(name: str, value: str, *, https: bool, seconds: int | None = None) -> str:
    """A Set-Cookie header; without `seconds` the cookie ends with the browser."""
    full = _full(name, https)
    cookie = SimpleCookie({full: value})
    cookie[full]["path"] = "/"
    cookie[full]["samesite"] = "Strict"
    cookie[full]["httponly"] = name != FORM
    cookie[full]["secure"] = https
    if seconds is not None:
        cookie[full]["max-age"] = str(seconds)
    return cookie[full].OutputString()


def _full(name: str, https: bool) -> str:
    return f"__Host-{name}" if https else name
