"""Kept core of one hole: what is left where, requests for more of it, and the rack."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.retained_core import TAKEN, kept_core, place_tray, take_piece
from trayside.app.typed_depth import typed_depth_mm
from trayside.app.yard_rules import rules_of
from trayside.errors import ImpossibleValue, RefusedByRule, TraysideError

from .addresses import hole_address
from .asking import Form, hole_in, one, services_of, whole_number
from .desk import desk_of
from .faults import status_of
from .page import amounts_of, page
from .services import Services
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule)


def kept_screen(request: Request) -> Response:
    return _draw(services_of(request), hole_in(request))


def _draw(
    services: Services, hole_id: str, *, refusal: TraysideError | None = None, typed: Form | None = None
) -> Response:
    with services.start_work(writing=False) as work:
        rules, core = rules_of(work), work.hole_core(hole_id)
        kept = kept_core(work, hole_id)
    return page(
        "kept.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        amounts=amounts_of(rules),
        hole_id=hole_id,
        trays=[tray.tray for tray in core.trays],
        kept=kept,
        shares=tuple(reversed(TAKEN)),
        refusal=refusal,
        typed=typed or {},
    )


def take(request: Request, form: Form) -> Response:
    services, hole_id = services_of(request), hole_in(request)
    try:
        with services.start_work(writing=False) as work:
            rules = rules_of(work)
        unit = rules.paper.length_unit
        take_piece(
            hole_id,
            from_mm=typed_depth_mm(one(form, "from"), unit=unit),
            to_mm=typed_depth_mm(one(form, "to"), unit=unit),
            take=one(form, "take"),
            asked_by=one(form, "asked_by"),
            purpose=one(form, "purpose"),
            last_piece=one(form, "last") == "yes",
            reason=one(form, "reason"),
            desk=desk_of(services, form, utc_offset_min=rules.dispatch.utc_offset_min),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return _draw(services, hole_id, refusal=refusal, typed=form)
    return RedirectResponse(hole_address(hole_id, "kept"), status_code=303)


def place(request: Request, form: Form) -> Response:
    services, hole_id = services_of(request), hole_in(request)
    try:
        with services.start_work(writing=False) as work:
            minutes = rules_of(work).dispatch.utc_offset_min
        place_tray(
            hole_id,
            whole_number(one(form, "tray"), say("loads.tray")),
            rack=one(form, "rack"),
            shelf=one(form, "shelf"),
            position=one(form, "position"),
            desk=desk_of(services, form, utc_offset_min=minutes),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return _draw(services, hole_id, refusal=refusal, typed=form)
    return RedirectResponse(hole_address(hole_id, "kept"), status_code=303)
