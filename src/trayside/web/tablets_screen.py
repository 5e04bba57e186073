"""Tablets: which ones are let in, a code for the next one, and what it has to trust."""

from __future__ import annotations

import segno
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.pairing import NewCode, make_code, revoke_tablet
from trayside.app.yard_rules import rules_of
from trayside.errors import NotFound, TraysideError
from trayside.model.tablet import code_in_groups

from .asking import Form, one, services_of
from .page import page
from .visitor import VISITOR
from .words import say


def tablets_screen(request: Request) -> Response:
    return _draw(request)


def new_code(request: Request, _form: Form) -> Response:
    """The code is on this page and nowhere else."""
    services = services_of(request)
    code = make_code(
        made_by=VISITOR.get().name or say("tablets.this_machine"),
        start_work=services.start_work,
        clock=services.clock,
        make_id=services.make_id,
        secrets=services.secrets,
    )
    answer = _draw(request, code=code)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def revoke(request: Request, form: Form) -> Response:
    services = services_of(request)
    try:
        revoke_tablet(one(form, "name"), start_work=services.start_work, clock=services.clock)
    except NotFound as refusal:
        return _draw(request, refusal=refusal)
    return RedirectResponse("/tablets", status_code=303)


def _draw(request: Request, *, code: NewCode | None = None, refusal: TraysideError | None = None) -> Response:
    services = services_of(request)
    with services.start_work(writing=False) as work:
        yard, tablets = rules_of(work).yard, work.people.tablets()
    lan = services.lan
    return page(
        "tablets.html",
        status=200 if refusal is None else 404,
        yard=yard,
        tablets=tablets,
        code=code_in_groups(code.code) if code else "",
        ends_at=code.ends_at if code else None,
        refusal=refusal,
        lan=lan,
        trust_code=_drawn(lan.trust_address) if lan else "",
        open_code=_drawn(lan.addresses[0]) if lan else "",
    )


def _drawn(address: str) -> str:
    """The QR code of an address, as a drawing inside the page."""
    return segno.make_qr(address).svg_inline(scale=5, border=4, omitsize=False)
