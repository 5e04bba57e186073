"""The addresses of the bench. One shell serves every page below /bench: what it shows comes as JSON and stays on the tablet."""

from __future__ import annotations

from starlette.routing import Route

from . import bench_photos, bench_screen

BENCH_ROUTES = (
    Route("/bench", bench_screen.shell),
    Route("/bench/shell", bench_screen.shell),
    Route("/bench/worker.js", bench_screen.worker),
    Route("/bench/who.json", bench_screen.who),
    Route("/bench/sheets.json", bench_screen.sheets),
    Route("/bench/events", bench_screen.news),
    Route("/bench/events", bench_screen.take_events, methods=["POST"]),
    Route("/bench/{hole_id}/{tray:int}.json", bench_screen.sheet),
    Route("/bench/{hole_id}/{tray:int}", bench_screen.shell),
    Route("/photos", bench_photos.take_photo, methods=["POST"]),
    Route("/photos/{sha256}", bench_photos.photo),
    Route("/scale", bench_screen.scale),
)
