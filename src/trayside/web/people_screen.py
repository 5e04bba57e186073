"""People: who may sign in and what they may do; the first person of a yard."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.people import add_first_lead, add_person, change_role, disable_person, new_pin
from trayside.app.yard_rules import rules_of
from trayside.errors import ImpossibleValue, NotFound, RefusedByRule, TraysideError
from trayside.model.person import LONGEST_PIN, MAY, RIGHTS, ROLES, SHORTEST_PIN

from .asking import Form, one, services_of
from .page import page
from .visitor import VISITOR
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule, NotFound)


def people_screen(request: Request) -> Response:
    if not VISITOR.get().any_people:
        return RedirectResponse("/people/first", status_code=303)
    return _draw(request)


def add(request: Request, form: Form) -> Response:
    services = services_of(request)
    try:
        add_person(
            one(form, "name"),
            role=one(form, "role"),
            pin=_typed_pin(form),
            start_work=services.start_work,
            clock=services.clock,
            make_id=services.make_id,
            secrets=services.secrets,
        )
    except REFUSALS as refusal:
        return _draw(request, refusal, typed=one(form, "name"), role=one(form, "role"))
    return RedirectResponse("/people", status_code=303)


def disable(request: Request, form: Form) -> Response:
    try:
        disable_person(one(form, "name"), start_work=services_of(request).start_work)
    except REFUSALS as refusal:
        return _draw(request, refusal)
    return RedirectResponse("/people", status_code=303)


def give_role(request: Request, form: Form) -> Response:
    try:
        change_role(one(form, "name"), role=one(form, "role"), start_work=services_of(request).start_work)
    except REFUSALS as refusal:
        return _draw(request, refusal)
    return RedirectResponse("/people", status_code=303)


def give_pin(request: Request, form: Form) -> Response:
    services = services_of(request)
    try:
        new_pin(one(form, "name"), pin=_typed_pin(form), start_work=services.start_work, secrets=services.secrets)
    except REFUSALS as refusal:
        return _draw(request, refusal)
    return RedirectResponse("/people", status_code=303)


def first_person_screen(request: Request) -> Response:
    if VISITOR.get().any_people:
        return RedirectResponse("/sign-in", status_code=303)
    return _draw_first(request)


def add_first(request: Request, form: Form) -> Response:
    """The first lead; there is no PIN anybody could know beforehand."""
    services = services_of(request)
    try:
        if VISITOR.get().any_people:
            raise RefusedByRule(say("people.first.done"), remedy=say("people.first.done.do"))
        add_first_lead(
            one(form, "name"),
            pin=_typed_pin(form),
            start_work=services.start_work,
            clock=services.clock,
            make_id=services.make_id,
            secrets=services.secrets,
        )
    except REFUSALS as refusal:
        return _draw_first(request, refusal, typed=one(form, "name"))
    return RedirectResponse("/sign-in?next=/people", status_code=303)


def _typed_pin(form: Form) -> str:
    if one(form, "pin") != one(form, "pin_again"):
        raise ImpossibleValue(say("people.pin.differ"), where=say("people.pin"), remedy=say("people.pin.differ.do"))
    return one(form, "pin")


def _draw(request: Request, refusal: TraysideError | None = None, *, typed: str = "", role: str = "") -> Response:
    with services_of(request).start_work(writing=False) as work:
        yard, people = rules_of(work).yard, work.people.people()
    may = {role: ", ".join(say(f"right.{right}") for right in RIGHTS if right in MAY[role]) for role in ROLES}
    return page(
        "people.html",
        status=200 if refusal is None else 422,
        yard=yard,
        people=people,
        roles=ROLES,
        may=may,
        refusal=refusal,
        typed=typed,
        chosen=role,
        pin_hint=_pin_hint(),
    )


def _draw_first(request: Request, refusal: TraysideError | None = None, *, typed: str = "") -> Response:
    with services_of(request).start_work(writing=False) as work:
        yard = rules_of(work).yard
    status = 200 if refusal is None else 422
    return page("first_person.html", status=status, yard=yard, refusal=refusal, typed=typed, pin_hint=_pin_hint())


def _pin_hint() -> str:
    return say("people.pin.hint", shortest=SHORTEST_PIN, longest=LONGEST_PIN)
