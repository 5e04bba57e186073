"""Saws: one card a saw, ready or why not; and each saw with its forms, its blade's life, and its log."""

from __future__ import annotations

import re
from datetime import timedelta
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.maintain_saw import (
    PLAIN_ACTS,
    check_water_at,
    fit_blade,
    log_act,
    measure_height,
    release,
    remove_blade,
    tag_out,
)
from trayside.app.saw_views import SawView, saw_view, view_saws
from trayside.core.units import feet_from_metres
from trayside.errors import ImpossibleValue, NotFound, RefusedByRule, TraysideError
from trayside.model.bag_states import Fact
from trayside.model.event import moment
from trayside.model.event_kinds import OFF_BECAUSE

from .addresses import hole_of
from .asking import Form, one, read_rules, services_of, whole_number
from .desk import desk_of
from .faults import status_of
from .page import page
from .saw_drawing import height_chart, segment_bar
from .services import Services
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule, NotFound)
AMOUNT = re.compile(r"\d{1,4}(?:[.,]\d{1,3})?")
HIDDEN_VALUES = {"card", "passed", "answers", "failed", "items", "height_um", "flow_ml_min", "readings"}
MOST_RPM = 50_000


def saw_address(saw: str, part: str = "") -> str:
    path = f"/saws/{quote(saw.replace('/', '~'), safe='~')}"
    return f"{path}/{part}" if part else path


def saw_in(request: Request) -> str:
    return hole_of(request.path_params["saw"])


def length_text(metres: float, unit: str) -> str:
    """Whole metres or feet of core, with the unit."""
    amount = float(feet_from_metres(depth_m=metres)) if unit == "ft" else metres
    return f"{amount:,.0f} {unit}".replace(",", "\u202f")


def saws_screen(request: Request) -> Response:
    services = services_of(request)
    with services.start_work(writing=False) as work:
        yard = view_saws(work, now=services.clock())
    return page(
        "saws.html",
        yard=yard.rules.yard,
        view=yard,
        rules=yard.rules,
        address=saw_address,
        bar=segment_bar,
        length=_length_of(yard.rules),
        act_words=act_words,
        when=when,
    )


def _length_of(rules):
    return lambda metres: length_text(metres, rules.paper.length_unit)


def saw_screen(request: Request) -> Response:
    return draw_saw(services_of(request), saw_in(request))


def draw_saw(services: Services, name: str, *, refusal: TraysideError | None = None, typed: Form | None = None) -> Response:
    with services.start_work(writing=False) as work:
        yard, view = saw_view(work, name, now=services.clock())
    return page(
        "saw.html",
        status=200 if refusal is None else status_of(refusal),
        yard=yard.rules.yard,
        saw=view,
        free=yard.free,
        rules=yard.rules,
        to=saw_address(name),
        bar=segment_bar,
        chart=height_chart,
        length=_length_of(yard.rules),
        because=OFF_BECAUSE,
        changed=_changed_by_height(view),
        act_words=act_words,
        when=when,
        refusal=refusal,
        typed=typed or {},
    )


def _changed_by_height(view: SawView) -> bool:
    """Whether the last height moved the figure: then both are shown."""
    life = view.life
    return life is not None and life.before is not None and life.left is not None and bool(life.worn)


def when(fact: Fact) -> str:
    """Day and minute by the clock it was signed with."""
    local = moment(fact.event.captured_at) + timedelta(minutes=fact.event.utc_offset_min)
    return f"{local:%Y-%m-%d %H:%M}"


def act_words(fact: Fact) -> str:
    """What was done, in one line of the log."""
    event, values = fact.event, fact.values
    said = say(f"saw.act.{event.kind}")
    if event.kind == "prestart_signed":
        said += ": " + say("saw.passed" if values["passed"] else "saw.failed")
    if "height_um" in values:
        said += f" {event.object_id}: {values['height_um'] / 1000:.2f} mm"
    if values.get("flow_ml_min") is not None:
        said += f" {values['flow_ml_min'] / 1000:g} L/min"
    for name, value in values.items():
        if name in HIDDEN_VALUES or value in (None, False, []):
            continue
        said += f" · {say(f'saw.value.{name}')}" + ("" if value is True else f" {value}")
    return said + (f" · {event.reason}" if event.reason else "")


