"""Addresses of the cut line and of oriented core."""

from __future__ import annotations

from starlette.routing import Route

from . import cut_screen, oriented_screen
from .asking import posted

CUT_ROUTES = (
    Route("/hole/{hole_id}/cut", cut_screen.cut_screen),
    Route("/hole/{hole_id}/cut/advised", posted(cut_screen.set_advised), methods=["POST"]),
    Route("/hole/{hole_id}/cut/set", posted(cut_screen.set_by_hand), methods=["POST"]),
    Route("/hole/{hole_id}/cut/read", posted(cut_screen.read_line), methods=["POST"]),
    Route("/hole/{hole_id}/oriented", oriented_screen.oriented_screen),
)
