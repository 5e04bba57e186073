"""Shift: the plan on the clock, what it saves, what changed when a saw stopped, what waits, and the form to plan."""

from __future__ import annotations

from dataclasses import replace

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.ports import Work
from trayside.app.shift import Desk, make_plan
from trayside.app.shift_form import Proposal, propose, standing
from trayside.app.shift_replan import plan_again
from trayside.app.shift_stations import stations_ahead
from trayside.app.shift_svg import lines_by_saw, shift_svg
from trayside.app.shift_words import (
    at_text,
    beats_text,
    before_text,
    bound_text,
    changed_text,
    clock_text,
    compared,
    in_shift,
)
from trayside.app.yard_rules import rules_of
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule, TraysideError
from trayside.model.rules import Rules
from trayside.model.shift import HoleWish, SavedPlan, SawWish, ShiftRequest

from .asking import Form, one, services_of
from .desk import desk_of
from .faults import status_of
from .page import amounts_of, page
from .services import Services
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule, NotFound, ChangedMeanwhile)
PLANS_LISTED = 8
LONGEST_TYPED = 80


def shift_screen(request: Request) -> Response:
    """The plan made last, or the form alone while there is none."""
    return _draw(services_of(request), None)


def plan_screen(request: Request) -> Response:
    return _draw(services_of(request), request.path_params["plan_id"])


def make(request: Request, form: Form) -> Response:
    """Plan a shift with what was chosen."""
    services = services_of(request)
    asked = None
    try:
        with services.start_work(writing=False) as work:
            rules = rules_of(work)
        asked = _request_of(form)
        plan = make_plan(asked, desk=_desk(services, form, rules))
    except REFUSALS as refusal:
        return _draw(services, None, refusal=refusal, asked=asked)
    return RedirectResponse(f"/shift/{plan.plan_id}", status_code=303)


def stop(request: Request, form: Form) -> Response:
    """A saw stopped: plan the rest again."""
    services, plan_id = services_of(request), request.path_params["plan_id"]
    try:
        with services.start_work(writing=False) as work:
            rules = rules_of(work)
        plan = plan_again(
            plan_id,
            stopped=one(form, "stopped"),
            at=one(form, "at").strip(),
            back=one(form, "back").strip(),
            desk=_desk(services, form, rules),
        )
    except REFUSALS as refusal:
        with services.start_work(writing=False) as work:
            work.shifts.plan(plan_id)  # NotFound is the answer when there is none to show
        return _draw(services, plan_id, refusal=refusal)
    return RedirectResponse(f"/shift/{plan.plan_id}#changed", status_code=303)


def plan_paper(request: Request) -> Response:
    services = services_of(request)
    with services.start_work(writing=False) as work:
        plan, rules = work.shifts.plan(request.path_params["plan_id"]), rules_of(work)
    name = f"shift-{plan.day}.pdf"
    return Response(
        services.papers.shift_plan(plan, rules),
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{name}"'},
    )


def _desk(services: Services, form: Form, rules: Rules) -> Desk:
    signer = desk_of(services, form, utc_offset_min=rules.dispatch.utc_offset_min).signer
    return Desk(signer.person, services.start_work, services.clock, services.make_id)


def _request_of(form: Form) -> ShiftRequest:
    typed = one(form, "hours").strip()
    try:
        hours = float(typed.replace(",", "."))
    except ValueError:
        raise ImpossibleValue(
            say("shift.wrong_hours", typed=repr(typed[:20])), where=say("shift.hours"), remedy=say("shift.wrong_hours.do")
        ) from None
    lorry = set(form.get("lorry", []))
    return ShiftRequest(
        day=one(form, "day").strip(),
        start=one(form, "start").strip(),
        hours=hours,
        saws=tuple(
            SawWish(saw, " ".join(one(form, f"operator {saw}").split())[:LONGEST_TYPED])
            for saw in dict.fromkeys(form.get("saw", []))
        ),
        holes=tuple(
            HoleWish(hole, one(form, f"priority {hole}"), hole in lorry) for hole in dict.fromkeys(form.get("hole", []))
        ),
        from_at=one(form, "from_at").strip(),
        lorry_at=one(form, "lorry_at").strip(),
    )


def _draw(
    services: Services,
    plan_id: str | None,
    *,
    refusal: TraysideError | None = None,
    asked: ShiftRequest | None = None,
) -> Response:
    now = services.clock()
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
        plan = work.shifts.plan(plan_id) if plan_id is not None else work.shifts.newest()
        newest = work.shifts.newest(plan.day) if plan else None
        proposal = propose(work, now=now, last=plan)
        if asked is not None:
            proposal = replace(proposal, request=asked)
        stations = stations_ahead(work, newest, now=now)
        made = work.shifts.made(count=PLANS_LISTED)
        before = _replaced(work, plan)
    shown = {} if plan is None else _shown(plan, before, rules, now)
    return page(
        "shift.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        amounts=amounts_of(rules),
        rules=rules,
        plan=plan,
        newest=newest,
        proposal=proposal,
        typed=asked is not None,
        stations=[(one, at_text(newest, one.done_at, one.shift or 0) if newest and one.done_at else "") for one in stations],
        made=[one for one in made if plan is None or one[0] != plan.plan_id],
        refusal=refusal,
        chosen=_chosen(proposal, asked),
        standing=standing(plan, proposal.saws) if plan else (),
        **shown,
    )


def _replaced(work: Work, plan: SavedPlan | None) -> SavedPlan | None:
    return work.shifts.plan(plan.replaces) if plan is not None and plan.replaces else None


def _chosen(proposal: Proposal, asked: ShiftRequest | None) -> set[str]:
    """Holes that are ticked: all that wait, until somebody chose."""
    return {one.hole_id for one in (asked or proposal.request).holes}


def _shown(plan: SavedPlan, before: SavedPlan | None, rules: Rules, now) -> dict[str, object]:
    within, beyond = in_shift(plan)
    grades = {one.piece: one.grade_class for one in plan.trays}
    bags = {one.piece: len(one.bags) for one in plan.trays}
    change = plan.change
    return {
        "axis": Markup(shift_svg(plan, grades=[one.name for one in rules.grade_classes], now=now)),
        "beats": beats_text(plan),
        "bound": bound_text(plan),
        "figures": compared(plan),
        "within": within,
        "beyond": beyond,
        "changed": changed_text(plan),
        "before": before,
        "elsewhere": [one for one in change.moved if one.from_saw != one.to_saw] if change else [],
        "order": lines_by_saw(plan.lines),
        "grades": grades,
        "bags": bags,
        "clock_text": clock_text,
        "before_text": before_text,
        "times": [line for line in plan.times if line.cuts or not any(one.cuts for one in plan.times)],
        "cuts": sum(line.cuts for line in plan.times),
    }
