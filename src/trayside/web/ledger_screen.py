"""What the ledger holds of a bag, a tray, a sack or a load; contradictions that wait for a person; corrections."""

from __future__ import annotations

from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from trayside.app.correct import correct, object_history, open_conflicts, values_to_restate, void_number
from trayside.app.yard_rules import rules_of
from trayside.errors import ImpossibleValue, NotFound, RefusedByRule, TraysideError
from trayside.model.event import Stored, moment

from .addresses import yard_address
from .asking import Form, one, posted, services_of
from .desk import desk_of
from .faults import status_of
from .page import page
from .services import Services

REFUSALS = (ImpossibleValue, RefusedByRule, NotFound)
UNITS = {"_g": "g", "_mm": "mm", "_s": "s", "_min": "min"}
YES_NO = {True: "yes", False: "no"}


def to_settle(request: Request) -> Response:
    return _draw_conflicts(services_of(request))


def _draw_conflicts(services: Services, *, refusal: TraysideError | None = None, typed: Form | None = None) -> Response:
    with services.start_work(writing=False) as work:
        yard, conflicts = rules_of(work).yard, open_conflicts(work)
    return page(
        "to_settle.html",
        status=200 if refusal is None else status_of(refusal),
        yard=yard,
        conflicts=[(conflict, told(conflict.stored), conflict.against and told(conflict.against)) for conflict in conflicts],
        history_address=history_address,
        refusal=refusal,
        typed=typed or {},
    )


def told(stored: Stored) -> dict[str, object]:
    """An act in words for a table."""
    event = stored.event
    return {
        "what": event.kind.replace("_", " "),
        "about": event.object_id,
        "values": values_told(event.values),
        "who": event.person,
        "device": event.device,
        "when": moment(event.captured_at),
        "stored": moment(stored.stored_at),
        "reason": event.reason or "",
        "seq": stored.seq,
        "hash": stored.hash,
    }


def values_told(values: dict[str, object]) -> str:
    """Values as 'name value unit', for people."""
    parts = []
    for name, value in values.items():
        if value is None or name == "sha256":
            continue
        unit = next((unit for end, unit in UNITS.items() if name.endswith(end)), "")
        plain = name.removesuffix(f"_{unit}") if unit else name
        if isinstance(value, list):
            value = ", ".join(str(item) for item in value) or "none"
        shown = YES_NO[value] if isinstance(value, bool) else str(value).replace("_", " ") if name == "verdict" else value
        parts.append(f"{plain.replace('_', ' ')} {shown}{f' {unit}' if unit else ''}")
    return " · ".join(parts)


def settle(request: Request, form: Form) -> Response:
    """From the list of contradictions: back to the list."""
    services = services_of(request)
    try:
        _correct(services, form)
    except REFUSALS as refusal:
        return _draw_conflicts(services, refusal=refusal, typed=form)
    return RedirectResponse("/to-settle", status_code=303)


def _correct(services: Services, form: Form):
    with services.start_work(writing=False) as work:
        minutes = rules_of(work).dispatch.utc_offset_min
    return correct(
        one(form, "event"),
        verdict=one(form, "verdict"),
        reason=one(form, "reason"),
        typed={name.removeprefix("value:"): texts[-1] for name, texts in form.items() if name.startswith("value:")},
        desk=desk_of(services, form, utc_offset_min=minutes),
        start_work=services.start_work,
    )


def history_address(object_type: str, object_id: str) -> str:
    """The page of one object; a slash in its name is written as ~, as in the names of holes."""
    return f"/ledger/{object_type}/{quote(object_id.replace('/', '~'), safe='~')}"


def history_screen(request: Request) -> Response:
    return _draw_history(services_of(request), *_object_in(request))


def _object_in(request: Request) -> tuple[str, str]:
    return request.path_params["object_type"], request.path_params["object_id"].replace("~", "/")


def _draw_history(
    services: Services,
    object_type: str,
    object_id: str,
    *,
    refusal: TraysideError | None = None,
    typed: Form | None = None,
) -> Response:
    with services.start_work(writing=False) as work:
        rules, history = rules_of(work), object_history(work, object_type, object_id)
        ticket = work.tickets([object_id]).get(object_id) if object_type == "bag" else None
    acts = [
        (
            act,
            told(act.stored),
            values_told(act.values),
            values_told(act.first_values),
            [told(correction) for correction in act.corrections],
            values_to_restate(act.stored.event.kind),
        )
        for act in history.acts
    ]
    return page(
        "history.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        history=history,
        hole_id=ticket.hole_id if ticket else None,
        acts=acts,
        to=history_address(object_type, object_id),
        refusal=refusal,
        typed=typed or {},
    )


def correct_one(request: Request, form: Form) -> Response:
    """From the page of one object: back to it."""
    services = services_of(request)
    object_type, object_id = _object_in(request)
    try:
        _correct(services, form)
    except REFUSALS as refusal:
        return _draw_history(services, object_type, object_id, refusal=refusal, typed=form)
    return RedirectResponse(history_address(object_type, object_id), status_code=303)


def void(request: Request, form: Form) -> Response:
    services, number = services_of(request), request.path_params["number"]
    try:
        with services.start_work(writing=False) as work:
            minutes = rules_of(work).dispatch.utc_offset_min
        desk = desk_of(services, form, utc_offset_min=minutes)
        void_number(number, reason=one(form, "reason"), desk=desk, start_work=services.start_work)
    except REFUSALS as refusal:
        return _draw_history(services, "bag", number, refusal=refusal, typed=form)
    return RedirectResponse(history_address("bag", number), status_code=303)


def look_up(request: Request) -> Response:
    """From the box on the list: the page of a number, wherever it stands."""
    number = " ".join(request.query_params.get("number", "").split())
    return RedirectResponse(history_address("bag", number) if number else yard_address(), status_code=303)


LEDGER_ROUTES = (
    Route("/to-settle", to_settle),
    Route("/to-settle", posted(settle), methods=["POST"]),
    Route("/ledger/find", look_up),
    Route("/ledger/{object_type}/{object_id}", history_screen),
    Route("/ledger/{object_type}/{object_id}", posted(correct_one), methods=["POST"]),
    Route("/void/{number}", posted(void), methods=["POST"]),
)
