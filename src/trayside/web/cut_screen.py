"""Which way to cut: the advice in words, tables and pictures, and the register where the geologist sets the cut line."""

from __future__ import annotations

import hashlib
from math import isnan

import numpy as np
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.cut_advice import TURN, CutAdvice, cut_advice
from trayside.app.cut_orders import case_of, diameter_at, holds_already, orders_computed, orders_now, surface_picture
from trayside.app.cut_pictures import cost_over_angle, end_view, rose
from trayside.app.cut_register import CutLine, away_from_set, drift_of, read_cut_line, set_cut_line, tray_readings
from trayside.app.cut_stretches import Stretch, advised_stretches
from trayside.app.hole_view import HoleView, view_hole
from trayside.app.side_table import side_table
from trayside.app.typed_angle import typed_turn_deg
from trayside.app.typed_depth import typed_depth_mm
from trayside.core.cut_mark import arc_mm
from trayside.core.orientation_quality import signed_turn
from trayside.errors import ImpossibleValue, RefusedByRule, TraysideError
from trayside.model.event_kinds import CUT_LINE_BASES

from .addresses import hole_address
from .asking import Form, hole_in, one, services_of, whole_number
from .desk import desk_of
from .faults import status_of
from .page import amounts_of, page
from .services import Services
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule)


def cut_screen(request: Request) -> Response:
    asked = request.query_params
    return _draw(
        services_of(request), hole_in(request), tray=asked.get("tray", ""), every_hole=asked.get("sides") == "yard"
    )


def _draw(
    services: Services,
    hole_id: str,
    *,
    tray: str = "",
    every_hole: bool = False,
    refusal: TraysideError | None = None,
    typed: Form | None = None,
) -> Response:
    with services.start_work(writing=False) as work:
        view = view_hole(work, hole_id)
        readings = tray_readings(work, view.core)
        sides = side_table(work, [one.hole_id for one in work.issued_sheets()] if every_hole else [hole_id])
    advice = cut_advice(view)
    chosen = _chosen(advice, tray)
    read = {one.tray: one for one in readings}
    return page(
        "cut.html",
        status=200 if refusal is None else status_of(refusal),
        yard=view.rules.yard,
        view=view,
        amounts=amounts_of(view.rules),
        drift=drift_of(readings, view.rules),
        read=read,
        away={one.tray: away_from_set(one, view.cut_register) for one in readings},
        alert_deg=view.rules.cut_plane.drift_alert_deg,
        sides=sides,
        every_hole=every_hole,
        bases=CUT_LINE_BASES,
        chosen=chosen,
        refusal=refusal,
        typed={name: held[-1] for name, held in (typed or {}).items()},
        arc=_arc_text,
        **panel_values(view, advice),
        **_pictures(view, advice, chosen),
    )


def panel_values(view: HoleView, advice: CutAdvice) -> dict:
    """What both the panel of the sheet and this screen say: the verdict and the orders."""
    stretches = advised_stretches(advice)
    newest = view.revisions[-1] if view.revisions else None
    newest_set = max((line.captured_at for line in view.cut_register.history), default="")
    return {
        "advice": advice,
        "register": view.cut_register,
        "case": case_of(advice),
        "now": orders_now(view),
        "advised": orders_computed(view, stretches),
        "same": holds_already(view, stretches),
        "fingerprint": fingerprint(stretches),
        "share": _percent,
        "bag_side": view.rules.cut.bag_side,
        "printed_before": newest.revision
        if newest and newest_set > newest.issued_at.isoformat(timespec="milliseconds")[:23]
        else 0,
    }


def fingerprint(stretches: tuple[Stretch, ...]) -> str:
    """Of the orders as they were shown, so that nobody signs others."""
    return hashlib.sha256(repr([_whole(one.line) for one in stretches]).encode()).hexdigest()[:16]


def _whole(line: CutLine) -> tuple:
    return line.from_mm, line.to_mm, round(line.start_deg), round(line.end_deg), line.side


def _chosen(advice: CutAdvice, asked: str):
    """The tray whose pictures are shown: the one asked for, else the one that is turned most, else the one with most veins."""
    named = [one for one in advice.trays if str(one.tray) == asked]
    if named or not advice.trays:
        return named[0] if named else None
    return max(
        advice.trays,
        key=lambda tray: (
            tray.vein_count > 0,
            abs(float(signed_turn(tray.end_deg))) if tray.case == TURN else 0.0,
            tray.vein_count,
        ),
    )


