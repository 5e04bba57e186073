"""Pair a tablet: the code, a name for the tablet, and what is being trusted. All that a stranger on the network sees."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.pairing import pair
from trayside.errors import ImpossibleValue, RefusedByRule, SignInRefused, TraysideError

from . import cookies
from .asking import Form, one, services_of
from .page import page
from .sign_in_screen import address_of, refusal_status, tell_wait
from .visitor import VISITOR

DAY_S = 24 * 3600


def pair_screen(request: Request) -> Response:
    visitor = VISITOR.get()
    if visitor.device_known:
        return RedirectResponse("/tablets" if visitor.reach == "here" else "/sign-in", status_code=303)
    return _draw(request, {})


def do_pair(request: Request, form: Form) -> Response:
    services = services_of(request)
    if VISITOR.get().device_known:
        return RedirectResponse("/", status_code=303)
    try:
        paired = pair(
            one(form, "code"),
            tablet_name=one(form, "name"),
            address=address_of(request),
            start_work=services.start_work,
            clock=services.clock,
            make_id=services.make_id,
            secrets=services.secrets,
        )
    except (SignInRefused, RefusedByRule, ImpossibleValue) as refusal:
        return _draw(request, {name: held[-1] for name, held in form.items()}, refusal)
    answer = RedirectResponse("/sign-in", status_code=303)
    cookies.put(answer, request, cookies.TABLET, paired.token, seconds=cookies.TABLET_DAYS * DAY_S)
    return answer


def _draw(request: Request, typed: dict[str, str], refusal: TraysideError | None = None) -> Response:
    status = refusal_status(refusal) if refusal is None or isinstance(refusal, SignInRefused) else 422
    lan = services_of(request).lan
    answer = page(
        "pair.html",
        status=status,
        typed=typed,
        refusal=refusal,
        host=request.url.netloc,
        fingerprint=lan.fingerprint if lan else "",
    )
    tell_wait(answer, refusal)
    return answer
