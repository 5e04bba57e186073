"""Addresses of the results screens."""

from __future__ import annotations

from starlette.routing import Route

from . import assays_screen, batch_screen, design_screen, element_screen, results_screen, sample_screen
from .asking import posted

RESULTS_ROUTES: tuple[Route, ...] = (
    Route("/results/design", design_screen.design_screen),
    Route("/results/element/{element}", element_screen.element_screen),
    Route("/results/element/{element}/figure/{figure}.json", element_screen.element_figure),
    Route("/results/element/{element}/table/{figure}", element_screen.element_table),
    Route("/results", results_screen.results_screen),
    Route("/results/{certificate_id}", batch_screen.batch_screen),
    Route("/results/{certificate_id}/request.pdf", batch_screen.request_paper),
    Route("/results/{certificate_id}/request-{name}.csv", batch_screen.request_table),
    Route("/results/{certificate_id}/sign", posted(batch_screen.sign), methods=["POST"]),
    Route("/charts/{version}/charts.js", element_screen.chart_program),
    Route("/hole/{hole_id}/assays", assays_screen.assays_screen),
    Route("/hole/{hole_id}/assays/{name}.csv", assays_screen.assays_table),
    Route("/sample/{number:path}", sample_screen.sample_screen),
)
