"""Sheet: the plan as it stands, changes shown before they are saved, and what to do when somebody saved first."""

from __future__ import annotations

import json

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from trayside.app.bag_limits import bag_limits
from trayside.app.check_sheet import sheet_findings
from trayside.app.cut_advice import cut_advice
from trayside.app.edit_sheet import Edit, Preview, edited, preview_edit, save_edit
from trayside.app.hole_view import HoleView, view_hole
from trayside.app.papers import TICKET_STOCKS
from trayside.app.plan_findings import is_sheet_finding
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule, TraysideError
from trayside.model.cut_sheet import SheetRow

from .addresses import hole_address
from .asking import Form, hole_in, one, services_of, whole_number
from .cut_screen import panel_values
from .faults import status_of
from .hole_screen import station_of
from .page import Amounts, amounts_of, gravest_first, page, part
from .sample_strip import sample_strip
from .services import Services
from .sheet_edits import (
    edits_from_list,
    edits_from_text,
    edits_to_text,
    in_words,
    seen_from_text,
    seen_text,
    tidied,
    typed_edit,
)
from .sheet_lines import kinds_in_words, sheet_lines
from .visitor import VISITOR
from .words import counted, say

CHANGES_SHOWN = 12
LONGEST_NAME = 80
TOLD_ELSEWHERE = ("control.power", "plan.stale")


def sheet_screen(request: Request) -> Response:
    return draw_sheet(services_of(request), hole_in(request))


def draw_sheet(
    services: Services,
    hole_id: str,
    *,
    preview: Preview | None = None,
    edits: tuple[Edit, ...] = (),
    refusal: TraysideError | None = None,
    typed: Form | None = None,
    base_version: int | None = None,
) -> Response:
    """The sheet page: as stored, or with changes not saved yet, and with the reason why something was refused."""
    with services.start_work(writing=False) as work:
        view = view_hole(work, hole_id)
        station = station_of(work, view)
    if preview is not None and view.sheet is not None and view.sheet.version != preview.base_version:
        return conflict(services, hole_id, edits=edits, form=typed or {})
    status = status_of(refusal) if refusal else 200
    values = {
        "yard": view.rules.yard,
        "view": view,
        "amounts": amounts_of(view.rules),
        "station": station,
        "refusal": refusal,
        "typed": {name: held[-1] for name, held in (typed or {}).items()},
    }
    if view.sheet is None:
        stops = [finding for finding in view.findings if finding.severity == "stop"]
        return page("sheet_none.html", status=status, stops=stops, **values)
    return page(
        "sheet.html",
        status=status,
        base_version=view.sheet.version if base_version is None else base_version,
        seen=seen_text(view.sheet.rows),
        edits_text=edits_to_text(edits),
        stocks=TICKET_STOCKS,
        issued_same=station == "to cut" or _issued_same(services, view),
        limits=bag_limits(view),
        **values,
        **panel_values(view, cut_advice(view)),
        **plan_values(view, preview, edits),
    )


def plan_values(view: HoleView, preview: Preview | None, edits: tuple[Edit, ...]) -> dict:
    """What the parts of the page that change with an edit are drawn from."""
    amounts, saved = amounts_of(view.rules), view.sheet
    sheet = preview.sheet if preview else saved
    if preview:
        findings = (*(finding for finding in view.findings if not is_sheet_finding(finding)), *preview.findings)
    else:
        findings = sheet_findings(view)
    numbers = {row.number for row in sheet.rows}
    changes = preview.changes if preview else ()
    return {
        "lines": sheet_lines(sheet.rows, findings, amounts, before=saved.rows if preview else None),
        "others": gravest_first(
            finding for finding in findings if finding.number not in numbers and finding.code not in TOLD_ELSEWHERE
        ),
        "power": next((finding for finding in findings if finding.code == "control.power"), None),
        "stops": [finding for finding in findings if finding.severity == "stop"],
        "strip": sample_strip(view, sheet.rows, sheet.by_hand, amounts),
        "bags": counted(len(sheet.rows), "bag"),
        "kinds": kinds_in_words(sheet.rows),
        "sampled_mm": sum(row.to_mm - row.from_mm for row in sheet.rows if row.kind == "sample"),
        "mass_kg": sum(row.expected_kg or 0.0 for row in sheet.rows if row.is_core),
        "racks": max((row.rack for row in sheet.rows), default=0),
        "pending": [in_words(edit, amounts) for edit in edits],
        "changes": changes[:CHANGES_SHOWN],
        "changes_more": max(0, len(changes) - CHANGES_SHOWN),
        "previewed": preview is not None,
        "editable": True,
    }


def _issued_same(services: Services, view: HoleView) -> bool:
    """Whether the draft is what the newest revision holds, also while findings keep the hole from being cut."""
    if not view.sheet.revision:
        return False
    with services.start_work(writing=False) as work:
        return work.revision(view.hole_id, view.sheet.revision).rows == view.sheet.rows


async def preview_sheet(request: Request) -> Response:
    """The page's script asks what its changes would do: the parts of the page to show, nothing saved."""
    try:
        told = json.loads(await request.body())
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict) or type(told.get("base_version")) is not int:
        raise ImpossibleValue(say("fault.broken"), where="sheet", remedy=say("fault.broken.do"))
    return await run_in_threadpool(_preview, services_of(request), hole_in(request), told)


