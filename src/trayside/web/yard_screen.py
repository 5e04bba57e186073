"""Yard: one line a hole, where it stands, what waits; planning from here."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.plan_samples import plan_samples, plan_yard
from trayside.app.ports import StationRow
from trayside.app.yard_rules import rules_of
from trayside.errors import NotFound, RefusedByRule
from trayside.model.station import STATIONS

from .addresses import hole_address
from .asking import Form, services_of
from .page import amounts_of, page
from .words import counted, say

HOLES_A_PAGE = 40


@dataclass(frozen=True, slots=True)
class YardLine:
    """A hole on the yard screen with its words. `can_plan`: a press of the button would plan it."""

    row: StationRow
    waits: str
    can_plan: bool


def yard_screen(request: Request) -> Response:
    """The page of holes asked for."""
    services = services_of(request)
    station = request.query_params.get("station") or None
    if station is not None and station not in STATIONS:
        raise NotFound(f"no station {station[:40]!r}", where="yard", remedy=f"Stations are {', '.join(STATIONS)}")
    number = _page_number(request.query_params.get("page", "1"))
    with services.start_work(writing=False) as work:
        held = work.station_page(first=(number - 1) * HOLES_A_PAGE, count=HOLES_A_PAGE, station=station)
        rules, shared = rules_of(work), work.yard_findings()
    pages = max(1, -(-held.total // HOLES_A_PAGE))
    if number > pages:
        raise NotFound(f"the yard has {pages} pages of holes", where=f"page {number}", remedy="Go to the first page")
    lines = [_line(row) for row in held.rows]
    return page(
        "yard.html",
        yard=rules.yard,
        amounts=amounts_of(rules),
        lines=lines,
        stations=[(name, *held.stations.get(name, (0, 0))) for name in STATIONS],
        holes=sum(holes for holes, _ in held.stations.values()),
        core_mm=sum(core_mm for _, core_mm in held.stations.values()),
        station=station,
        first=(number - 1) * HOLES_A_PAGE + 1,
        total=held.total,
        number=number,
        pages=pages,
        plannable=sum(line.can_plan for line in lines),
        shared=shared,
    )


def _line(row: StationRow) -> YardLine:
    bags = counted(row.samples + row.controls, "bag")
    match row.station:
        case "to settle":
            findings = counted(row.stops, "finding")
            waits = say("waits.settle_planned" if row.samples else "waits.settle", findings=findings)
        case "to plan":
            waits = say("waits.plan", trays=counted(row.trays, "tray"))
        case "to issue" if row.revision:
            waits = say("waits.reissue", revision=row.revision)
        case "to issue":
            waits = say("waits.issue", bags=bags)
        case _:
            waits = say("waits.cut", revision=row.revision, bags=bags)
    return YardLine(row, waits, can_plan=row.station == "to plan")


def plan_from_yard(request: Request, form: Form) -> Response:
    """Plan one hole and show its sheet, or all that were on the page and say what came of it."""
    services = services_of(request)
    alone = form.get("hole_id", [])
    if alone:
        plan_samples(alone[0], start_work=services.start_work, make_id=services.make_id)
        return RedirectResponse(hole_address(alone[0], "sheet"), status_code=303)
    wanted = tuple(form.get("on_page", [])[:HOLES_A_PAGE])
    planned = plan_yard(start_work=services.start_work, make_id=services.make_id, hole_ids=wanted)
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
    return page(
        "planned.html",
        yard=rules.yard,
        done=[
            (hole_id, counted(len(plan.sheet.rows), "bag"))
            for hole_id, plan in planned.items()
            if not isinstance(plan, RefusedByRule)
        ],
        refused=[(hole_id, plan) for hole_id, plan in planned.items() if isinstance(plan, RefusedByRule)],
    )


def find_hole(request: Request) -> Response:
    """From the search box to the hole; the name may be typed in any case."""
    services = services_of(request)
    typed = " ".join(request.query_params.get("hole", "").split())
    with services.start_work(writing=False) as work:
        names = work.hole_ids()
    found = typed if typed in names else next((name for name in names if name.casefold() == typed.casefold()), None)
    if found is None:
        raise NotFound(say("find.none"), where=typed[:60], remedy=say("find.remedy"))
    return RedirectResponse(hole_address(found), status_code=303)


def _page_number(text: str) -> int:
    if not text.isdecimal() or not 0 < int(text[:9]) < 10**6:
        raise NotFound("no such page of holes", where=f"page {text[:20]}", remedy="Go to the first page")
    return int(text)
