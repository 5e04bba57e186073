"""The papers of a hole as PDF files."""

from __future__ import annotations

import re

from starlette.requests import Request
from starlette.responses import Response

from trayside.app.hole_view import HoleView, view_hole
from trayside.app.papers import TICKET_STOCKS
from trayside.errors import NotFound
from trayside.model.cut_sheet import Revision

from .asking import hole_in, services_of, whole_number


def cut_sheet_paper(request: Request) -> Response:
    """The draft, or with ?revision=n an issued revision."""
    view, revision = _asked(request, with_rows=True)
    state = f"revision-{revision.revision}" if revision else "draft"
    return _pdf(services_of(request).papers.cut_sheet(view, revision), view, f"cut-sheet-{state}")


def tray_sheet_paper(request: Request) -> Response:
    view, _ = _asked(request, with_rows=False)
    return _pdf(services_of(request).papers.tray_sheet(view), view, "tray-sheet")


def tickets_paper(request: Request) -> Response:
    """Tickets for one of the stocks of labels or sheets."""
    stock = request.query_params.get("stock", TICKET_STOCKS[0])
    if stock not in TICKET_STOCKS:
        raise NotFound(
            f"no ticket stock {stock[:40]!r}", where="papers", remedy=f"Choose one of {', '.join(TICKET_STOCKS)}"
        )
    view, revision = _asked(request, with_rows=True)
    return _pdf(services_of(request).papers.tickets(view, revision, stock), view, f"tickets-{stock}")


def _asked(request: Request, *, with_rows: bool) -> tuple[HoleView, Revision | None]:
    hole_id, asked = hole_in(request), request.query_params.get("revision", "")
    with services_of(request).start_work(writing=False) as work:
        view = view_hole(work, hole_id)
        revision = work.revision(hole_id, whole_number(asked, "revision")) if asked else None
    if with_rows and view.sheet is None:
        raise NotFound("there is no plan to print", where=hole_id, remedy="Plan the hole first")
    return view, revision


def _pdf(content: bytes, view: HoleView, name: str) -> Response:
    stem = re.sub(r"[^A-Za-z0-9._-]", "-", view.hole_id)
    return Response(
        content,
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{stem}-{name}.pdf"'},
    )
