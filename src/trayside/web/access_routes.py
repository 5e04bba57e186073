"""The addresses of signing in, people and tablets."""

from __future__ import annotations

from starlette.routing import Route

from . import pair_screen, people_screen, sign_in_screen, tablets_screen
from .asking import posted

ACCESS_ROUTES = (
    Route("/sign-in", sign_in_screen.sign_in_screen),
    Route("/sign-in", posted(sign_in_screen.do_sign_in), methods=["POST"]),
    Route("/sign-out", posted(sign_in_screen.do_sign_out), methods=["POST"]),
    Route("/pair", pair_screen.pair_screen),
    Route("/pair", posted(pair_screen.do_pair), methods=["POST"]),
    Route("/people", people_screen.people_screen),
    Route("/people", posted(people_screen.add), methods=["POST"]),
    Route("/people/disable", posted(people_screen.disable), methods=["POST"]),
    Route("/people/role", posted(people_screen.give_role), methods=["POST"]),
    Route("/people/pin", posted(people_screen.give_pin), methods=["POST"]),
    Route("/people/first", people_screen.first_person_screen),
    Route("/people/first", posted(people_screen.add_first), methods=["POST"]),
    Route("/tablets", tablets_screen.tablets_screen),
    Route("/tablets/code", posted(tablets_screen.new_code), methods=["POST"]),
    Route("/tablets/revoke", posted(tablets_screen.revoke), methods=["POST"]),
)
