"""Assays of a hole: what is released and what is held back, composites, intercepts, and their CSV files."""

from __future__ import annotations

import re

import numpy as np
from starlette.requests import Request
from starlette.responses import Response

from trayside.app.charts.assays import grade_figure
from trayside.app.charts.contents import content_unit
from trayside.app.judge_batch import judge_yard
from trayside.app.released_assays import (
    ReleasedAssays,
    composites_csv,
    intercepts_csv,
    released_assays,
    released_elements,
    results_csv,
)
from trayside.errors import NotFound

from .addresses import hole_address
from .asking import hole_in, read_rules, services_of
from .design_screen import in_page
from .page import page

WRITTEN = {"results": results_csv, "composites": composites_csv, "intercepts": intercepts_csv}


def assays_screen(request: Request) -> Response:
    services, hole_id = services_of(request), hole_in(request)
    with services.start_work(writing=False) as work:
        work.hole_core(hole_id)  # NotFound when the yard does not hold it
        elements = released_elements(judge_yard(work), hole_id)
        wanted = request.query_params.get("element") or _first(elements, judge_yard(work).rules.results.steering_element)
        made = _released(work, hole_id, wanted, elements) if elements else None
    unit = content_unit(made.element, typical_ppm=_typical(made)) if made else None
    scripts = services.chart_scripts
    return page(
        "assays.html",
        yard=read_rules(services).yard,
        hole_id=hole_id,
        elements=elements,
        made=made,
        unit=unit,
        figure=grade_figure(made, unit) if made else None,
        in_page=in_page,
        number=number,
        chart_program=f"/charts/{scripts.version}/charts.js" if scripts else None,
        written={name: hole_address(hole_id, f"assays/{name}.csv", element=wanted) for name in WRITTEN},
    )


def assays_table(request: Request) -> Response:
    """Results, composites or intercepts of one element as CSV."""
    hole_id, name = hole_in(request), request.path_params["name"]
    if name not in WRITTEN:
        raise NotFound(f"no table {name[:20]!r}", where=hole_id, remedy=f"Choose one of {', '.join(WRITTEN)}")
    with services_of(request).start_work(writing=False) as work:
        elements = released_elements(judge_yard(work), hole_id)
        made = _released(work, hole_id, request.query_params.get("element", ""), elements)
    stem = re.sub(r"[^A-Za-z0-9._-]", "-", f"{hole_id}-{made.element}-{name}")
    return Response(
        WRITTEN[name](made).encode(),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{stem}.csv"'},
    )


def _first(elements: tuple[str, ...], steering: str) -> str:
    return steering if steering in elements else next(iter(elements), "")


def _released(work, hole_id: str, element: str, elements: tuple[str, ...]) -> ReleasedAssays:
    if element not in elements:
        raise NotFound(
            f"no result of {element[:20] or 'that element'} in this hole",
            where=hole_id,
            remedy=f"Choose one of {', '.join(elements)}" if elements else "Import a certificate first",
        )
    return released_assays(work, hole_id, element)


def _typical(made: ReleasedAssays) -> float:
    return max((row.value_ppm for row in made.results if row.value_ppm is not None), default=0.0)


def number(value: float | None, decimals: int = 2) -> str:
    """A number of a table; a dash where there is none."""
    return "–" if value is None or np.isnan(value) else f"{value:.{decimals}f}"
