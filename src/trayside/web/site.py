"""The site: every address with the screen behind it."""

from __future__ import annotations

from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from trayside.errors import TraysideError

from . import faults, hole_screen, paper_routes, sheet_acts, sheet_screen, trays_screen, yard_screen
from .access import Access
from .access_routes import ACCESS_ROUTES
from .asking import posted
from .bench_routes import BENCH_ROUTES
from .cut_routes import CUT_ROUTES
from .guards import Guards
from .import_routes import IMPORT_ROUTES
from .load_routes import LOAD_ROUTES
from .report_routes import REPORT_ROUTES
from .results_routes import RESULTS_ROUTES
from .safety_routes import SAFETY_ROUTES
from .saw_routes import SAW_ROUTES
from .services import Services
from .shift_routes import SHIFT_ROUTES

STATIC = Path(__file__).parent / "static"

ROUTES = (
    Route("/", yard_screen.yard_screen, name="yard"),
    Route("/find", yard_screen.find_hole),
    Route("/plan", posted(yard_screen.plan_from_yard), methods=["POST"]),
    Route("/hole/{hole_id}", hole_screen.hole_screen),
    Route("/hole/{hole_id}/trays", trays_screen.trays_screen),
    Route("/hole/{hole_id}/sheet", sheet_screen.sheet_screen),
    Route("/hole/{hole_id}/sheet/plan", posted(sheet_acts.plan_sheet), methods=["POST"]),
    Route("/hole/{hole_id}/sheet/preview", sheet_screen.preview_sheet, methods=["POST"]),
    Route("/hole/{hole_id}/sheet/try", posted(sheet_screen.try_edits), methods=["POST"]),
    Route("/hole/{hole_id}/sheet/save", posted(sheet_screen.save_edits), methods=["POST"]),
    Route("/hole/{hole_id}/sheet/issue", posted(sheet_acts.issue_sheet), methods=["POST"]),
    Route("/hole/{hole_id}/sheet/{revision}", sheet_acts.revision_screen),
    Route("/hole/{hole_id}/paper/cut-sheet.pdf", paper_routes.cut_sheet_paper),
    Route("/hole/{hole_id}/paper/tray-sheet.pdf", paper_routes.tray_sheet_paper),
    Route("/hole/{hole_id}/paper/tickets.pdf", paper_routes.tickets_paper),
    *BENCH_ROUTES,
    *CUT_ROUTES,
    *LOAD_ROUTES,
    *IMPORT_ROUTES,
    *RESULTS_ROUTES,
    *REPORT_ROUTES,
    *SAW_ROUTES,
    *SHIFT_ROUTES,
    *SAFETY_ROUTES,
    *ACCESS_ROUTES,
    Mount("/static", StaticFiles(directory=STATIC), name="static"),
)


def build_site(services: Services) -> Starlette:
    """The screens as an ASGI application."""
    site = Starlette(
        routes=list(ROUTES),
        middleware=[Middleware(Guards, hosts=services.hosts), Middleware(Access)],
        exception_handlers={
            TraysideError: faults.trayside_error,
            HTTPException: faults.http_error,
            Exception: faults.unforeseen,
        },
    )
    site.state.services = services
    return site
