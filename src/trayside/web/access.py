"""Lets in who may come in: every request is held against the table of rights before its page sees it.

Everything posted must carry the token of the browser it comes from, in the field or header that `FORM_FIELD` and
`FORM_HEADER` name. Only a yard without people, on its own machine, asks for no token: nobody could be impersonated.
"""

from __future__ import annotations

import hmac
from contextlib import suppress
from urllib.parse import quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection, Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from trayside.app.sign_in import touch, visit
from trayside.errors import TraysideError

from . import cookies, faults
from .guards import SAFE_METHODS
from .rights import ANYONE, DEVICE, MACHINE, needed_right
from .services import Services
from .visitor import VISITOR, Visitor
from .words import say

FORM_FIELD = "form_token"
FORM_HEADER = "x-form-token"
FORM_TYPES = ("application/x-www-form-urlencoded", "multipart/form-data")


class Access:
    """ASGI middleware inside the guards. `request.state.person` is the signed-in Person, or None."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request, services = Request(scope, receive), scope["app"].state.services
        try:
            visitor, new_cookies, to_touch = await run_in_threadpool(_visitor_of, request, services)
            VISITOR.set(visitor)
            scope.setdefault("state", {}).update(visitor=visitor, person=visitor.person)
            send = _with_cookies(send, new_cookies)
            refusal = _refusal(request, visitor)
            if refusal is None and visitor.form_token and scope["method"] not in SAFE_METHODS:
                token, receive = await _token_sent(request, scope, receive)
                if not hmac.compare_digest(token.encode(), visitor.form_token.encode()):
                    refusal = faults.fault(
                        request,
                        status=403,
                        what=say("access.token"),
                        where=request.url.path,
                        remedy=say("fault.broken.do"),
                    )
        except TraysideError as error:
            refusal = await faults.trayside_error(request, error)
        except HTTPException as error:
            refusal = await faults.http_error(request, error)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        await self._app(scope, receive, send)
        if to_touch:
            with suppress(TraysideError):  # a long load is writing: the next request marks it
                await run_in_threadpool(_touch, to_touch, services)


def _visitor_of(request: HTTPConnection, services: Services) -> tuple[Visitor, list[str], str]:
    """The visitor, cookies their browser lacks, and the session token when its session is to be marked as used."""
    session, tablet = cookies.sent(request, cookies.SESSION), cookies.sent(request, cookies.TABLET)
    here = services.reach == "here"
    if services.secrets is None:
        session = tablet = None
    who = visit(
        session_token=session,
        tablet_token=None if here else tablet,
        start_work=services.start_work,
        clock=services.clock,
        secrets=services.secrets,
    )
    if here and not who.any_people:
        return Visitor("here"), [], ""
    if services.secrets is None:
        raise TraysideError("nobody can sign in", where="secrets", remedy="Start the screens with trayside serve")
    https, new = request.url.scheme == "https", []
    secret = session if who.person else cookies.sent(request, cookies.VISIT)
    if secret is None:
        secret = services.secrets.new_token()
        new.append(cookies.cookie_line(cookies.VISIT, secret, https=https))
    token = services.secrets.digest(f"form {secret}")
    if cookies.sent(request, cookies.FORM) != token:
        new.append(cookies.cookie_line(cookies.FORM, token, https=https))
    visitor = Visitor(services.reach, who.any_people, who.person, who.tablet, token)
    return visitor, new, session if who.touch else ""


def _touch(token: str, services: Services) -> None:
    touch(token, start_work=services.start_work, clock=services.clock, secrets=services.secrets)


def _refusal(request: Request, visitor: Visitor) -> Response | None:
    """Why this visitor does not get this page, and what they get instead."""
    right = needed_right(request.scope, request.app.routes)
    if right == ANYONE:
        return None
    if not visitor.device_known:
        return _first(request, "/pair", say("access.pair"), say("access.pair.do"))
    if right == DEVICE:
        return None
    if right == MACHINE:
        if visitor.reach == "here":
            return None
        return faults.fault(request, status=403, what=say("access.machine"), remedy=say("access.machine.do"))
    if visitor.person is None and not visitor.may(right or "look"):
        back = request.url.path if request.method in SAFE_METHODS else _page_behind(request)
        return _first(request, f"/sign-in?next={quote(back)}", say("access.sign_in"), say("access.sign_in.do"))
    if right is not None and not visitor.may(right):
        person = visitor.person
        told = say("access.role", name=person.name, role=say(f"role.{person.role}"), right=say(f"right.{right}"))
        return faults.fault(request, status=403, what=told, remedy=say("access.role.do"))
    return None


def _first(request: Request, address: str, what: str, remedy: str) -> Response:
    """A person who opens a page is led to what comes first; everything else is told 401."""
    if request.method in SAFE_METHODS and "text/html" in request.headers.get("accept", ""):
        return RedirectResponse(address, status_code=303)
    return faults.fault(request, status=401, what=what, where=request.url.path, remedy=remedy)


def _page_behind(request: Request) -> str:
    """The page a form was on."""
    return urlsplit(request.headers.get("referer", "")).path or "/"


async def _token_sent(request: Request, scope: Scope, receive: Receive) -> tuple[str, Receive]:
    """The token that came with the request, and a `receive` that gives the body once more when it had to be read."""
    token = request.headers.get(FORM_HEADER)
    kind = request.headers.get("content-type", "").partition(";")[0].strip().casefold()
    if token is not None or kind not in FORM_TYPES:
        return token or "", receive
    body = await request.body()
    async with Request(scope, _again(body, receive)).form(max_fields=10_000) as form:
        told = form.get(FORM_FIELD, "")
    return told if isinstance(told, str) else "", _again(body, receive)


def _again(body: bytes, receive: Receive) -> Receive:
    given = False

    async def receiving() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return receiving


def _with_cookies(send: Send, lines: list[str]) -> Send:
    if not lines:
        return send

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for line in lines:
                headers.append("set-cookie", line)
        await send(message)

    return sending