def _preview(services: Services, hole_id: str, told: dict) -> Response:
    view, amounts = _view(services, hole_id)
    edits = edits_from_list(told.get("edits"), unit=amounts.unit)
    preview = _previewed(services, hole_id, edits, told["base_version"]) if edits else None
    values = plan_values(view, preview, edits) | {"view": view, "amounts": amounts}
    return JSONResponse(
        {
            "edits": json.loads(edits_to_text(edits)),
            "parts": {
                name: part(f"sheet_{name}.html", **values)
                for name in ("summary", "strip", "rows", "findings", "changes")
            },
        }
    )


def try_edits(request: Request, form: Form) -> Response:
    """The same for plain forms: the page again with the changes shown, and a button to save them."""
    services, hole_id = services_of(request), hole_in(request)
    view, amounts = _view(services, hole_id)
    base_version = whole_number(one(form, "base_version"), "version")
    edits = edits_from_text(one(form, "edits"), unit=amounts.unit)
    if view.sheet is None:
        raise NotFound("no plan to edit", where=hole_id, remedy="Plan the hole first")
    if view.sheet.version != base_version:
        return conflict(services, hole_id, edits=edits, form=form)
    try:
        more = typed_edit(form, _rows_after(services, view, edits, base_version), unit=amounts.unit)
        wanted = tidied([*edits, more]) if more else edits
        preview = _previewed(services, hole_id, wanted, base_version) if wanted else None
    except ChangedMeanwhile:
        return conflict(services, hole_id, edits=edits, form=form)
    except (ImpossibleValue, RefusedByRule) as refusal:
        return _refused(services, hole_id, edits, base_version, refusal, form)
    kept = {name: held for name, held in form.items() if name == "edited_by"}
    return draw_sheet(services, hole_id, preview=preview, edits=wanted, typed=kept)


def save_edits(request: Request, form: Form) -> Response:
    """Save the changes under a name; told when somebody saved first."""
    services, hole_id = services_of(request), hole_in(request)
    view, amounts = _view(services, hole_id)
    edits = edits_from_text(one(form, "edits"), unit=amounts.unit)
    base_version = whole_number(one(form, "base_version"), "version")
    name = VISITOR.get().name or " ".join(one(form, "edited_by").split())
    try:
        if view.sheet is not None and view.sheet.version == base_version and not 0 < len(name) <= LONGEST_NAME:
            raise RefusedByRule(say("name.missing"), where=hole_id, remedy=say("name.remedy"))
        save_edit(
            hole_id,
            edits=edits,
            base_version=base_version,
            edited_by=name,
            start_work=services.start_work,
            make_id=services.make_id,
        )
    except ChangedMeanwhile:
        return conflict(services, hole_id, edits=edits, form=form)
    except (ImpossibleValue, RefusedByRule) as refusal:
        return _refused(services, hole_id, edits, base_version, refusal, form)
    return RedirectResponse(hole_address(hole_id, "sheet"), status_code=303)


def _refused(
    services: Services, hole_id: str, edits: tuple[Edit, ...], base_version: int, refusal: TraysideError, form: Form
) -> Response:
    """The page with the reason, and with the changes still on it where they can be shown."""
    try:
        preview = _previewed(services, hole_id, edits, base_version) if edits else None
    except (ImpossibleValue, RefusedByRule, NotFound):
        preview = None
    return draw_sheet(services, hole_id, preview=preview, edits=edits, refusal=refusal, typed=form)


def conflict(services: Services, hole_id: str, *, edits: tuple[Edit, ...], form: Form) -> Response:
    """Your changes and the newer plan side by side, with the offer to make the changes on the newer plan."""
    view, amounts = _view(services, hole_id)
    fitting, told = [], []
    for edit in edits:
        try:
            edited(view.sheet, (*fitting, edit))
        except ImpossibleValue as refusal:
            told.append((in_words(edit, amounts), refusal.what))
        else:
            fitting.append(edit)
            told.append((in_words(edit, amounts), ""))
    return page(
        "conflict.html",
        status=409,
        yard=view.rules.yard,
        view=view,
        told=told,
        fitting=len(fitting),
        edits_text=edits_to_text(tuple(fitting)),
        name=one(form, "edited_by"),
        theirs=_meanwhile(view, one(form, "seen"), amounts),
    )


def _meanwhile(view: HoleView, seen: str, amounts: Amounts) -> list[str] | None:
    """What the newer plan holds that the page did not show, and the other way round; None when that is not known."""
    before = seen_from_text(seen)
    if before is None:
        return None
    now = tuple((row.from_mm, row.to_mm) for row in view.sheet.rows if row.kind == "sample")
    gone = [(span, "conflict.gone") for span in before if span not in set(now)]
    new = [(span, "conflict.new") for span in now if span not in set(before)]
    return [say(key, span=amounts.span(*span)) for span, key in sorted(gone + new)]


def _rows_after(services: Services, view: HoleView, edits: tuple[Edit, ...], base_version: int) -> tuple[SheetRow, ...]:
    """The rows a typed depth is about: those on the page, with the changes already shown there."""
    return _previewed(services, view.hole_id, edits, base_version).sheet.rows if edits else view.sheet.rows


def _previewed(services: Services, hole_id: str, edits: tuple[Edit, ...], base_version: int) -> Preview:
    def reading(*, writing: bool = False):
        return services.start_work(writing=writing)

    return preview_edit(hole_id, edits=edits, base_version=base_version, start_work=reading, make_id=services.make_id)


def _view(services: Services, hole_id: str) -> tuple[HoleView, Amounts]:
    with services.start_work(writing=False) as work:
        view = view_hole(work, hole_id)
    return view, amounts_of(view.rules)
