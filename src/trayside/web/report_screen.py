"""Report: choose a period, read the first page, take it away as PDF or as one HTML file."""

from __future__ import annotations

from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from trayside.app.make_report import make_report
from trayside.app.report import Period, QcReport, typed_period

from .asking import services_of
from .page import page

HTML_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'none'"
"""The report is one file with its styles in it; it runs nothing and fetches nothing."""


def report_screen(request: Request) -> Response:
    asked = request.query_params
    report = _report(request)
    query = urlencode({"from": asked.get("from", ""), "to": asked.get("to", "")})
    return page(
        "report.html",
        yard=report.yard,
        report=report,
        first=asked.get("from", ""),
        last=asked.get("to", ""),
        pdf=f"/report/report.pdf?{query}",
        html=f"/report/report.html?{query}",
    )


def report_pdf(request: Request) -> Response:
    headers = {"Content-Disposition": 'inline; filename="qc-report.pdf"'}
    return Response(services_of(request).papers.report(_report(request)), media_type="application/pdf", headers=headers)


def report_html(request: Request) -> Response:
    headers = {"Content-Disposition": 'attachment; filename="qc-report.html"', "Content-Security-Policy": HTML_POLICY}
    return HTMLResponse(services_of(request).papers.report_html(_report(request)), headers=headers)


def _report(request: Request) -> QcReport:
    services, period = services_of(request), _period(request)
    return make_report(period, made_at=services.clock(), start_work=services.start_work)


def _period(request: Request) -> Period:
    return typed_period(request.query_params.get("from", ""), request.query_params.get("to", ""))
