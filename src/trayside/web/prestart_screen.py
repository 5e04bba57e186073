"""The pre-start card of one saw: answered on a phone or tablet, item by item, and signed."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.prestart import CardView, sign_card, view_card
from trayside.errors import ImpossibleValue, RefusedByRule, TraysideError
from trayside.model.prestart_items import ANSWERS

from .asking import Form, one, read_rules, services_of
from .desk import desk_of
from .faults import status_of
from .page import page
from .saws_screen import pdf, saw_address, saw_in, when
from .services import Services

REFUSALS = (ImpossibleValue, RefusedByRule)


def card_screen(request: Request) -> Response:
    return _draw(services_of(request), saw_in(request))


def _view(services: Services, saw: str) -> CardView:
    with services.start_work(writing=False) as work:
        return view_card(work, saw, now=services.clock())


def _draw(services: Services, saw: str, *, refusal: TraysideError | None = None, typed: Form | None = None) -> Response:
    view = _view(services, saw)
    typed = typed or {}
    return page(
        "prestart.html",
        status=200 if refusal is None else status_of(refusal),
        yard=view.rules.yard,
        view=view,
        answers=ANSWERS,
        given={item.key: one(typed, f"item:{item.key}") for item in view.items},
        remarks={item.key: one(typed, f"remark:{item.key}") for item in view.items},
        to=saw_address(saw),
        when=when,
        refusal=refusal,
    )


def sign(request: Request, form: Form) -> Response:
    services, saw = services_of(request), saw_in(request)
    try:
        sign_card(
            saw,
            {name.removeprefix("item:"): one(form, name) for name in form if name.startswith("item:")},
            remarks={name.removeprefix("remark:"): one(form, name) for name in form if name.startswith("remark:")},
            card=one(form, "card"),
            desk=desk_of(services, form, utc_offset_min=read_rules(services).dispatch.utc_offset_min),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return _draw(services, saw, refusal=refusal, typed=form)
    return RedirectResponse(saw_address(saw), status_code=303)


def card_paper(request: Request) -> Response:
    """The card as paper: with the answers of today when it was signed, else with boxes to tick."""
    services, saw = services_of(request), saw_in(request)
    return pdf(services.papers.prestart_card(_view(services, saw), services.clock()), f"{saw.replace('/', '-')}-pre-start.pdf")
