"""The addresses of the Loads screens, of kept core and of the ledger."""

from __future__ import annotations

from starlette.routing import Route

from . import kept_screen, load_screen, loads_screen, receipt_screen
from .asking import posted
from .ledger_screen import LEDGER_ROUTES
from .masses_screen import MASS_ROUTES

LOAD_ROUTES = (
    Route("/loads", loads_screen.loads_screen),
    Route("/loads", posted(loads_screen.make), methods=["POST"]),
    Route("/loads/pack", posted(loads_screen.pack_trays), methods=["POST"]),
    Route("/sacks/{sack_id}", loads_screen.sack_screen),
    Route("/sacks/{sack_id}/seal", posted(loads_screen.seal), methods=["POST"]),
    Route("/sacks/{sack_id}/another-seal", posted(loads_screen.reseal), methods=["POST"]),
    Route("/sacks/{sack_id}/undo", posted(loads_screen.undo), methods=["POST"]),
    Route("/loads/{load_id}", load_screen.load_screen),
    Route("/loads/{load_id}", posted(load_screen.change), methods=["POST"]),
    Route("/loads/{load_id}/send", posted(load_screen.send), methods=["POST"]),
    Route("/loads/{load_id}/hand-over", posted(load_screen.give), methods=["POST"]),
    Route("/loads/{load_id}/dispatch-note.pdf", load_screen.note_paper),
    Route("/loads/{load_id}/sample-list.pdf", load_screen.laboratory_paper),
    Route("/loads/{load_id}/sample-list.csv", load_screen.laboratory_table),
    Route("/loads/{load_id}/received", receipt_screen.take_list, methods=["POST"]),
    Route("/loads/{load_id}/received/{receipt_id}", receipt_screen.receipt_screen),
    Route("/loads/{load_id}/received/{receipt_id}", posted(receipt_screen.confirm), methods=["POST"]),
    Route("/hole/{hole_id}/kept", kept_screen.kept_screen),
    Route("/hole/{hole_id}/kept/take", posted(kept_screen.take), methods=["POST"]),
    Route("/hole/{hole_id}/kept/place", posted(kept_screen.place), methods=["POST"]),
    *LEDGER_ROUTES,
    *MASS_ROUTES,
)
