"""Safety: one person's shift worked out in plain words, entered and corrected, and the list of shifts.

What somebody was exposed to is theirs: they see it, and whoever holds the right to see what others were exposed to.
"""

from __future__ import annotations

import re
from datetime import date
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.exposure_limits import GRADES, Grade, Hazard
from trayside.app.hole_view import view_hole
from trayside.app.load_view import loaded_sacks
from trayside.app.ports import Work
from trayside.app.record_exposure import (
    MOST_SHOWN,
    checked_day,
    known_person,
    list_shifts,
    may_see,
    record_exposure,
    typed_day,
    view_shift,
    yard_today,
)
from trayside.app.shift_safety import CAUTIONS, ShiftSafety, assess_shift
from trayside.app.tray_masses import sack_masses, tray_masses, usual_grip
from trayside.app.yard_rules import rules_of
from trayside.core.hearing_protectors import METHODS
from trayside.core.silica import SHIFT_WAYS
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule, TraysideError
from trayside.model.exposure_record import BASES, GRIPS, PROTECTOR_KINDS
from trayside.model.person import name_key
from trayside.model.rules import Rules

from .asking import Form, one, services_of, whole_number
from .desk import NAME_FIELD, desk_of
from .faults import fault, status_of
from .page import page
from .safety_form import PLACE, Typed, chosen, exposure_of, new_typed, typed_from, typed_in
from .visitor import VISITOR
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule, NotFound, ChangedMeanwhile)
GRADE_SHAPES: dict[Grade, str] = {"above": "■", "action": "▲", "advised": "◆", "below": "●", "none": "□"}
HEAVIEST_TRAYS = 6
NEWEST_SACKS = 40


def shift_address(day: date, person: str, part: str = "") -> str:
    """'/safety/2031-05-04/Demo%20operator/edit'. What would end that part of the address stands behind a tilde."""
    inner = person.replace("~", "~0").replace("/", "~1").replace("%", "~2")
    return f"/safety/{day}/{quote(inner, safe='~')}" + (f"/{part}" if part else "")


def _asked(request: Request) -> tuple[date, str]:
    person = request.path_params["person"].replace("~2", "%").replace("~1", "/").replace("~0", "~")
    return typed_day(request.path_params["day"]), person


def _not_theirs(request: Request, person: str) -> Response | None:
    """Why this visitor does not see this person's shifts."""
    who = VISITOR.get()
    if may_see(who.person, whose=person, may_see_all=who.may("exposures")):
        return None
    if who.person is None:
        return RedirectResponse(f"/sign-in?next={quote(request.url.path)}", status_code=303)
    return fault(request, status=403, what=say("safety.not_yours"), remedy=say("safety.not_yours.do"))


# the list


def safety_screen(request: Request) -> Response:
    return _draw_list(request)


def _draw_list(request: Request, *, refusal: TraysideError | None = None, day: str = "", person: str = "") -> Response:
    services, who = services_of(request), VISITOR.get()
    if who.any_people and who.person is None:
        return RedirectResponse("/sign-in?next=/safety", status_code=303)
    all_of_them = who.may("exposures")
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
        shifts = list_shifts(work, person=None if all_of_them else who.name)
        people = [one.name for one in work.people.people() if one.active] if all_of_them else [who.name]
    return page(
        "safety_list.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        shifts=[(one, safety, shift_address(one.exposure.day, one.exposure.person)) for one, safety in shifts],
        shapes=GRADE_SHAPES,
        most=MOST_SHOWN,
        people=people,
        any_people=who.any_people,
        day=day or yard_today(rules, services.clock()).isoformat(),
        person=person or who.name,
        refusal=refusal,
    )


def open_shift(request: Request) -> Response:
    """The shift of the day and person asked for: to look at when something is recorded, else to enter."""
    services = services_of(request)
    day, person = request.query_params.get("day", ""), request.query_params.get("person", "")
    try:
        with services.start_work(writing=False) as work:
            found_day = checked_day(typed_day(day), today=yard_today(rules_of(work), services.clock()))
            name = known_person(work, person)
            there = work.safety.revisions(name_key(name), found_day)
    except REFUSALS as refusal:
        return _draw_list(request, refusal=refusal, day=day, person=person)
    return RedirectResponse(shift_address(found_day, name, "" if there else "edit"), status_code=303)


