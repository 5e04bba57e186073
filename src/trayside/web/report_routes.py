"""Addresses of the report."""

from __future__ import annotations

from starlette.routing import Route

from . import report_screen

REPORT_ROUTES: tuple[Route, ...] = (
    Route("/report", report_screen.report_screen),
    Route("/report/report.pdf", report_screen.report_pdf),
    Route("/report/report.html", report_screen.report_html),
)