def do_act(request: Request, form: Form) -> Response:
    """One act at one saw, by the last part of the address."""
    services, name, act = services_of(request), saw_in(request), request.path_params["act"]
    try:
        ran = _ACTS.get(act)
        if ran is None:
            raise NotFound(say("fault.no_page"), where=act[:40], remedy=say("fault.no_page.do"))
        desk = desk_of(services, form, utc_offset_min=read_rules(services).dispatch.utc_offset_min)
        ran(name, form, desk, services.start_work)
    except REFUSALS as refusal:
        with services.start_work(writing=False) as work:
            known = {saw.saw for saw in work.saws.saws()}
        if name not in known:
            raise
        return draw_saw(services, name, refusal=refusal, typed=form)
    return RedirectResponse(f"{saw_address(name)}#{'blade' if act in ('fit', 'remove', 'height') else 'top'}", status_code=303)


def _amount(text: str, what: str) -> float | None:
    """A number as typed, with a point or a comma; None when nothing was."""
    said = text.strip()
    if not said:
        return None
    if not AMOUNT.fullmatch(said):
        raise ImpossibleValue(f"{said[:20]!r} is not a number", where=what, remedy="Type digits, like 3.5")
    return float(said.replace(",", "."))


def _rpm(form: Form) -> int | None:
    typed = one(form, "stamp_rpm").strip()
    if not typed:
        return None
    rpm = whole_number(typed, say("saw.fit.stamp"), highest=MOST_RPM)
    if rpm == 0:
        raise ImpossibleValue("0 rpm", where=say("saw.fit.stamp"), remedy="Read it off the blade, or leave it empty")
    return rpm


def _fit(name, form, desk, start_work) -> None:
    fit_blade(name, one(form, "blade"), stamp_rpm=_rpm(form), because=one(form, "because"),
              scrapped=one(form, "scrapped") == "yes", desk=desk, start_work=start_work)  # fmt: skip


def _remove(name, form, desk, start_work) -> None:
    scrapped = one(form, "scrapped") == "yes"
    remove_blade(name, because=one(form, "because"), scrapped=scrapped, desk=desk, start_work=start_work)


def _height(_name, form, desk, start_work) -> None:
    measure_height(one(form, "blade"), one(form, "heights"), desk=desk, start_work=start_work)


def _water(name, form, desk, start_work) -> None:
    degc = one(form, "water_degc").strip()
    check_water_at(
        name,
        flow_l_min=_amount(one(form, "flow_l_min"), say("saw.water.flow")),
        water_degc=whole_number(degc, say("saw.water.degc"), highest=100) if degc else None,
        seen=form.get("seen", []),
        desk=desk,
        start_work=start_work,
    )


def _plain(name, form, desk, start_work) -> None:
    kind = one(form, "kind")
    if kind not in PLAIN_ACTS:
        raise ImpossibleValue(say("fault.broken"), where=name, remedy=say("fault.broken.do"))
    drained = one(form, "drained") == "yes" if kind == "cleaned_out" else None
    log_act(name, kind, remark=one(form, "remark"), drained=drained, desk=desk, start_work=start_work)


def _tag(name, form, desk, start_work) -> None:
    tag_out(name, reason=one(form, "reason"), desk=desk, start_work=start_work)


def _release(name, form, desk, start_work) -> None:
    release(name, reason=one(form, "reason"), desk=desk, start_work=start_work)


_ACTS = {
    "fit": _fit, "remove": _remove, "height": _height, "water": _water, "log": _plain, "tag-out": _tag, "release": _release,
}  # fmt: skip


def blades_screen(request: Request) -> Response:
    """The blade register: every blade, where it is, what it did, what it will still do."""
    services = services_of(request)
    with services.start_work(writing=False) as work:
        yard = view_saws(work, now=services.clock())
    return page("blades.html", yard=yard.rules.yard, view=yard, address=saw_address, length=_length_of(yard.rules))


def blades_paper(request: Request) -> Response:
    services = services_of(request)
    with services.start_work(writing=False) as work:
        yard = view_saws(work, now=services.clock())
    return pdf(services.papers.blade_register(yard, services.clock()), "blade-register.pdf")


def pdf(content: bytes, name: str) -> Response:
    return Response(content, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'})