# one shift


def shift_screen(request: Request) -> Response:
    day, person = _asked(request)
    refused = _not_theirs(request, person)
    if refused is not None:
        return refused
    with services_of(request).start_work(writing=False) as work:
        view = view_shift(work, person=person, day=day)
    return page(
        "safety_shift.html",
        yard=view.rules.yard,
        view=view,
        safety=view.safety,
        sentences=headline(view.safety),
        address=shift_address(day, view.exposure.person),
        shapes=GRADE_SHAPES,
    )


def shift_paper(request: Request) -> Response:
    day, person = _asked(request)
    refused = _not_theirs(request, person)
    if refused is not None:
        return refused
    services = services_of(request)
    with services.start_work(writing=False) as work:
        view = view_shift(work, person=person, day=day)
    stem = re.sub(r"[^A-Za-z0-9._-]", "-", f"{day}-{view.exposure.person}")
    return Response(
        services.papers.safety_page(view),
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="safety-{stem}.pdf"'},
    )


def headline(safety: ShiftSafety) -> list[tuple[Grade, str]]:
    """A sentence for each grade that occurs, the gravest first. No law sets the index of lifting: it has its own words."""
    found = []
    for grade in GRADES:
        alike = [one for one in safety.hazards if one.grade == grade and (one.name != "lifting" or grade == "none")]
        if alike:
            names = ", ".join(_under(one) for one in alike)
            found.append((grade, say(f"safety.headline.{grade}", names=names)))
        if safety.lifting is not None and safety.lifting.hazard.grade == grade:
            found.append((grade, say(f"safety.headline.lifting.{grade}")))
    return found


def _under(hazard: Hazard) -> str:
    """'Noise (Australia; United States (OSHA))': the hazard, and whose values of this grade it reaches."""
    name = say(f"safety.hazard.{hazard.name}")
    reached = [one.whose for one in hazard.verdicts if one.grade == hazard.grade != "below"]
    return f"{name} ({'; '.join(reached)})" if reached else name


# entering


def edit_screen(request: Request) -> Response:
    day, person = _asked(request)
    refused = _not_theirs(request, person)
    if refused is not None:
        return refused
    services = services_of(request)
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
        checked_day(day, today=yard_today(rules, services.clock()))
        name = known_person(work, person)
        there = work.safety.revisions(name_key(name), day)
    typed = typed_from(there[-1].exposure) if there else new_typed(rules.safety)
    return _draw_form(request, day, name, typed, after=len(there))


def enter(request: Request, form: Form) -> Response:
    """Save the shift; or, without storing anything, work it out, add rows, or put a typical value or a mass in."""
    day, person = _asked(request)
    refused = _not_theirs(request, person)
    if refused is not None:
        return refused
    services, typed = services_of(request), typed_in(form)
    wanted = one(form, "what", "save")
    after, signed = 0, one(form, NAME_FIELD)
    try:
        after = whole_number(one(form, "after", "0"), say("safety.title"))
        if wanted not in ("save", "try"):
            _put_in(request, typed, wanted)
            masses_open = wanted == "hole" or wanted.startswith("lift:")
            return _draw_form(request, day, person, typed, after=after, masses_open=masses_open, signed_by=signed)
        with services.start_work(writing=False) as work:
            rules = rules_of(work)
        exposure = exposure_of(typed, day=day, person=person, settings=rules.safety)
        if wanted == "try":
            safety = assess_shift(exposure, rules.safety)
            return _draw_form(request, day, person, typed, after=after, tried=safety, signed_by=signed)
        desk = desk_of(services, form, utc_offset_min=rules.dispatch.utc_offset_min)
        recorded = record_exposure(
            exposure, after=after, by=desk.signer.person, reason=typed.single["reason"], start_work=services.start_work,
            clock=services.clock,
        )  # fmt: skip
    except REFUSALS as refusal:
        return _draw_form(request, day, person, typed, after=after, refusal=refusal, signed_by=signed)
    return RedirectResponse(shift_address(day, recorded.exposure.person), status_code=303)


