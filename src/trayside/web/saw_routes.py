"""Addresses of the saw screens."""

from __future__ import annotations

from starlette.routing import Route

from . import prestart_screen, saws_screen
from .asking import posted

SAW_ROUTES: tuple[Route, ...] = (
    Route("/saws", saws_screen.saws_screen),
    Route("/saws/{saw}", saws_screen.saw_screen),
    Route("/saws/{saw}/card", prestart_screen.card_screen),
    Route("/saws/{saw}/card", posted(prestart_screen.sign), methods=["POST"]),
    Route("/saws/{saw}/card.pdf", prestart_screen.card_paper),
    Route("/saws/{saw}/{act}", posted(saws_screen.do_act), methods=["POST"]),
    Route("/blades", saws_screen.blades_screen),
    Route("/blades.pdf", saws_screen.blades_paper),
)
