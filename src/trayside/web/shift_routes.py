"""Addresses of the shift screens."""

from __future__ import annotations

from starlette.routing import Route

from . import shift_screen
from .asking import posted

SHIFT_ROUTES: tuple[Route, ...] = (
    Route("/shift", shift_screen.shift_screen),
    Route("/shift", posted(shift_screen.make), methods=["POST"]),
    Route("/shift/{plan_id}", shift_screen.plan_screen),
    Route("/shift/{plan_id}/stop", posted(shift_screen.stop), methods=["POST"]),
    Route("/shift/{plan_id}/plan.pdf", shift_screen.plan_paper),
)
