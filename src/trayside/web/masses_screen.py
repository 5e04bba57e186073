"""Masses of one hole: every bag against its range, what was learned of rock and saw, both halves, and what mass cannot see."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from trayside.app.bag_views import hole_bags
from trayside.app.mass_lessons import learn_from_hole
from trayside.app.mass_witness import hear_masses
from trayside.app.yard_rules import rules_of
from trayside.errors import NotFound

from .asking import hole_in, services_of, whole_number
from .mass_strip import alignment_picture, residual_picture
from .page import amounts_of, gravest_first, page
from .words import say


def masses_screen(request: Request) -> Response:
    hole_id = hole_in(request)
    with services_of(request).start_work(writing=False) as work:
        rules, core = rules_of(work), work.hole_core(hole_id)
        hole = hole_bags(work, hole_id)
        lessons = None if hole is None else learn_from_hole(hole, core=core, rules=rules, stock=work.stock())
    findings, unseen = [], []
    if lessons is not None:
        told = [*lessons.findings, *lessons.witness.findings]
        findings = gravest_first(finding for finding in told if finding.code != "mass.cannot_see")
        unseen = [finding for finding in told if finding.code == "mass.cannot_see"]
    return page(
        "masses.html",
        yard=rules.yard,
        amounts=amounts_of(rules),
        hole_id=hole_id,
        lessons=lessons,
        findings=findings,
        unseen=unseen,
        coverage=rules.mass.coverage,
        picture=residual_picture(lessons.lines, coverage=rules.mass.coverage) if lessons else "",
        charts=[(chart, alignment_picture(chart)) for chart in lessons.charts] if lessons else [],
    )


def tray_masses(request: Request) -> Response:
    """What the masses say of one tray, for the tablet that is about to close it."""
    asked = request.query_params
    hole_id, tray = asked.get("hole", ""), whole_number(asked.get("tray", ""), say("loads.tray"))
    with services_of(request).start_work(writing=False) as work:
        rules, hole = rules_of(work), hole_bags(work, hole_id)
        if hole is None or not hole.of_trays([tray]):
            raise NotFound("there is no such tray on an issued sheet", where=hole_id[:40], remedy="Choose a tray on the list")
        witness = hear_masses(hole.bags, rules=rules, stock=work.stock())
    numbers = {bag.number for bag in hole.of_trays([tray])}
    here = gravest_first(finding for finding in witness.findings if finding.tray == tray or finding.number in numbers)
    return JSONResponse(
        {"findings": [{"code": one.code, "severity": one.severity, "what": one.message, "remedy": one.remedy} for one in here]},
        headers={"Cache-Control": "no-store"},
    )


MASS_ROUTES = (
    Route("/hole/{hole_id}/masses", masses_screen),
    Route("/bench/masses.json", tray_masses),
)
