"""Addresses of the safety screens."""

from __future__ import annotations

from starlette.routing import Route

from . import safety_screen
from .asking import posted

SAFETY_ROUTES: tuple[Route, ...] = (
    Route("/safety", safety_screen.safety_screen),
    Route("/safety/open", safety_screen.open_shift),
    Route("/safety/{day}/{person}", safety_screen.shift_screen),
    Route("/safety/{day}/{person}/edit", safety_screen.edit_screen),
    Route("/safety/{day}/{person}/edit", posted(safety_screen.enter), methods=["POST"]),
    Route("/safety/{day}/{person}/paper.pdf", safety_screen.shift_paper),
)
