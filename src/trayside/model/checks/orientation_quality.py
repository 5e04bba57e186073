"""How far the orientation line can be trusted: joints that spun, lines drawn better than their marks, runs turned round."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass

import numpy as np

from trayside.core.orientation_quality import TURNED, agreeing_marks, half_turn_test, joint_mismatch, oriented_share
from trayside.model.checks.orientation import lone_marks
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.hole import HoleCore, OrientationMark
from trayside.model.rules import Rules

PARTED = ("broken", "spun")
"""Joints over which no line can be carried."""
FEWEST_PLANES = 8
"""Fewer planes of one kind say nothing about the side a line lies on."""


@dataclass(frozen=True, slots=True)
class MarkStretch:
    """Marks on core that locks together, what they allow, and the best line that was drawn there."""

    marks: tuple[OrientationMark, ...]
    agreeing: int
    line: str
    drawn: str
    spread_deg: float | None


def check_orientation_quality(core: HoleCore, rules: Rules) -> list[Finding]:
    """Findings on the orientation line of one hole, beside marks astray and a line that drifts."""
    return [
        *_spun_joints(core, rules),
        *_drawn_too_well(core, rules),
        *_turned_runs(core, rules),
        *_little_oriented(core, rules),
    ]


def stretches_of(marks: tuple[OrientationMark, ...], rules: Rules) -> tuple[MarkStretch, ...]:
    """Marks from one joint that parts the core to the next, with the largest set that agrees."""
    if not marks:
        return ()
    told = rules.orientation
    group = np.cumsum([0, *(mark.joint in PARTED for mark in marks[1:])])
    sets = agreeing_marks(
        mark_deg=[mark.angle_deg for mark in marks], stretch=group, tolerance_deg=told.agree_deg,
        solid_from=max(told.solid_from, told.dashed_from), dashed_from=told.dashed_from,
    )  # fmt: skip
    found_at = []
    for at in range(int(group[-1]) + 1):
        here = tuple(mark for mark, number in zip(marks, group, strict=True) if number == at)
        drawn = next((line for line in ("solid", "dashed") if any(mark.line == line for mark in here)), "none")
        spread = float(sets.spread_deg[at])
        found_at.append(
            MarkStretch(
                here,
                int(sets.agreeing_count[at]),
                str(sets.line_class[at]),
                drawn,
                None if np.isnan(spread) else spread,
            )
        )
    return tuple(found_at)


def marked_pieces(core: HoleCore) -> tuple[tuple[int, int, str], ...]:
    """Each usable run with the line on it: of its own mark, or of the next mark when every joint down to it is locked."""
    runs, deepest = [], -1
    for run in core.runs:
        if run.to_mm > run.from_mm >= deepest:
            runs.append(run)
            deepest = run.to_mm
    pieces: list[tuple[int, int, str]] = []
    line, carried = "none", False
    for run in reversed(runs):
        own = next((mark for mark in reversed(core.marks) if run.from_mm < mark.depth_mm <= run.to_mm), None)
        if own is not None:
            line, carried = own.line, own.joint not in PARTED
        elif carried:
            carried = False  # a line is carried over one run without a mark, not further
        else:
            line = "none"
        pieces.append((run.from_mm, run.to_mm, line))
    return tuple(reversed(pieces))


def _spun_joints(core: HoleCore, rules: Rules) -> list[Finding]:
    lone = {id(mark) for mark, _ in lone_marks(core.marks, rules.orientation.mismatch_deg)}
    marks = [mark for mark in core.marks if id(mark) not in lone]
    if len(marks) < 2:
        return []
    joints = joint_mismatch(
        upper_deg=[mark.angle_deg for mark in marks[:-1]],
        lower_deg=[mark.angle_deg for mark in marks[1:]],
        locked=[mark.joint not in PARTED for mark in marks[1:]],
        tolerance_deg=rules.orientation.mismatch_deg,
    )
    return [
        found(
            "orientation.spun_joint",
            f"The marks turn by {turn:+.0f}° between {above.depth_mm / 1000:.2f} and {below.depth_mm / 1000:.2f} m and stay so",
            hole_id=core.hole.hole_id,
            from_mm=above.depth_mm,
            to_mm=below.depth_mm,
            evidence={"turn_deg": round(float(turn), 1), "joint": below.joint or ""},
        )
        for above, below, turn, case in zip(marks[:-1], marks[1:], joints.mismatch_deg, joints.case, strict=True)
        if case == "spun joint"
    ]


def _drawn_too_well(core: HoleCore, rules: Rules) -> list[Finding]:
    rank = {"none": 0, "dashed": 1, "solid": 2}
    return [
        found(
            "orientation.drawn_too_well",
            f"The line is drawn {one.drawn}, {one.agreeing} of {len(one.marks)} marks agree: {one.line} at best",
            hole_id=core.hole.hole_id,
            from_mm=one.marks[0].depth_mm,
            to_mm=one.marks[-1].depth_mm,
            evidence={"marks": len(one.marks), "agreeing": one.agreeing, "drawn": one.drawn},
        )
        for one in stretches_of(core.marks, rules)
        if one.drawn == "solid" and rank[one.line] < rank[one.drawn]
    ]


def _turned_runs(core: HoleCore, rules: Rules) -> list[Finding]:
    runs = sorted((run for run in core.runs if run.to_mm > run.from_mm), key=lambda run: run.to_mm)
    ends = [run.to_mm for run in runs]
    read = [one for one in core.fabric if one.beta_deg is not None and one.kind in _kinds(rules)]
    if not runs or not read:
        return []
    kind, count = Counter(one.kind for one in read).most_common(1)[0]
    if count < FEWEST_PLANES:
        return []
    placed = []
    for one in read:
        at = bisect_left(ends, one.depth_mm)
        if one.kind == kind and at < len(runs) and runs[at].from_mm < one.depth_mm:
            placed.append((one, runs[at]))
    if len(placed) < FEWEST_PLANES:
        return []
    numbered = {id(run): at for at, run in enumerate({id(run): run for _, run in placed}.values())}
    by_number = {numbered[id(run)]: run for _, run in placed}
    sides = half_turn_test(
        beta_deg=[one.beta_deg for one, _ in placed],
        run=np.array([numbered[id(run)] for _, run in placed]),
        odds_wanted=rules.orientation.turned_odds,
    )
    return [
        found(
            "orientation.turned",
            f"The {kind} of run {by_number[at].run} fits a line on the other side of the core",
            hole_id=core.hole.hole_id,
            from_mm=by_number[at].from_mm,
            to_mm=by_number[at].to_mm,
            run=by_number[at].run,
            evidence={
                "planes": sum(numbered[id(run)] == at for _, run in placed),
                "log_odds": round(float(sides.log_odds[at]), 1),
                "expected_beta_deg": round(float(sides.reference_deg[at])),
            },
        )
        for at in range(len(by_number))
        if sides.verdict[at] == TURNED
    ]


def _kinds(rules: Rules) -> frozenset[str]:
    """Kinds of plane that keep to one direction over a hole; joints do not."""
    return frozenset((*rules.cut_plane.fabric, *rules.cut_plane.carriers))


def _little_oriented(core: HoleCore, rules: Rules) -> list[Finding]:
    pieces = marked_pieces(core)
    if not pieces or not core.marks:
        return []
    top, bottom, kind = zip(*pieces, strict=True)
    share = oriented_share(from_m=np.array(top) / 1000, to_m=np.array(bottom) / 1000, line_class=kind)
    if share.oriented_share >= rules.orientation.least_oriented:
        return []
    return [
        found(
            "orientation.little",
            f"{100 * share.oriented_share:.0f} % of the core carries an orientation line",
            hole_id=core.hole.hole_id,
            evidence={name: round(length, 2) for name, length in share.length_m.items()},
        )
    ]
