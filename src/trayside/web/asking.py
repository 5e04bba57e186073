"""Reading requests: the services behind the site, the hole in the address, forms, and work on a thread of its own."""

from __future__ import annotations

import functools
from collections.abc import Awaitable, Callable

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from trayside.app.yard_rules import rules_of
from trayside.errors import ImpossibleValue
from trayside.model.rules import Rules

from .addresses import hole_of
from .services import Services
from .words import say

Form = dict[str, list[str]]


def services_of(request: Request) -> Services:
    return request.app.state.services


def hole_in(request: Request) -> str:
    return hole_of(request.path_params["hole_id"])


def posted(act: Callable[[Request, Form], Response]) -> Callable[[Request], Awaitable[Response]]:
    """An endpoint for a form: reads it here, then does the work on a thread so that other pages do not wait."""

    @functools.wraps(act)
    async def endpoint(request: Request) -> Response:
        async with request.form(max_files=0) as form:
            fields: Form = {}
            for name, value in form.multi_items():
                fields.setdefault(name, []).append(str(value))
        return await run_in_threadpool(act, request, fields)

    return endpoint


async def body_of(request: Request) -> bytes:
    """All that was sent. A tablet that walks out of the network halfway is no fault of the site: it sends again."""
    try:
        return await request.body()
    except ClientDisconnect as gone:
        raise HTTPException(400, say("fault.broken")) from gone


def one(form: Form, name: str, default: str = "") -> str:
    """The last value of a field, as typed."""
    return form.get(name, [default])[-1]


def whole_number(text: str, what: str, *, highest: int = 2**31) -> int:
    """A whole number of ours that came back in a form."""
    if not text.isdecimal() or len(text) > 12 or int(text) > highest:
        raise ImpossibleValue(f"{what}: {say('fault.broken')}", remedy=say("fault.broken.do"))
    return int(text)


def read_rules(services: Services) -> Rules:
    with services.start_work(writing=False) as work:
        return rules_of(work)
