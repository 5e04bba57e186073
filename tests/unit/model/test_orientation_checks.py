"""Orientation marks: one that is off, a line that turns, and what must not be taken for either."""

from __future__ import annotations

import pytest

from trayside.model.checks.orientation import between_deg, check_orientation
from trayside.model.rules import OrientationRules, Rules

RULES = Rules()


def marks_every_3_m(*angles: float) -> list[tuple[float, float]]:
    return [(3.0 * index, angle) for index, angle in enumerate(angles, start=1)]


@pytest.fixture
def codes(make_core):
    def short(*angles: float, rules: Rules = RULES) -> list[tuple]:
        core = make_core(marks=marks_every_3_m(*angles), total_m=600)
        return [(one.code, one.from_mm / 1000, one.to_mm / 1000) for one in check_orientation(core, rules)]

    return short


@pytest.mark.parametrize(
    ("angle_deg", "same_deg"), [(0, 0), (180, 180), (-180, 180), (181, -179), (540, 180), (-190, 170), (359, -1)]
)
def test_angles_are_brought_back_to_half_a_turn(angle_deg, same_deg):
    assert between_deg(angle_deg) == same_deg


def test_marks_that_agree_have_no_findings(codes):
    assert codes() == codes(5) == codes(0, 2, -1, 3, 0, 1, -2) == []


def test_one_mark_that_agrees_with_no_side(codes):
    assert codes(0, 1, 0, 40, 0, -1, 0) == [("orientation.mismatch", 12, 12)]
    assert codes(0, 0, 0, 15, 0, 0, 0) == []
    assert codes(0, 0, 0, 16, 0, 0, 0) == [("orientation.mismatch", 12, 12)]


def test_the_mark_beside_a_wrong_one_at_the_end_of_the_hole_is_not_blamed(codes):
    assert codes(0, 40, 0, 1, 0, 0) == [("orientation.mismatch", 6, 6)]
    assert codes(0, 0, 1, 0, 40, 0) == [("orientation.mismatch", 15, 15)]
    assert codes(0, 40, 0) == [("orientation.mismatch", 6, 6)]


def test_a_wrong_first_mark_is_found(codes):
    assert codes(40, 0, 0, 1, 0) == [("orientation.mismatch", 3, 3)]


def test_marks_on_both_sides_of_half_a_turn_agree(codes):
    assert codes(178, -179, 179, -178, 180, -180, 177) == []


def test_a_line_that_was_drawn_anew_from_one_mark_on_is_no_lone_mark(codes):
    assert [code for code, *_ in codes(0, 0, 0, 0, 40, 40, 40, 40) if code == "orientation.mismatch"] == []


def test_a_line_that_turns_steadily(codes):
    steady = [2.0 * index for index in range(20)]  # 38 degrees over 57 m
    ((code, from_m, to_m),) = codes(*steady)
    assert code == "orientation.drift"
    assert to_m - from_m >= 30
    assert codes(*(0.3 * index for index in range(20))) == []


def test_the_turn_must_be_larger_than_the_threshold_and_long_enough(codes):
    turn = [2.0 * index for index in range(20)]
    assert codes(*turn, rules=Rules(orientation=OrientationRules(drift_deg=38.0))) == []
    assert codes(*turn, rules=Rules(orientation=OrientationRules(drift_over_m=58.0))) == []
    assert len(codes(*turn, rules=Rules(orientation=OrientationRules(drift_deg=30.0, drift_over_m=50.0)))) == 1


def test_a_turn_backward_and_through_half_a_turn(make_core):
    angles = [between_deg(170 - 2.0 * index) for index in range(180)]  # all the way round
    core = make_core(marks=marks_every_3_m(*angles), total_m=600)
    (finding,) = check_orientation(core, RULES)
    assert finding.evidence["turn_deg"] == pytest.approx(-358, abs=4)


@pytest.mark.parametrize("wrong_deg", [170, 180, -170])
def test_a_mark_on_the_far_side_turns_no_line(codes, wrong_deg):
    """From 170 to -20 the short way is on round the core: a lone wrong mark must not add a whole turn."""
    angles = [0, -10, -12, -15, wrong_deg, -18, -20, -16, -15, -12, -10, -8, -5, 0, 0, 0]
    assert codes(*angles) == [("orientation.mismatch", 15, 15)]


def test_a_survey_below_the_hole(make_core, seen):
    assert seen(check_orientation(make_core(surveys=[0, 30.0, 30.01]), RULES)) == [
        ("survey.beyond_hole", None, 30.01, 30.01)
    ]
