"""Sign in with a name from the list and a PIN on a pad for wet gloves; sign out."""

from __future__ import annotations

from ipaddress import ip_address, ip_network

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.sign_in import sign_in, sign_out
from trayside.app.yard_rules import rules_of
from trayside.errors import SignInRefused, TraysideError

from . import cookies
from .asking import Form, one, services_of
from .page import page
from .visitor import VISITOR
from .words import say


def sign_in_screen(request: Request) -> Response:
    return _draw(request, after=_own_path(request.query_params.get("next", "")))


def do_sign_in(request: Request, form: Form) -> Response:
    """A session for the person, under a fresh token; an earlier one on this browser ends."""
    services, name, after = services_of(request), one(form, "person"), _own_path(one(form, "next"))
    try:
        if not name:
            raise SignInRefused(say("sign_in.no_name"), remedy=say("sign_in.no_name.do"))
        tablet = VISITOR.get().tablet
        signed = sign_in(
            name,
            pin=one(form, "pin"),
            address=address_of(request),
            tablet_id=tablet.tablet_id if tablet else None,
            start_work=services.start_work,
            clock=services.clock,
            secrets=services.secrets,
        )
    except SignInRefused as refusal:
        return _draw(request, after=after, chosen=name, refusal=refusal)
    _end(request)
    answer = RedirectResponse(after, status_code=303)
    seconds = int((signed.ends_at - services.clock()).total_seconds())
    cookies.put(answer, request, cookies.SESSION, signed.token, seconds=seconds)
    return answer


def do_sign_out(request: Request, _form: Form) -> Response:
    _end(request)
    answer = RedirectResponse("/sign-in", status_code=303)
    cookies.drop(answer, request, cookies.SESSION)
    return answer


def _end(request: Request) -> None:
    services, token = services_of(request), cookies.sent(request, cookies.SESSION)
    if token:
        sign_out(token, start_work=services.start_work, secrets=services.secrets)


def _draw(request: Request, *, after: str, chosen: str = "", refusal: TraysideError | None = None) -> Response:
    with services_of(request).start_work(writing=False) as work:
        yard = rules_of(work).yard
        people = [person for person in work.people.people() if person.active]
    answer = page(
        "sign_in.html",
        status=refusal_status(refusal),
        yard=yard,
        people=people,
        after=after,
        chosen=chosen,
        refusal=refusal,
    )
    tell_wait(answer, refusal)
    return answer


def refusal_status(refusal: TraysideError | None) -> int:
    if refusal is None:
        return 200
    return 429 if getattr(refusal, "wait_s", 0) or getattr(refusal, "shut", False) else 401


def tell_wait(answer: Response, refusal: TraysideError | None) -> None:
    if getattr(refusal, "wait_s", 0):
        answer.headers["Retry-After"] = str(refusal.wait_s)


def address_of(request: Request) -> str:
    """What wrong tries are counted under: the address, or the network of an IPv6 address, of which one device has many."""
    host = request.client.host if request.client else ""
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        return host[:60]
    mapped = getattr(address, "ipv4_mapped", None)
    if mapped is not None:
        return str(mapped)
    return str(address) if address.version == 4 else str(ip_network((address, 64), strict=False))


def _own_path(asked: str) -> str:
    """A path of this site to go on to; anything else becomes the yard."""
    plain = asked.isascii() and asked.isprintable() and "\\" not in asked and len(asked) < 300
    if not plain or not asked.startswith("/") or asked.startswith(("//", "/sign-in", "/sign-out", "/pair")):
        return "/"
    return asked