def _pictures(view: HoleView, advice: CutAdvice, chosen) -> dict[str, Markup | None]:
    if advice.carriers is None or advice.hole is None:
        return {"end": None, "rose": None, "curve": None, "hole_surface": None, "tray_surface": None}
    unit = view.rules.paper.length_unit
    middle = chosen or advice.trays[0]
    line = view.cut_register.at(middle.from_mm)
    angle = line.angle_at(middle.from_mm) if line.is_set else middle.start_deg
    cut = view.rules.cut
    end = end_view(
        angle_deg=angle,
        side=line.side,
        core_diameter_mm=middle.core_diameter_mm,
        kerf_mm=cut.kerf_mm,
        offset_mm=cut.offset_mm,
    )
    betas = rose(
        beta_deg=advice.carriers.drawn_beta_deg,
        cut_deg=advice.hole.cut_deg,
        set_deg=line.angle_at(middle.from_mm) if line.is_set else None,
    )
    known = advice.hole.best_imbalance is not None and not np.isnan(advice.curve_imbalance).any()
    curve = cost_over_angle(
        angles_deg=advice.curve_deg.tolist(), shares=advice.curve_imbalance.tolist(), best_deg=advice.hole.cut_deg,
        free_deg=advice.hole.free_deg, line=(0.0, advice.hole.line_imbalance),
    ) if known else None  # fmt: skip
    runs = view.depth.runs
    whole = surface_picture(view, advice, runs[0].from_mm / 1000, runs[-1].to_mm / 1000, unit=unit)
    part = surface_picture(view, advice, middle.from_mm / 1000, middle.to_mm / 1000, unit=unit)
    return {
        "end": Markup(end),
        "rose": Markup(betas),
        "curve": Markup(curve) if curve else None,
        "hole_surface": Markup(whole),
        "tray_surface": Markup(part),
    }


def set_advised(request: Request, form: Form) -> Response:
    """Put the computed orders into the register, signed, if they are still those that were shown."""
    services, hole_id = services_of(request), hole_in(request)
    try:
        with services.start_work(writing=False) as work:
            view = view_hole(work, hole_id)
        stretches = advised_stretches(cut_advice(view))
        if one(form, "fingerprint") != fingerprint(stretches):
            raise RefusedByRule(say("cut.changed"), where=hole_id, remedy=say("cut.changed.do"))
        set_cut_line(
            hole_id,
            lines=[stretch.line for stretch in stretches],
            reason=one(form, "reason"),
            desk=desk_of(services, form, utc_offset_min=view.rules.dispatch.utc_offset_min),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return _draw(services, hole_id, refusal=refusal, typed=form)
    return RedirectResponse(hole_address(hole_id, "cut"), status_code=303)


def set_by_hand(request: Request, form: Form) -> Response:
    services, hole_id = services_of(request), hole_in(request)
    try:
        with services.start_work(writing=False) as work:
            view = view_hole(work, hole_id)
        unit = view.rules.paper.length_unit
        top, bottom = (typed_depth_mm(one(form, name), unit=unit) for name in ("from", "to"))
        diameter = diameter_at(view, 0.5 * (top + bottom))
        start = typed_turn_deg(one(form, "start"), core_diameter_mm=diameter)
        end = typed_turn_deg(one(form, "end"), core_diameter_mm=diameter) if one(form, "end").strip() else start
        line = CutLine(
            top, bottom, float(signed_turn(start)), float(signed_turn(end)), one(form, "side"), one(form, "basis")
        )
        set_cut_line(
            hole_id,
            lines=[line],
            reason=one(form, "reason"),
            desk=desk_of(services, form, utc_offset_min=view.rules.dispatch.utc_offset_min),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return _draw(services, hole_id, refusal=refusal, typed=form)
    return RedirectResponse(hole_address(hole_id, "cut") + "#register", status_code=303)


def read_line(request: Request, form: Form) -> Response:
    services, hole_id = services_of(request), hole_in(request)
    try:
        with services.start_work(writing=False) as work:
            view = view_hole(work, hole_id)
        number = whole_number(one(form, "tray"), say("cut.read.tray"))
        tray = next((tray for tray in view.core.trays if tray.tray == number), None)
        diameter = diameter_at(view, 0.5 * (tray.from_mm + tray.to_mm) if tray else 0.0)
        read_cut_line(
            hole_id,
            number,
            start_deg=typed_turn_deg(one(form, "start"), core_diameter_mm=diameter),
            end_deg=typed_turn_deg(one(form, "end"), core_diameter_mm=diameter),
            desk=desk_of(services, form, utc_offset_min=view.rules.dispatch.utc_offset_min),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return _draw(services, hole_id, refusal=refusal, typed=form)
    return RedirectResponse(hole_address(hole_id, "cut") + "#readings", status_code=303)


def _percent(share: float | None) -> str:
    return "–" if share is None or isnan(share) else f"{100 * share:.1f} %"


def _arc_text(angle_deg: float, core_diameter_mm: float) -> str:
    """'12 mm (29°)' with its sign."""
    signed = float(signed_turn(angle_deg))
    arc = float(arc_mm(core_diameter_mm=core_diameter_mm, angle_deg=signed))
    return f"{arc:+.0f} mm ({signed:+.0f}°)" if abs(arc) >= 0.5 else "0 mm"
