"""Import: a certificate is sent, shown as it would be read beside how it was written, settled, confirmed, brought in."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.certificate_reading import Proposal
from trayside.app.import_certificate import Look
from trayside.app.yard_rules import rules_of
from trayside.errors import ChangedMeanwhile, ImpossibleValue, LoadRefused, NotFound, RefusedByRule, TraysideError

from .asking import Form, one, services_of
from .desk import desk_of, yard_offset
from .faults import status_of
from .import_shelf import ImportShelf, Upload
from .page import amounts_of, gravest_first, page
from .services import Services
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule, ChangedMeanwhile, LoadRefused)
SETTLE = "set:"
CHANGES_SHOWN = 25
WAITS_SHOWN = 400
LONGEST_ANSWER = 200
PLACES = (
    "sheet", "layout", "header_row", "first_row", "unit_row", "method_row", "lower_row", "upper_row", "number_column",
    "kind_column", "rack_column", "mass_column", "mass_unit", "element_column", "value_column", "unit_column",
    "method_column", "lower_column", "upper_column", "qualifier_column", "decimal_mark",
)  # fmt: skip
OF_COLUMN = ("element", "unit", "method", "lower", "upper")


def shelf_of(request: Request) -> ImportShelf:
    state = request.app.state
    if not hasattr(state, "import_shelf"):
        state.import_shelf = ImportShelf()
    return state.import_shelf


def import_screen(request: Request) -> Response:
    return _draw_empty(services_of(request))


def _draw_empty(
    services: Services, *, refusal: TraysideError | None = None, faults: tuple = (), typed: Form | None = None
) -> Response:
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
        laboratories = sorted({mapping.laboratory for mapping in work.assays.mappings()})
        laboratories += [name for name in _load_laboratories(work) if name not in laboratories]
    return page(
        "import.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        refusal=refusal,
        faults=faults,
        laboratories=laboratories,
        typed={key: one(typed or {}, key) for key in ("laboratory", "job", "reported")},
        can_read=services.open_certificate is not None,
    )


def _load_laboratories(work) -> list[str]:
    return list(dict.fromkeys(load.request.laboratory for load in work.loads.loads()))


async def take_file(request: Request) -> Response:
    """The file that was sent: opened and kept in memory; nothing is stored yet."""
    async with request.form(max_files=1) as form:
        fields: Form = {}
        content, name = b"", ""
        for key, value in form.multi_items():
            if isinstance(value, UploadFile):
                content, name = await value.read(), value.filename or ""
            else:
                fields.setdefault(key, []).append(str(value))
    return await run_in_threadpool(_take, services_of(request), shelf_of(request), fields, content, name)


def _take(services: Services, shelf: ImportShelf, form: Form, content: bytes, name: str) -> Response:
    try:
        if services.open_certificate is None:
            raise TraysideError(say("import.cannot"), where=name, remedy=say("import.cannot.do"))
        if not content:
            raise ImpossibleValue(say("import.no_file"), where=say("import.title"), remedy=say("import.no_file.do"))
        opened = services.open_certificate(content, source=name)
        said = {key: " ".join(one(form, key).split())[:LONGEST_ANSWER] for key in ("laboratory", "job", "reported")}
        settled = {key: text for key, text in said.items() if text}
        upload = Upload(services.make_id(), opened, len(content), settled)
        upload.look(services.start_work)
    except LoadRefused as refusal:
        return _draw_empty(services, refusal=refusal, faults=refusal.faults, typed=form)
    except (ImpossibleValue, RefusedByRule, NotFound) as refusal:
        return _draw_empty(services, refusal=refusal, typed=form)
    shelf.put(upload)
    return RedirectResponse(f"/results/import/{upload.upload_id}", status_code=303)


def upload_screen(request: Request) -> Response:
    services = services_of(request)
    upload = shelf_of(request).get(request.path_params["upload_id"])
    if upload.running:
        return _draw_progress(services, upload)
    if upload.brought is not None:
        return _draw_brought(services, upload)
    return _draw_look(services, upload, refusal=upload.error)


def _draw_progress(services: Services, upload: Upload) -> Response:
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
    return page(
        "import_progress.html",
        yard=rules.yard,
        upload=upload,
        percent_done=round(100 * upload.done / upload.total) if upload.total else 0,
    )


def _draw_brought(services: Services, upload: Upload) -> Response:
    brought = upload.brought
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
        certificate = work.assays.certificate(brought.certificate.certificate_id)
        changes = work.assays.changes(certificate.certificate_id, count=CHANGES_SHOWN) if brought.new else ()
    return page(
        "import_done.html",
        yard=rules.yard,
        brought=brought,
        certificate=certificate,
        held=brought.reconciliation,
        changes=changes,
        findings=gravest_first(certificate.findings),
    )


@dataclass(frozen=True, slots=True)
class Shown:
    """What the proposal page draws besides the proposal itself: where things stand, and what is changed."""

    places: tuple[tuple[str, str], ...]
    changes: tuple[dict, ...]
    changed: int
    compared: int


def _draw_look(
    services: Services, upload: Upload, *, refusal: TraysideError | None = None, faults: tuple = ()
) -> Response:
    try:
        seen = upload.look(services.start_work)
    except LoadRefused as error:
        return _draw_empty(services, refusal=error, faults=error.faults)
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
    return page(
        "import_look.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        amounts=amounts_of(rules),
        offset=yard_offset(rules),
        refusal=refusal,
        faults=faults or tuple(getattr(refusal, "faults", ())),
        upload=upload,
        seen=seen,
        proposal=seen.proposal,
        shown=_shown(seen),
        held=seen.reconciliation,
        waits=_misread_choices(seen),
        findings=gravest_first(seen.findings),
        columns=[(column, _in_force(seen.proposal)) for column in seen.proposal.columns],
    )


def _shown(seen: Look) -> Shown:
    proposal = seen.proposal
    layout = {"layout": proposal.layout, "decimal_mark": proposal.settled.get("decimal_mark", "")}
    stand = {key: str(text) for key, text in proposal.places.items()} | layout
    if "mass_unit" in proposal.settled:
        stand["mass_unit"] = proposal.settled["mass_unit"]
    wide_only = ("unit_row", "method_row", "lower_row", "upper_row")
    long_only = ("element_column", "value_column", "unit_column", "method_column", "lower_column", "upper_column",
                 "qualifier_column")  # fmt: skip
    hidden = long_only if proposal.layout == "wide" else wide_only
    places = tuple(
        (key, stand.get(key, "")) for key in PLACES if key not in hidden and (key != "sheet" or proposal.form == "xlsx")
    )
    if seen.changes is None:
        return Shown(places, (), 0, 0)
    frame = seen.changes.frame
    return Shown(places, tuple(frame.head(CHANGES_SHOWN).iter_rows(named=True)), frame.height, seen.changes.compared)


def _misread_choices(seen: Look) -> list[tuple[str, str, list[str]]]:
    """For each number that was never issued: what it may be, the suggestion first."""
    held = seen.reconciliation
    if held is None:
        return []
    return [
        (
            one.unknown,
            one.suggestion or "",
            [n for n in (one.suggestion, *one.rivals, *held.missing[:WAITS_SHOWN]) if n is not None and n != ""],
        )
        for one in held.suggestions[:40]
    ]


def _in_force(proposal: Proposal) -> dict[str, str]:
    """What every input of the page says as long as nobody changes it."""
    said = {key: str(text) for key, text in proposal.places.items()}
    said |= {"layout": proposal.layout, "decimal_mark": proposal.settled.get("decimal_mark", "")}
    said |= {"mass_unit": proposal.settled.get("mass_unit", "")}
    for column in proposal.columns:
        limits = {"lower": column.lower_limit, "upper": column.upper_limit}
        said |= {f"{side}:{column.key}": "" if limit is None else f"{limit:.10g}" for side, limit in limits.items()}
        said |= {
            f"element:{column.key}": column.element,
            f"unit:{column.key}": column.unit,
            f"method:{column.key}": column.method,
            f"use:{column.key}": "yes" if column.used else "no",
        }
    said |= {"laboratory": proposal.laboratory, "job": proposal.job}
    said["reported"] = f"{proposal.reported_at:%Y-%m-%d %H:%M}" if proposal.reported_at else ""
    return said


def act(request: Request, form: Form) -> Response:
    """Settle and look again, bring it in, stop, or give the file up."""
    services, shelf = services_of(request), shelf_of(request)
    upload = shelf.get(request.path_params["upload_id"])
    here = f"/results/import/{upload.upload_id}"
    what = one(form, "what")
    if what == "stop":
        upload.stop.set()
        return RedirectResponse(here, status_code=303)
    if what == "give up":
        upload.stop.set()
        shelf.drop(upload.upload_id)
        return RedirectResponse("/results/import", status_code=303)
    if upload.running or upload.brought is not None:
        return RedirectResponse(here, status_code=303)
    before = dict(upload.settled)
    try:
        _settle(upload, form, services)
        seen = upload.look(services.start_work)
        if what == "confirm" and seen.ready:
            upload.start(desk=desk_of(services, form, utc_offset_min=0), start_work=services.start_work)
    except (*REFUSALS, NotFound) as refusal:
        upload.settled = before
        return _draw_look(services, upload, refusal=refusal, faults=tuple(getattr(refusal, "faults", ())))
    return RedirectResponse(here, status_code=303)


def _settle(upload: Upload, form: Form, services: Services) -> None:
    """Take over what the form says otherwise than the page said."""
    in_force = _in_force(upload.look(services.start_work).proposal)
    upload.error = None
    settled = dict(upload.settled)
    for name, values in form.items():
        if not name.startswith(SETTLE):
            continue
        key, text = name.removeprefix(SETTLE), " ".join(values[-1].split())
        if len(key) > LONGEST_ANSWER or len(text) > LONGEST_ANSWER:
            raise ImpossibleValue(say("import.too_long"), where=key[:40], remedy=say("import.too_long.do"))
        if text == in_force.get(key, settled.get(key, "")):
            continue
        if not text and key.partition(":")[0] in ("lower", "upper"):
            settled[key] = "none"
        elif not text and key in ("unit_row", "method_row", "lower_row", "upper_row", "kind_column", "rack_column", "mass_column"):
            settled[key] = "0"
        elif text:
            settled[key] = text
        else:
            settled.pop(key, None)
    upload.settled = settled
