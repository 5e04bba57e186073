"""What holds for marks, joints, runs and readings of every hole."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.orientation_quality import agreeing_marks, half_turn_test, joint_mismatch, line_drift

whole_degrees = st.integers(0, 359).map(float)


@settings(deadline=None)
@given(st.lists(whole_degrees, min_size=1, max_size=15), st.integers(0, 359), st.integers(1, 90))
def test_turning_all_marks_turns_the_line_and_nothing_else(marks, turn, tolerance):
    stretch = np.zeros(len(marks), dtype=int)
    one = agreeing_marks(mark_deg=marks, stretch=stretch, tolerance_deg=tolerance)
    other = agreeing_marks(mark_deg=np.array(marks) + turn, stretch=stretch, tolerance_deg=tolerance)
    assert other.agreeing_count == one.agreeing_count
    assert other.line_class.tolist() == one.line_class.tolist()
    assert other.spread_deg == pytest.approx(one.spread_deg, nan_ok=True, abs=1e-6)
    kept = np.array(marks)[one.agrees]
    if kept.size:
        away = np.abs((kept - one.line_deg[0] + 180) % 360 - 180)
        assert away.max() <= tolerance + 1e-6


@settings(deadline=None)
@given(st.lists(st.tuples(whole_degrees, whole_degrees, st.booleans()), min_size=1, max_size=20))
def test_every_joint_is_named_by_its_turn(rows):
    upper, lower, locked = (np.array(column) for column in zip(*rows, strict=True))
    got = joint_mismatch(upper_deg=upper, lower_deg=lower, locked=locked)
    assert ((got.case == "not locked") == ~locked).all()
    with np.errstate(invalid="ignore"):
        small = np.abs(got.mismatch_deg) <= 10
    assert ((got.case == "agrees") == small).all()
    assert (got.case == "stray mark").sum() % 2 == 0


@settings(deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 359))
def test_turning_a_whole_hole_does_not_change_a_verdict(seed, turn):
    chance = np.random.default_rng(seed)
    run = np.repeat(np.arange(6), 4)
    beta = chance.normal(40, 20, 24) + 180.0 * (run == 2)
    one, other = (half_turn_test(beta_deg=np.mod(b, 360), run=run) for b in (beta, beta + turn))
    assert other.verdict.tolist() == one.verdict.tolist()
    assert other.log_odds == pytest.approx(one.log_odds, abs=1e-6)


@settings(deadline=None)
@given(st.lists(st.floats(-80, 80), min_size=3, max_size=20), st.floats(0, 360), st.floats(-3, 3))
def test_slope_is_found_whatever_the_zero_of_the_angle(noise, zero, slope):
    depth = np.arange(len(noise)) * 1.0
    away = 0.1 * np.array(noise)
    one = line_drift(depth_m=depth, offset_deg=np.mod(zero + slope * depth + away, 360))
    assert one.slope_deg_per_m == pytest.approx(np.polyfit(depth, slope * depth + away, 1)[0], abs=1e-8)
    assert one.slope_low_deg_per_m <= one.slope_deg_per_m <= one.slope_high_deg_per_m
