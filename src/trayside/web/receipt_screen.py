"""The laboratory's received list: taken in, held against the load, settled line by line, confirmed."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.load_view import view_load
from trayside.app.receive import Difference, compare_list, confirm_list, store_list
from trayside.app.typed_time import typed_time
from trayside.errors import (
    ChangedMeanwhile,
    ImpossibleValue,
    LoadRefused,
    NotFound,
    RefusedByRule,
    TraysideError,
)

from .asking import Form, one, services_of
from .desk import desk_of
from .faults import status_of
from .load_screen import SEALS, draw_load
from .page import amounts_of, page
from .services import Services
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule, ChangedMeanwhile, LoadRefused)
TAKE = "take:"


async def take_list(request: Request) -> Response:
    """A file or typed lines; stored as it came, then shown against the load."""
    async with request.form(max_files=1) as form:
        fields: Form = {}
        content = b""
        name = ""
        for field, value in form.multi_items():
            if isinstance(value, UploadFile):
                content, name = await value.read(), value.filename or ""
            else:
                fields.setdefault(field, []).append(str(value))
    return await run_in_threadpool(_take, services_of(request), request.path_params["load_id"], fields, content, name)


def _take(services: Services, load_id: str, form: Form, content: bytes, name: str) -> Response:
    try:
        if services.read_received is None:
            raise TraysideError("lists cannot be read here", where=load_id, remedy="Start the screens with trayside serve")
        typed = one(form, "lines")
        raw = content or typed.encode()
        if not raw.strip():
            raise ImpossibleValue(say("receipt.neither"), where=load_id, remedy=say("receipt.neither.do"))
        at, minutes = typed_time(one(form, "at"), offset=one(form, "offset"), what=say("custody.at"))
        seals = one(form, "seals", "unsaid")
        receipt = store_list(
            load_id,
            services.read_received(raw, source=name if content else "typed", mass_unit=one(form, "unit", "kg")),
            received_at=at,
            received_by=one(form, "received_by"),
            lab_job=one(form, "lab_job"),
            seals_intact=SEALS.get(seals),
            desk=desk_of(services, form, utc_offset_min=minutes),
            start_work=services.start_work,
        )
    except LoadRefused as refusal:
        shown = RefusedByRule(refusal.what, where=refusal.where, remedy=refusal.remedy,
                              reasons=tuple(str(fault) for fault in refusal.faults))  # fmt: skip
        return draw_load(services, load_id, refusal=shown, typed=form)
    except REFUSALS as refusal:
        return draw_load(services, load_id, refusal=refusal, typed=form)
    return RedirectResponse(f"/loads/{load_id}/received/{receipt.receipt_id}", status_code=303)


def receipt_screen(request: Request) -> Response:
    return _draw(services_of(request), request.path_params["load_id"], request.path_params["receipt_id"])


def _draw(
    services: Services,
    load_id: str,
    receipt_id: str,
    *,
    taken_as: dict[str, str] | None = None,
    refusal: TraysideError | None = None,
) -> Response:
    with services.start_work(writing=False) as work:
        receipt = work.loads.receipt(receipt_id)
        if receipt.load_id != load_id:
            raise NotFound("this list belongs to another load", where=load_id, remedy="Look at the load again")
        view = view_load(work, load_id)
    taken = dict(receipt.taken_as) if receipt.confirmed_at else dict(taken_as or {})
    try:
        difference = compare_list(view, receipt.lines, taken_as=taken)
    except (RefusedByRule, NotFound) as error:
        difference, refusal = compare_list(view, receipt.lines), refusal or error
    return page(
        "receipt.html",
        status=200 if refusal is None else status_of(refusal),
        yard=view.rules.yard,
        amounts=amounts_of(view.rules),
        view=view,
        receipt=receipt,
        difference=difference,
        choices=_choices(difference),
        refusal=refusal,
    )


def _choices(difference: Difference) -> list[tuple[str, str, list[str]]]:
    """For each number that was not sent: what it is taken as now, and what it may be, the suggestion first."""
    free = sorted(set(difference.missing) | set(difference.taken_as.values()))
    lines = [
        (read, number, [number, *(other for other in free if other != number)])
        for read, number in difference.taken_as.items()
    ]
    for suggested in difference.suggestions:
        first = [suggested.suggestion] if suggested.suggestion else []
        lines.append((suggested.unknown, "", first + [number for number in free if number not in first]))
    return sorted(lines)


def confirm(request: Request, form: Form) -> Response:
    """Confirm the list, or with what=compare look at it again with other choices."""
    services = services_of(request)
    load_id, receipt_id = request.path_params["load_id"], request.path_params["receipt_id"]
    taken = {name.removeprefix(TAKE): values[-1] for name, values in form.items() if name.startswith(TAKE) and values[-1]}
    if one(form, "what") == "compare":
        return _draw(services, load_id, receipt_id, taken_as=taken)
    try:
        with services.start_work(writing=False) as work:
            minutes = work.loads.receipt(receipt_id).utc_offset_min
        desk = desk_of(services, form, utc_offset_min=minutes)
        confirm_list(receipt_id, taken_as=taken, desk=desk, start_work=services.start_work)
    except (*REFUSALS, NotFound) as refusal:
        return _draw(services, load_id, receipt_id, taken_as=taken, refusal=refusal)
    return RedirectResponse(f"/loads/{load_id}/received/{receipt_id}", status_code=303)
