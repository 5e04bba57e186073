"""Oriented core of one hole: how the hole points, how far the drawn line has turned, planes in the ground, line quality."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trayside.core.desurvey import HolePath, minimum_curvature
from trayside.core.orientation_quality import OrientedShare, oriented_share
from trayside.core.oriented_core import AngleConvention, convert_core_angles, plane_from_core_angles
from trayside.core.refusals import Floats
from trayside.model.checks.orientation import between_deg, lone_marks
from trayside.model.checks.orientation_quality import marked_pieces, stretches_of
from trayside.model.hole import Fabric, HoleCore, OrientationMark
from trayside.model.rules import Rules

UP_DEG = 90.0


@dataclass(frozen=True, slots=True)
class LineTurn:
    """How far the marks lie from the drawn line, along the hole: straight between smoothed marks, held at both ends."""

    depth_m: Floats
    turn_deg: Floats

    def at(self, depth_m: Floats) -> Floats:
        """Mark less drawn line at these depths, clockwise looking downhole; 0 in a hole without marks."""
        depth = np.asarray(depth_m, dtype=np.float64)
        if not self.depth_m.size:
            return np.zeros(depth.shape)
        return np.interp(depth, self.depth_m, self.turn_deg)


@dataclass(frozen=True, slots=True)
class GroundMeasure:
    """One plane measured on the core, and where it lies in the ground: by the line as drawn, and by the marks.

    `alpha_deg` and `beta_deg` are in Trayside's convention (bottom line, lower apex); None where nobody read beta.
    """

    plane: Fabric
    alpha_deg: float
    beta_deg: float | None
    turn_deg: float
    drawn_dip_deg: float | None
    drawn_direction_deg: float | None
    dip_deg: float | None
    direction_deg: float | None


@dataclass(frozen=True, slots=True)
class LineStretch:
    """Locked core under one line: its marks, how many agree, and the class they allow beside the class that was drawn."""

    from_mm: int
    to_mm: int
    marks: int
    agreeing: int
    line: str
    drawn: str
    spread_deg: float | None


@dataclass(frozen=True, slots=True)
class OrientationView:
    """All of it. `share` is None in a hole without runs."""

    measures: tuple[GroundMeasure, ...]
    stretches: tuple[LineStretch, ...]
    share: OrientedShare | None
    turn: LineTurn
    convention: AngleConvention
    surveys_used: int


def view_orientation(core: HoleCore, rules: Rules) -> OrientationView:
    """Planes and line of one hole under the yard's conventions."""
    turn = line_turn(core, rules)
    return OrientationView(
        measures=_measures(core, rules, turn),
        stretches=_stretches(core, rules),
        share=_share(core),
        turn=turn,
        convention=convention_of(rules),
        surveys_used=len(core.surveys),
    )


def convention_of(rules: Rules) -> AngleConvention:
    """How this yard measures alpha and beta."""
    told = rules.orientation
    return AngleConvention(line=told.reference_line, apex=told.apex, alpha_to=told.alpha_to)


def hole_path(core: HoleCore) -> HolePath:
    """The hole by minimum curvature: from its collar through its surveys; without surveys straight on."""
    hole = core.hole
    stations = {survey.depth_mm: (survey.azimuth_deg, survey.dip_deg) for survey in core.surveys}
    stations.setdefault(0, (hole.azimuth_deg, hole.dip_deg))
    end_mm = max(hole.total_depth_mm, 1000)
    if len(stations) < 2:
        stations[end_mm] = stations[0]
    depths = sorted(stations)
    azimuth, dip = np.array([stations[at] for at in depths]).T
    return minimum_curvature(depth_m=np.array(depths) / 1000, inclination_deg=UP_DEG + dip, azimuth_deg=azimuth)


def line_turn(core: HoleCore, rules: Rules) -> LineTurn:
    """Marks that agree with their neighbours, unrolled and smoothed over five: one mark's scatter turns no core."""
    lone = {id(mark) for mark, _ in lone_marks(core.marks, rules.orientation.mismatch_deg)}
    marks = [mark for mark in core.marks if id(mark) not in lone]
    if not marks:
        return LineTurn(np.zeros(0), np.zeros(0))
    angles = [marks[0].angle_deg]
    for mark in marks[1:]:
        angles.append(angles[-1] + between_deg(mark.angle_deg - angles[-1]))
    smooth = [_middle_fit(marks, angles, at) for at in range(len(marks))]
    return LineTurn(np.array([mark.depth_mm for mark in marks]) / 1000, np.array(smooth))


def _middle_fit(marks: list[OrientationMark], angles: list[float], at: int) -> float:
    """The straight line through a mark and two neighbours on each side, read at the mark."""
    first, last = max(0, at - 2), min(len(marks), at + 3)
    if last - first < 3:
        return float(np.mean(angles[first:last]))
    depth = np.array([mark.depth_mm for mark in marks[first:last]]) / 1000 - marks[at].depth_mm / 1000
    return float(np.polynomial.polynomial.polyfit(depth, angles[first:last], 1)[0])


def _measures(core: HoleCore, rules: Rules, turn: LineTurn) -> tuple[GroundMeasure, ...]:
    if not core.fabric:
        return ()
    told = convention_of(rules)
    depth_m = np.array([one.depth_mm for one in core.fabric]) / 1000
    kept = convert_core_angles(
        alpha_deg=[one.alpha_deg for one in core.fabric],
        beta_deg=[0.0 if one.beta_deg is None else one.beta_deg for one in core.fabric],
        measured=told,
    )
    turns = turn.at(depth_m)
    there = hole_path(core).attitude_at(depth_m=depth_m)
    ground = [
        plane_from_core_angles(
            hole_azimuth_deg=there.azimuth_deg, hole_plunge_deg=there.plunge_deg, alpha_deg=kept.alpha_deg,
            beta_deg=np.mod(kept.beta_deg - less, 360.0),
        )
        for less in (0.0, turns)
    ]  # fmt: skip
    return tuple(
        GroundMeasure(
            plane=plane,
            alpha_deg=float(kept.alpha_deg[at]),
            beta_deg=float(kept.beta_deg[at]) if plane.beta_deg is not None else None,
            turn_deg=float(turns[at]),
            drawn_dip_deg=_if_read(plane, ground[0].dip_deg[at]),
            drawn_direction_deg=_if_read(plane, ground[0].dip_direction_deg[at]),
            dip_deg=_if_read(plane, ground[1].dip_deg[at]),
            direction_deg=_if_read(plane, ground[1].dip_direction_deg[at]),
        )
        for at, plane in enumerate(core.fabric)
    )


def _if_read(plane: Fabric, value: float) -> float | None:
    return None if plane.beta_deg is None or np.isnan(value) else float(value)


def _stretches(core: HoleCore, rules: Rules) -> tuple[LineStretch, ...]:
    found = stretches_of(core.marks, rules)
    return tuple(
        LineStretch(
            from_mm=one.marks[0].depth_mm,
            to_mm=one.marks[-1].depth_mm,
            marks=len(one.marks),
            agreeing=one.agreeing,
            line=one.line,
            drawn=one.drawn,
            spread_deg=one.spread_deg,
        )
        for one in found
    )


def _share(core: HoleCore) -> OrientedShare | None:
    pieces = marked_pieces(core)
    if not pieces:
        return None
    top, bottom, kind = zip(*pieces, strict=True)
    return oriented_share(from_m=np.array(top) / 1000, to_m=np.array(bottom) / 1000, line_class=kind)
