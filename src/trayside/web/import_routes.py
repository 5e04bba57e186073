"""Addresses of the Import screen. They stand before /results/{certificate_id}, which would take them for certificates."""

from __future__ import annotations

from starlette.routing import Route

from . import import_screen
from .asking import posted

IMPORT_ROUTES = (
    Route("/results/import", import_screen.import_screen),
    Route("/results/import", import_screen.take_file, methods=["POST"]),
    Route("/results/import/{upload_id}", import_screen.upload_screen),
    Route("/results/import/{upload_id}", posted(import_screen.act), methods=["POST"]),
)