def _put_in(request: Request, typed: Typed, wanted: str) -> None:
    """A typical value or a lift with its mass as another row; other buttons only draw the form again."""
    services = services_of(request)
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
    settings = rules.safety
    kind, _, rest = wanted.partition(":")
    if kind == "noise":
        usual = chosen(rest, list(settings.typical_noise), say("safety.noise"))
        typed.add("noise", what=usual.what, level=f"{usual.level_dba:g}", basis="typical")
    elif kind == "air":
        usual = chosen(rest, list(settings.typical_silica), say("safety.air"))
        typed.add("air", what=usual.what, concentration=f"{usual.concentration_mg_m3:g}", basis="typical")
    elif kind == "vibration":
        usual = chosen(rest, list(settings.typical_vibration), say("safety.vibration"))
        typed.add("vibration", what=usual.what, acceleration=f"{usual.acceleration_m_s2:g}", basis="typical")
    elif kind == "lift":
        place, _, mass = rest.partition(":")
        usual = chosen(place, list(settings.typical_lifts), say("safety.lift"))
        grip, _ = usual_grip(settings, load=usual.load)
        typed.add("lift", what=usual.what, load=mass, reach=f"{usual.reach_cm:g}", start=f"{usual.start_height_cm:g}",
                  end=f"{usual.end_height_cm:g}", grip=grip)  # fmt: skip


def _draw_form(
    request: Request,
    day: date,
    person: str,
    typed: Typed,
    *,
    after: int,
    refusal: TraysideError | None = None,
    tried: ShiftSafety | None = None,
    masses_open: bool = False,
    signed_by: str = "",
) -> Response:
    services = services_of(request)
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
        there = work.safety.revisions(name_key(person), day)
        masses = _masses(work, rules, typed.single.get("hole", ""), opened=masses_open)
    typed.spare()
    return page(
        "safety_form.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        settings=rules.safety,
        day=day,
        person=person,
        typed=typed,
        after=after,
        newest=there[-1] if there else None,
        masses=masses,
        refusal=refusal,
        safety=tried,
        sentences=headline(tried) if tried else [],
        shapes=GRADE_SHAPES,
        address=shift_address(day, person),
        cautions=CAUTIONS,
        bases=BASES,
        grips=GRIPS,
        kinds=PROTECTOR_KINDS,
        methods=METHODS,
        ways=SHIFT_WAYS,
        place=PLACE,
        signed_by=signed_by,
    )


def _masses(work: Work, rules: Rules, asked: str, *, opened: bool) -> dict:
    """Trays of one hole, the heaviest first, and sacks of this yard, for whoever enters a lift."""
    holes = tuple(sheet.hole_id for sheet in work.issued_sheets()) or work.hole_ids()
    hole_id = asked if asked in holes else (holes[0] if holes else "")
    trays = sorted(tray_masses(view_hole(work, hole_id)), key=lambda tray: -tray.full_kg) if hole_id else []
    lengths = [tray.row_length_mm / 10 for tray in work.hole_core(hole_id).trays] if hole_id else []
    newest = work.loads.sacks()[-NEWEST_SACKS:]
    _, sacks = loaded_sacks(work, newest) if newest else ({}, ())
    return {
        "holes": holes,
        "hole": hole_id,
        "trays": trays[:HEAVIEST_TRAYS],
        "all_trays": len(trays),
        "sacks": sack_masses(tuple(sacks), rules),
        "sack_limit_kg": rules.dispatch.sack_kg + rules.dispatch.sack_tare_kg,
        "grip": usual_grip(rules.safety, length_cm=max(lengths, default=100.0)),
        "open": opened,
    }
