"""Addresses of the saw screens."""

from __future__ import annotations

from starlette.routing import Route

SAW_ROUTES: tuple[Route, ...] = ()
