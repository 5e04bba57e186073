"""What a person sees when something cannot be done: what, where, and what to do."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from trayside.errors import (
    ChangedMeanwhile,
    ImpossibleValue,
    LoadRefused,
    NotFound,
    RefusedByRule,
    SignInRefused,
    TraysideError,
)

from .page import page
from .words import say

STATUS: tuple[tuple[type[TraysideError], int], ...] = (
    (NotFound, 404),
    (ChangedMeanwhile, 409),
    (ImpossibleValue, 422),
    (LoadRefused, 422),
    (SignInRefused, 401),
    (RefusedByRule, 422),
)


def status_of(error: TraysideError) -> int:
    """The HTTP status of an error of the family; 503 for the store failing, which is not the asker's fault."""
    return next((status for kind, status in STATUS if isinstance(error, kind)), 503)


async def trayside_error(request: Request, error: Exception) -> Response:
    """An error raised on purpose, in its own words."""
    return fault(
        request,
        status=status_of(error),
        what=error.what,
        where=error.where,
        remedy=error.remedy,
        reasons=tuple(getattr(error, "reasons", ())),
    )


async def http_error(request: Request, error: Exception) -> Response:
    """A wrong address, a wrong method, too much sent."""
    assert isinstance(error, HTTPException)
    where = request.url.path
    if error.status_code == 404:
        answer = fault(request, status=404, what=say("fault.no_page"), where=where, remedy=say("fault.no_page.do"))
    elif error.status_code == 405:
        answer = fault(request, status=405, what=say("fault.method"), where=where, remedy=say("fault.no_page.do"))
    else:
        answer = fault(request, status=error.status_code, what=error.detail, where=where, remedy=say("fault.broken.do"))
    answer.headers.update(error.headers or {})
    return answer


async def unforeseen(request: Request, _error: Exception) -> Response:
    """A mistake of ours. The server's log has the trace; the page shows nothing of it."""
    return fault(request, status=500, what=say("fault.unknown"), where=request.url.path, remedy=say("fault.unknown.do"))


def fault(
    request: Request, *, status: int, what: str, where: str = "", remedy: str = "", reasons: tuple[str, ...] = ()
) -> Response:
    """The page, or the same words as JSON for a script that asked for JSON."""
    what = what[:1].upper() + what[1:]
    if request.headers.get("accept", "").startswith("application/json"):
        told = {"what": what, "where": where, "remedy": remedy, "reasons": list(reasons)}
        return JSONResponse(told, status_code=status)
    return page("fault.html", status=status, code=status, what=what, where=where, remedy=remedy, reasons=reasons)
