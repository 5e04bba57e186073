"""Hole: its facts, its findings, the run table with findings beside the row, and the depth strip."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from trayside.app.hole_view import HoleView, view_hole
from trayside.app.ports import Work
from trayside.app.run_lines import run_lines
from trayside.model.finding import gravest
from trayside.model.station import Station, station

from .asking import hole_in, services_of
from .depth_strip import depth_strip
from .page import amounts_of, gravest_first, page


def hole_screen(request: Request) -> Response:
    with services_of(request).start_work(writing=False) as work:
        view = view_hole(work, hole_in(request))
        stands = station_of(work, view)
    amounts = amounts_of(view.rules)
    by_run: dict[int, list] = {}
    for finding in view.findings:
        if finding.run is not None:
            by_run.setdefault(finding.run, []).append(finding)
    drilled_mm = sum(run.to_mm - run.from_mm for run in view.depth.runs)
    recovered_mm = sum(run.recovered_mm for run in view.depth.runs)
    return page(
        "hole.html",
        yard=view.rules.yard,
        view=view,
        hole=view.core.hole,
        amounts=amounts,
        station=stands,
        strip=depth_strip(view, amounts),
        lines=run_lines(view),
        by_run=by_run,
        gravest=gravest,
        others=gravest_first(finding for finding in view.findings if finding.run is None),
        core_sizes=", ".join(dict.fromkeys(run.core_size for run in view.core.runs)),
        has_stubs=view.rules.depth.credit_stubs and bool(view.depth.balance.stub_m.any()),
        drilled_mm=drilled_mm,
        recovered_mm=recovered_mm,
    )


def station_of(work: Work, view: HoleView) -> Station:
    """Where the hole stands, by the rule of the yard screen."""
    stops = sum(finding.severity == "stop" for finding in view.findings)
    sheet = view.sheet
    if sheet is None:
        return station(stops=stops, version=None, issued_version=None)
    issued = sheet.revision > 0 and work.revision(view.hole_id, sheet.revision).rows == sheet.rows
    return station(stops=stops, version=sheet.version, issued_version=sheet.version if issued else None)
