"""Addresses of the shift screens."""

from __future__ import annotations

from starlette.routing import Route

SHIFT_ROUTES: tuple[Route, ...] = ()
