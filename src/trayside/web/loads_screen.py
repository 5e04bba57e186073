"""Loads: bags that wait for a sack, sacks that wait for a load, and every load."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.bag_views import hole_bags
from trayside.app.dispatch import make_load
from trayside.app.load_view import load_lines, loaded_sacks
from trayside.app.pack_sacks import (
    PACKINGS,
    Packing,
    TrayReady,
    chosen_trays,
    pack,
    packings,
    reseal_sack,
    seal_sack,
    trays_to_pack,
    undo_sack,
)
from trayside.app.ports import Work
from trayside.app.yard_rules import rules_of
from trayside.core.units import kg_from_lb
from trayside.errors import ImpossibleValue, NotFound, RefusedByRule, TraysideError
from trayside.model.bag_states import restated
from trayside.model.event import moment
from trayside.model.load import Request as LoadRequest

from .asking import Form, one, services_of, whole_number
from .desk import desk_of
from .faults import status_of
from .page import amounts_of, page
from .services import Services
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule, NotFound)
FIELDS = (
    "laboratory", "custody_ref", "order_number", "instructions", "returns", "hazard", "carrier", "consignment", "contact"
)  # fmt: skip


def loads_screen(request: Request) -> Response:
    return draw_loads(services_of(request))


def draw_loads(
    services: Services,
    *,
    refusal: TraysideError | None = None,
    typed: Form | None = None,
    compared: tuple[Packing, ...] = (),
) -> Response:
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
        waiting = _waiting(work)
        _, free = loaded_sacks(work, work.loads.free_sacks())
        loads = load_lines(work)
    return page(
        "loads.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        amounts=amounts_of(rules),
        waiting=waiting,
        free=free,
        loads=loads,
        ways=PACKINGS,
        packing=rules.dispatch.packing,
        compared=compared,
        refusal=refusal,
        typed=typed or {},
        typed_fields={name: one(typed or {}, name) for name in (*FIELDS, "methods")},
        chosen=set((typed or {}).get("tray", [])),
    )


def _waiting(work: Work) -> list[TrayReady]:
    """Trays of every hole at which something was done and whose bags are not all in sacks."""
    found = []
    for hole_id in work.loads.holes_at_work():
        hole = hole_bags(work, hole_id)
        if hole is not None:
            found += trays_to_pack(hole)
    return found


def pack_trays(request: Request, form: Form) -> Response:
    """List the sacks, or only show what each way of packing would come to."""
    services = services_of(request)
    try:
        trays = [_tray(text) for text in form.get("tray", [])]
        if one(form, "what") == "compare":
            return draw_loads(services, typed=form, compared=_compare(services, trays))
        desk = _desk(services, form)
        pack(trays, way=one(form, "way") or None, desk=desk, start_work=services.start_work)
    except REFUSALS as refusal:
        return draw_loads(services, refusal=refusal, typed=form)
    return RedirectResponse("/loads#sacks", status_code=303)


def _compare(services: Services, trays: list[tuple[str, int]]) -> tuple[Packing, ...]:
    with services.start_work(writing=False) as work:
        bags, hole_of = chosen_trays(work, trays)
        settings = rules_of(work).dispatch
    return packings(
        [bag.mass_g / 1000 for bag in bags], group=[hole_of[bag.number] for bag in bags], settings=settings
    )


def _tray(text: str) -> tuple[str, int]:
    hole_id, _, tray = text.rpartition("/")
    return hole_id, whole_number(tray, "tray")


def make(request: Request, form: Form) -> Response:
    services = services_of(request)
    try:
        load = make_load(
            request_of(form), form.get("sack", []), desk=_desk(services, form), start_work=services.start_work
        )
    except REFUSALS as refusal:
        return draw_loads(services, refusal=refusal, typed=form)
    return RedirectResponse(f"/loads/{load.load_id}", status_code=303)


def request_of(form: Form) -> LoadRequest:
    methods = tuple(one(form, "methods").replace("\r\n", "\n").split("\n"))
    return LoadRequest(methods=methods, **{name: one(form, name) for name in FIELDS})


def _desk(services: Services, form: Form):
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
    return desk_of(services, form, utc_offset_min=rules.dispatch.utc_offset_min)


# one sack


def sack_screen(request: Request) -> Response:
    return _draw_sack(services_of(request), request.path_params["sack_id"])


def _draw_sack(
    services: Services, sack_id: str, *, refusal: TraysideError | None = None, typed: Form | None = None
) -> Response:
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
        _, (sack,) = loaded_sacks(work, [work.loads.sack(sack_id)])
    first_seal = ""
    if sack.sealed is not None:
        first_seal = str(restated(sack.sealed).get("seal", ("", ""))[0])
    return page(
        "sack.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        amounts=amounts_of(rules),
        sack=sack,
        void=[bag.number for bag in sack.bags if bag is not None and bag.state == "void"],
        first_seal=first_seal,
        sealed_at=moment(sack.sealed.event.captured_at) if sack.sealed else None,
        refusal=refusal,
        typed=typed or {},
    )


def seal(request: Request, form: Form) -> Response:
    services, sack_id = services_of(request), request.path_params["sack_id"]
    try:
        seal_sack(
            sack_id,
            seal=one(form, "seal"),
            counted=_count(one(form, "counted")),
            gross_g=_grams(services, one(form, "gross")),
            desk=_desk(services, form),
            start_work=services.start_work,
        )
    except (ImpossibleValue, RefusedByRule) as refusal:
        return _draw_sack(services, sack_id, refusal=refusal, typed=form)
    return RedirectResponse(f"/sacks/{sack_id}", status_code=303)


def reseal(request: Request, form: Form) -> Response:
    services, sack_id = services_of(request), request.path_params["sack_id"]
    try:
        reseal_sack(
            sack_id,
            seal=one(form, "seal"),
            reason=one(form, "reason"),
            leave_out=form.get("leave_out", []),
            desk=_desk(services, form),
            start_work=services.start_work,
        )
    except (ImpossibleValue, RefusedByRule) as refusal:
        return _draw_sack(services, sack_id, refusal=refusal, typed=form)
    return RedirectResponse(f"/sacks/{sack_id}", status_code=303)


def undo(request: Request, form: Form) -> Response:
    services, sack_id = services_of(request), request.path_params["sack_id"]
    try:
        undo_sack(sack_id, desk=_desk(services, form), start_work=services.start_work)
    except (ImpossibleValue, RefusedByRule) as refusal:
        return _draw_sack(services, sack_id, refusal=refusal, typed=form)
    return RedirectResponse("/loads", status_code=303)


def _count(text: str) -> int:
    if not text.strip():
        raise ImpossibleValue("no count was typed", where=say("sack.counted"), remedy="Count the bags and type how many")
    return whole_number(text.strip(), say("sack.counted"))


def _grams(services: Services, text: str) -> int | None:
    """A mass typed in the yard's unit, in grams."""
    plain = text.strip().replace(",", ".")
    if not plain:
        return None
    with services.start_work(writing=False) as work:
        unit = rules_of(work).paper.mass_unit
    try:
        mass = float(plain)
    except ValueError:
        mass = -1.0
    if not 0 < mass < 10_000:
        shown = f"{text.strip()[:20]!r} is not a mass"
        raise ImpossibleValue(shown, where=say("sack.gross"), remedy=f"Type it in {unit}, like 18.35")
    return round((kg_from_lb(mass_lb=mass) if unit == "lb" else mass) * 1000)
