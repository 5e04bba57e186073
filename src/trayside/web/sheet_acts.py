"""What is done with a whole sheet: plan it, plan it again, issue it, look at an issued revision."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.hole_view import view_hole
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.plan_samples import plan_samples
from trayside.errors import ChangedMeanwhile, RefusedByRule

from .addresses import hole_address
from .asking import Form, hole_in, one, services_of, whole_number
from .page import amounts_of, page
from .sheet_lines import kinds_in_words, sheet_lines
from .sheet_screen import draw_sheet
from .visitor import VISITOR
from .words import counted, say


def plan_sheet(request: Request, form: Form) -> Response:
    """Plan the hole, or plan it again; boundaries placed by hand are dropped only when that was said."""
    services, hole_id = services_of(request), hole_in(request)
    base = one(form, "base_version")
    with services.start_work(writing=False) as work:
        sheet = work.sheet(hole_id)
    try:
        if sheet is not None and sheet.by_hand and one(form, "sure") != "yes":
            raise RefusedByRule(say("again.unsure"), where=hole_id, remedy=say("again.unsure.do"))
        plan_samples(
            hole_id,
            start_work=services.start_work,
            make_id=services.make_id,
            edited_by=VISITOR.get().name or " ".join(one(form, "edited_by").split())[:80],
            base_version=whole_number(base, "version") if base else 0,
        )
    except (RefusedByRule, ChangedMeanwhile) as refusal:
        return draw_sheet(services, hole_id, refusal=refusal, typed=form)
    return RedirectResponse(hole_address(hole_id, "sheet"), status_code=303)


def issue_sheet(request: Request, form: Form) -> Response:
    """Issue the draft as the next revision, or say what keeps it; what was typed stays on the page."""
    services, hole_id = services_of(request), hole_in(request)
    try:
        revision = issue_cut_sheet(
            hole_id,
            version=whole_number(one(form, "base_version"), "version"),
            issued_by=VISITOR.get().name or one(form, "issued_by"),
            statement=one(form, "statement"),
            start_work=services.start_work,
            clock=services.clock,
        )
    except (RefusedByRule, ChangedMeanwhile) as refusal:
        return draw_sheet(services, hole_id, refusal=refusal, typed=form)
    return RedirectResponse(hole_address(hole_id, f"sheet/{revision.revision}"), status_code=303)


def revision_screen(request: Request) -> Response:
    """An issued revision as it was frozen."""
    services, hole_id = services_of(request), hole_in(request)
    number = whole_number(request.path_params["revision"], "revision")
    with services.start_work(writing=False) as work:
        view = view_hole(work, hole_id)
        revision = work.revision(hole_id, number)
    amounts = amounts_of(view.rules)
    return page(
        "revision.html",
        yard=view.rules.yard,
        view=view,
        revision=revision,
        amounts=amounts,
        editable=False,
        lines=sheet_lines(revision.rows, (), amounts),
        bags=counted(len(revision.rows), "bag"),
        kinds=kinds_in_words(revision.rows),
    )
