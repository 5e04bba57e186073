"""One load: its sacks, findings, papers, sending, hand-overs and received lists."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.custody import custody_of, hand_over
from trayside.app.dispatch import change_load, send_load
from trayside.app.load_findings import load_findings
from trayside.app.load_view import LoadView, laboratory_csv, loaded_sacks, view_load
from trayside.app.typed_time import typed_time
from trayside.errors import ChangedMeanwhile, ImpossibleValue, RefusedByRule, TraysideError
from trayside.model.load import Load

from .asking import Form, one, services_of, whole_number
from .desk import desk_of, yard_offset
from .faults import status_of
from .loads_screen import FIELDS, request_of
from .page import amounts_of, page
from .services import Services
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule, ChangedMeanwhile)
SEALS = {"whole": True, "broken": False, "unsaid": None}


def load_screen(request: Request) -> Response:
    return draw_load(services_of(request), _load_id(request))


def _load_id(request: Request) -> str:
    return request.path_params["load_id"]


def draw_load(
    services: Services, load_id: str, *, refusal: TraysideError | None = None, typed: Form | None = None
) -> Response:
    with services.start_work(writing=False) as work:
        view = view_load(work, load_id)
        _, free = loaded_sacks(work, work.loads.free_sacks()) if view.load.sent_at is None else ({}, ())
    custody = custody_of(view)
    findings = view.load.findings if view.load.sent_at else load_findings(view)
    pairs = sum(one.pairs for one in view.witness.values())
    share = sum(one.share_seen * one.pairs for one in view.witness.values() if one.pairs)
    return page(
        "load.html",
        status=200 if refusal is None else status_of(refusal),
        yard=view.rules.yard,
        amounts=amounts_of(view.rules),
        view=view,
        load=view.load,
        free=free,
        findings=[finding for finding in findings if finding.code != "mass.cannot_see"],
        unseen=[finding for finding in findings if finding.code == "mass.cannot_see"],
        stops=sum(finding.severity == "stop" for finding in findings),
        warns=sum(finding.severity == "warn" for finding in findings),
        pairs=pairs,
        pairs_unseen=sum(one.pairs_unseen for one in view.witness.values()),
        share=share / pairs if pairs else None,
        custody=custody,
        offset=yard_offset(view.rules),
        fields=_fields(view.load, typed),
        on_load={sack.sack_id for sack in view.sacks} if not typed else set(typed.get("sack", [])),
        refusal=refusal,
        typed=typed or {},
        receives=services.read_received is not None,
    )


def _fields(load: Load, typed: Form | None) -> dict[str, str]:
    """What the form holds: what was typed, else what is stored."""
    held = {name: getattr(load.request, name) for name in FIELDS} | {"methods": "\n".join(load.request.methods)}
    if typed and "laboratory" in typed:
        held |= {name: one(typed, name) for name in held}
    return held


def change(request: Request, form: Form) -> Response:
    services, load_id = services_of(request), _load_id(request)
    try:
        change_load(
            load_id,
            request_of(form),
            form.get("sack", []),
            version=whole_number(one(form, "version"), "version"),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return draw_load(services, load_id, refusal=refusal, typed=form)
    return RedirectResponse(f"/loads/{load_id}", status_code=303)


def send(request: Request, form: Form) -> Response:
    services, load_id = services_of(request), _load_id(request)
    try:
        send_load(
            load_id,
            version=whole_number(one(form, "version"), "version"),
            statement=one(form, "statement"),
            desk=_desk(services, load_id, form),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return draw_load(services, load_id, refusal=refusal, typed=form)
    return RedirectResponse(f"/loads/{load_id}", status_code=303)


def give(request: Request, form: Form) -> Response:
    """A hand-over, with the time and the offset that were signed for."""
    services, load_id = services_of(request), _load_id(request)
    try:
        at, minutes = typed_time(one(form, "at"), offset=one(form, "offset"), what=say("custody.at"))
        seals = one(form, "seals", "unsaid")
        if seals not in SEALS:
            raise ImpossibleValue(say("fault.broken"), where=say("custody.seals"), remedy=say("fault.broken.do"))
        counted = one(form, "sacks").strip()
        hand_over(
            load_id,
            from_person=one(form, "from_person"),
            to_person=one(form, "to_person"),
            place=one(form, "place"),
            at=at,
            seals_intact=SEALS[seals],
            sacks=whole_number(counted, say("custody.sacks"), highest=10_000) if counted else None,
            meaning=one(form, "meaning"),
            desk=desk_of(services, form, utc_offset_min=minutes),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return draw_load(services, load_id, refusal=refusal, typed=form)
    return RedirectResponse(f"/loads/{load_id}#custody", status_code=303)


def _desk(services: Services, load_id: str, form: Form):
    with services.start_work(writing=False) as work:
        minutes = view_load(work, load_id).rules.dispatch.utc_offset_min
    return desk_of(services, form, utc_offset_min=minutes)


# papers


def note_paper(request: Request) -> Response:
    view = _view(request)
    return _file(services_of(request).papers.dispatch_note(view), "application/pdf", f"{view.load.load_id}-dispatch-note.pdf")


def laboratory_paper(request: Request) -> Response:
    view = _view(request)
    return _file(services_of(request).papers.laboratory_copy(view), "application/pdf", f"{view.load.load_id}-sample-list.pdf")


def laboratory_table(request: Request) -> Response:
    view = _view(request)
    content = laboratory_csv(view).encode()
    return _file(content, "text/csv; charset=utf-8", f"{view.load.load_id}-sample-list.csv", inline=False)


def _view(request: Request) -> LoadView:
    with services_of(request).start_work(writing=False) as work:
        return view_load(work, _load_id(request))


def _file(content: bytes, media_type: str, name: str, *, inline: bool = True) -> Response:
    shown = "inline" if inline else "attachment"
    return Response(content, media_type=media_type, headers={"Content-Disposition": f'{shown}; filename="{name}"'})

