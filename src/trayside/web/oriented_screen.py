"""Oriented core: planes in the ground, how good the line is, and a converter between conventions."""

from __future__ import annotations

from math import isnan

from starlette.requests import Request
from starlette.responses import Response

from trayside.app.hole_view import HoleView, view_hole
from trayside.app.orientation_view import convention_of, hole_path, view_orientation
from trayside.app.typed_angle import typed_number
from trayside.app.typed_depth import typed_depth_mm
from trayside.core.oriented_core import (
    ALPHA_TO,
    APEXES,
    LINES,
    AngleConvention,
    core_angles_from_line,
    core_angles_from_plane,
    line_from_core_angles,
    line_in_plane,
    plane_from_core_angles,
)
from trayside.errors import ImpossibleValue

from .asking import hole_in, services_of
from .faults import status_of
from .page import amounts_of, gravest_first, page
from .words import say

FIELDS = ("alpha", "beta", "gamma", "delta", "dip", "direction")
RANGES = {
    "alpha": (0, 90),
    "beta": (-360, 360),
    "gamma": (-360, 360),
    "delta": (-360, 360),
    "dip": (0, 90),
    "direction": (0, 360),
}


def oriented_screen(request: Request) -> Response:
    with services_of(request).start_work(writing=False) as work:
        view = view_hole(work, hole_in(request))
    asked = {name: value for name, value in request.query_params.items() if value.strip()}
    told, refusal = [], None
    if any(name in asked for name in FIELDS):
        try:
            told = _converted(view, asked)
        except ImpossibleValue as error:
            refusal = error
    return page(
        "oriented.html",
        status=200 if refusal is None else status_of(refusal),
        yard=view.rules.yard,
        view=view,
        amounts=amounts_of(view.rules),
        oriented=view_orientation(view.core, view.rules),
        findings=gravest_first(one for one in view.findings if one.code.startswith("orientation.")),
        convention=_asked_convention(view, asked),
        lines=LINES,
        apexes=APEXES,
        alpha_to=ALPHA_TO,
        fields=FIELDS,
        asked=asked,
        told=told,
        refusal=refusal,
        angle=angle_text,
    )


def angle_text(angle_deg: float | None, digits: int = 0) -> str:
    """'–' where nobody read it; 'undefined' where there is no such direction."""
    if angle_deg is None:
        return "–"
    return say("oriented.undefined") if isnan(angle_deg) else f"{angle_deg:.{digits}f}°"


def _asked_convention(view: HoleView, asked: dict[str, str]) -> AngleConvention:
    yard = convention_of(view.rules)
    return AngleConvention(
        line=asked.get("line", yard.line),
        apex=asked.get("apex", yard.apex),
        alpha_to=asked.get("alpha_to", yard.alpha_to),
    )


def _converted(view: HoleView, asked: dict[str, str]) -> list[str]:
    """The sentences that answer what was filled in."""
    convention = _asked_convention(view, asked)
    unit = view.rules.paper.length_unit
    depth_mm = typed_depth_mm(asked["depth"], unit=unit) if "depth" in asked else 0
    value = {
        name: typed_number(asked[name], say(f"oriented.convert.{name}"), low=RANGES[name][0], high=RANGES[name][1])
        for name in FIELDS
        if name in asked
    }
    there = hole_path(view.core).attitude_at(depth_m=depth_mm / 1000)
    hole = {"hole_azimuth_deg": there.azimuth_deg, "hole_plunge_deg": there.plunge_deg}
    told = [say("oriented.convert.attitude", azimuth=f"{there.azimuth_deg:.1f}", plunge=f"{there.plunge_deg:.1f}")]
    if there.beyond:
        told.append(say("oriented.convert.beyond"))
    if {"alpha", "beta"} <= value.keys():
        core = {"alpha_deg": value["alpha"], "beta_deg": value["beta"]}
        told += _plane_told(hole, plane_from_core_angles(**hole, **core, convention=convention))
        if "gamma" in value:
            told.append(_line_told(line_in_plane(**hole, **core, gamma_deg=value["gamma"], convention=convention)))
    elif {"dip", "direction"} <= value.keys():
        plane = {"dip_deg": value["dip"], "dip_direction_deg": value["direction"]}
        core = core_angles_from_plane(**hole, **plane)
        told += _plane_told(
            hole, plane_from_core_angles(**hole, alpha_deg=core.alpha_deg, beta_deg=_or_zero(core.beta_deg))
        )
    elif {"gamma", "delta"} <= value.keys():
        line = line_from_core_angles(**hole, gamma_deg=value["gamma"], delta_deg=value["delta"], line=convention.line)
        told.append(_line_told(line))
        for name in LINES:
            back = core_angles_from_line(
                **hole, trend_deg=_or_zero(line.trend_deg), plunge_deg=line.plunge_deg, line=name
            )
            told.append(
                f"{say('oriented.' + name)}: gamma {back.gamma_deg:.1f}°, delta {angle_text(back.delta_deg, 1)}"
            )
    else:
        raise ImpossibleValue(say("oriented.convert.nothing"), remedy=say("oriented.convert.text").split(".")[0])
    return told


def _or_zero(angle_deg: float) -> float:
    return 0.0 if isnan(angle_deg) else angle_deg


def _plane_told(hole: dict, plane) -> list[str]:
    """The plane in the ground, then on the core in every convention."""
    told = [
        say("oriented.convert.plane", dip=f"{plane.dip_deg:.1f}", direction=angle_text(plane.dip_direction_deg, 1),
            trend=angle_text(plane.pole_trend_deg, 1), plunge=f"{plane.pole_plunge_deg:.1f}")
    ]  # fmt: skip
    for line in LINES:
        for apex in APEXES:
            for to in ALPHA_TO:
                core = core_angles_from_plane(
                    **hole, dip_deg=plane.dip_deg, dip_direction_deg=_or_zero(plane.dip_direction_deg),
                    convention=AngleConvention(line=line, apex=apex, alpha_to=to),
                )  # fmt: skip
                names = {"line": line, "apex": apex, "to": to}
                said = {name: say(f"oriented.{value}") for name, value in names.items()}
                angles = {"alpha": f"{core.alpha_deg:.1f}", "beta": angle_text(core.beta_deg, 1)}
                told.append(say("oriented.convert.core", **said, **angles))
    return told


def _line_told(line) -> str:
    return say("oriented.convert.line_told", trend=angle_text(line.trend_deg, 1), plunge=f"{line.plunge_deg:.1f}")
