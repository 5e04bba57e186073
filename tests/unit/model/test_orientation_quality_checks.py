"""What the marks and the fabric say against the drawn line: spun joints, lines drawn too well, turned runs, little line."""

from __future__ import annotations

import pytest

from trayside.model.checks.orientation import check_orientation
from trayside.model.checks.orientation_quality import check_orientation_quality, marked_pieces, stretches_of
from trayside.model.hole import Fabric, Hole, HoleCore, OrientationMark, Run
from trayside.model.rules import OrientationRules, Rules

RULES = Rules()


def hole(*, marks=(), fabric=(), total_m: int = 60) -> HoleCore:
    """Runs of 3 m; marks (depth, angle, line, joint); fabric (depth, beta)."""
    runs = tuple(Run(at + 1, at * 3000, at * 3000 + 3000, 3000, "NQ") for at in range(total_m // 3))
    return HoleCore(
        Hole("Q-1", None, 0, 0, 0, 90, -60, total_m * 1000, str(total_m)),
        runs=runs,
        marks=tuple(OrientationMark(round(at * 1000), angle, line, joint) for at, angle, line, joint in marks),
        fabric=tuple(Fabric(round(at * 1000), 40, "foliation", beta) for at, beta in fabric),
    )


def every_run(angles, *, line: str = "solid", joints: dict[int, str] | None = None):
    return [(3.0 * (at + 1), angle, line, (joints or {}).get(at, "locked")) for at, angle in enumerate(angles)]


def codes(core: HoleCore, rules: Rules = RULES) -> list[str]:
    return [one.code for one in check_orientation_quality(core, rules)]


def test_marks_that_agree_on_every_run_are_no_finding():
    assert codes(hole(marks=every_run([0, 2, -1, 3, 0, 1] * 3 + [0, 0]))) == []


def test_a_turn_that_stays_is_a_spun_joint_and_one_mark_astray_is_not():
    (spun,) = check_orientation_quality(hole(marks=every_run([0] * 10 + [40] * 10)), RULES)
    assert (spun.code, spun.from_mm, spun.to_mm) == ("orientation.spun_joint", 30_000, 33_000)
    assert spun.evidence["turn_deg"] == 40
    assert codes(hole(marks=every_run([0] * 10 + [40] + [0] * 9))) == []


def test_a_turn_over_a_broken_joint_is_no_spun_joint():
    assert codes(hole(marks=every_run([0] * 10 + [40] * 10, joints={10: "broken"}))) == []


def test_a_slow_drift_is_told_once_and_not_as_joints():
    core = hole(marks=every_run([2 * at for at in range(20)]))
    assert [one.code for one in check_orientation(core, RULES)] == ["orientation.drift"]
    assert codes(core) == []


def test_a_solid_line_on_two_marks_is_drawn_too_well():
    marks = [*every_run([0, 1]), (9.0, 0, "solid", "broken"), *[(12.0 + 3 * at, 0, "solid", "locked") for at in range(16)]]
    (found,) = check_orientation_quality(hole(marks=marks), RULES)
    assert (found.code, found.from_mm, found.to_mm) == ("orientation.drawn_too_well", 3_000, 6_000)
    assert "2 of 2 marks agree: dashed" in found.message
    loose = Rules(orientation=OrientationRules(solid_from=2))
    assert codes(hole(marks=marks), loose) == []


def test_the_fabric_of_a_run_on_the_other_side_tells_a_line_drawn_there():
    marks = every_run([0] * 20)
    fabric = [(1.5 + 3 * at, 165 + (at * 7) % 11) for at in range(20)]
    assert codes(hole(marks=marks, fabric=fabric)) == []
    turned = [(at, beta + (180 if 30 < at < 33 else 0)) for at, beta in fabric]
    (found,) = check_orientation_quality(hole(marks=marks, fabric=turned), RULES)
    assert (found.code, found.run, found.from_mm) == ("orientation.turned", 11, 30_000)
    assert found.evidence["log_odds"] < 0
    assert codes(hole(marks=marks, fabric=turned[:7])) == [], "seven planes are too few"


def test_fabric_without_a_direction_turns_no_run():
    marks = every_run([0] * 20)
    assert codes(hole(marks=marks, fabric=[(1.5 + 3 * at, (at * 137) % 360) for at in range(20)])) == []


def test_a_hole_with_little_line_says_so_and_one_without_marks_does_not():
    (found,) = check_orientation_quality(hole(marks=every_run([0, 0, 1])), RULES)
    assert (found.code, found.severity) == ("orientation.little", "note")
    assert codes(hole()) == []


def test_a_line_is_carried_over_one_run_without_a_mark_when_the_joints_are_locked():
    marks = [(3.0, 0, "solid", "locked"), (9.0, 0, "solid", "locked"), (15.0, 0, "dashed", "broken")]
    assert [line for _, _, line in marked_pieces(hole(marks=marks, total_m=21))] == [
        "solid", "solid", "solid", "none", "dashed", "none", "none",
    ]  # fmt: skip


def test_runs_out_of_order_are_no_fault_of_the_line():
    core = hole(marks=every_run([0] * 20))
    mixed = HoleCore(core.hole, runs=(core.runs[1], core.runs[0], *core.runs[2:]), marks=core.marks)
    assert check_orientation_quality(mixed, RULES) == []


@pytest.mark.parametrize(
    ("joint", "stretches"), [("locked", 1), ("uncertain", 1), (None, 1), ("broken", 2), ("spun", 2)]
)
def test_marks_are_read_together_up_to_a_joint_that_parts_the_core(joint, stretches):
    found = stretches_of(hole(marks=every_run([0, 1, 0, 2], joints={2: joint})).marks, RULES)
    assert len(found) == stretches
    assert sum(len(one.marks) for one in found) == 4
