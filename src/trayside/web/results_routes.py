"""Addresses of the results screens."""

from __future__ import annotations

from starlette.routing import Route

RESULTS_ROUTES: tuple[Route, ...] = ()
