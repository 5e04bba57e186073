"""Addresses of the safety screens."""

from __future__ import annotations

from starlette.routing import Route

SAFETY_ROUTES: tuple[Route, ...] = ()
