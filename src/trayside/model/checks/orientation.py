"""Orientation marks: one that disagrees with its neighbours, and a line that turns along the hole."""

from __future__ import annotations

from statistics import median

import numpy as np

from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.hole import HoleCore, OrientationMark
from trayside.model.rules import Rules


def check_orientation(core: HoleCore, rules: Rules) -> list[Finding]:
    """Findings on the orientation marks of one hole, and surveys deeper than it."""
    hole_id, marks = core.hole.hole_id, core.marks
    lone = lone_marks(marks, rules.orientation.mismatch_deg)
    alone = {id(mark) for mark, _ in lone}
    agreeing = tuple(mark for mark in marks if id(mark) not in alone)  # one wrong mark turns no line
    turns = _turns(agreeing, rules.orientation.drift_deg, round(rules.orientation.drift_over_m * 1000))
    findings = [
        found(
            "orientation.drift",
            f"The line turns {turn_deg:+.0f}° from {from_mm / 1000:.1f} to {to_mm / 1000:.1f} m",
            hole_id=hole_id,
            from_mm=from_mm,
            to_mm=to_mm,
            evidence={"turn_deg": round(turn_deg, 1), "over_m": (to_mm - from_mm) / 1000},
        )
        for from_mm, to_mm, turn_deg in turns
    ]
    findings += [
        found(
            "orientation.mismatch",
            f"The mark at {mark.depth_mm / 1000:.2f} m is {away:+.0f}° from its neighbours",
            hole_id=hole_id,
            from_mm=mark.depth_mm,
            to_mm=mark.depth_mm,
            evidence={"mark_deg": mark.angle_deg, "away_deg": round(away, 1)},
        )
        for mark, away in lone
    ]
    findings += [
        found(
            "survey.beyond_hole",
            f"A survey at {survey.depth_mm / 1000:.2f} m in a hole of {core.hole.total_depth_mm / 1000:.2f} m",
            hole_id=hole_id,
            from_mm=survey.depth_mm,
            to_mm=survey.depth_mm,
            evidence={"total_depth_m": core.hole.total_depth_mm / 1000},
        )
        for survey in core.surveys
        if survey.depth_mm > core.hole.total_depth_mm
    ]
    return findings


def between_deg(angle_deg: float) -> float:
    """The same angle in (-180, 180]."""
    return -((180.0 - angle_deg) % 360.0 - 180.0)


def lone_marks(marks: tuple[OrientationMark, ...], limit_deg: float) -> list[tuple[OrientationMark, float]]:
    """Marks that agree neither with the two above nor with the two below, with the smaller disagreement.

    The first and the last mark have one side only: there one neighbour that agrees is enough, for the other may be the
    wrong one.
    """
    lone = []
    for index, mark in enumerate(marks):
        sides = [marks[max(0, index - 2) : index], marks[index + 1 : index + 3]]
        by_side = [[between_deg(mark.angle_deg - other.angle_deg) for other in side] for side in sides if side]
        aways = [median(side) for side in by_side] if len(by_side) == 2 else [min(s, key=abs) for s in by_side]
        if aways and all(abs(away) > limit_deg for away in aways):
            lone.append((mark, min(aways, key=abs)))
    return lone


def _turns(marks: tuple[OrientationMark, ...], turn_deg: float, over_mm: int) -> list[tuple[int, int, float]]:
    """Stretches over which the line turns: the angles, smoothed over three marks, run from one value to another.

    From each mark the stretch is grown while the turn keeps growing; the largest turns are kept, without overlap.
    """
    if len(marks) < 4:
        return []
    angles = _unwrapped([mark.angle_deg for mark in marks])
    smooth = [median(angles[max(0, i - 1) : i + 2]) for i in range(len(angles))]
    depths = [mark.depth_mm for mark in marks]
    level, along = np.array(smooth), np.array(depths)
    far = (along - along[:, None] >= over_mm) & (np.abs(level - level[:, None]) > turn_deg)
    candidates = [
        (first, last, smooth[last] - smooth[first])
        for first, last in np.argwhere(np.triu(far, k=3)).tolist()
        if _steady(depths, smooth, first, last)
    ]
    kept: list[tuple[int, int, float]] = []
    for first, last, turn in sorted(candidates, key=lambda found_: (-round(abs(found_[2]), 1), found_[1] - found_[0])):
        if all(last <= other_first or first >= other_last for other_first, other_last, _ in kept):
            kept.append((first, last, turn))
    return sorted((depths[first], depths[last], turn) for first, last, turn in kept)


def _steady(depths: list[int], angles: list[float], first: int, last: int) -> bool:
    """Whether the angles follow the straight line between the two ends: no mark off by a third of the turn."""
    turn, span = angles[last] - angles[first], depths[last] - depths[first]
    allowed = max(6.0, abs(turn) / 3)
    return all(
        abs(angles[i] - (angles[first] + turn * (depths[i] - depths[first]) / span)) <= allowed
        for i in range(first, last + 1)
    )


def _unwrapped(angles: list[float]) -> list[float]:
    out = [angles[0]]
    for angle in angles[1:]:
        out.append(out[-1] + between_deg(angle - out[-1]))
    return out
