"""Measures of pairs: first and second may change places, and the unit does not matter."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from trayside.core.duplicates import hard_curve, hyperbola_check, pair_measures, reduced_major_axis, rms_cv
from trayside.core.pair_tests import bland_altman_ratio, sign_test

GRADE = st.integers(1, 100_000).map(lambda v: v / 1000)
PAIRS = st.lists(st.tuples(GRADE, GRADE), min_size=1, max_size=40)


def columns(pairs):
    return np.array([a for a, _ in pairs]), np.array([b for _, b in pairs])


@settings(deadline=None)
@given(PAIRS, st.sampled_from([0.001, 31.1034768, 1e6]))
def test_pair_cv_is_the_same_both_ways_and_in_every_unit(pairs, factor):
    first, second = columns(pairs)
    cv = rms_cv(first, second)
    assert 0 <= cv <= 2**0.5
    assert rms_cv(second, first) == pytest.approx(cv, rel=1e-12)
    assert rms_cv(factor * first, factor * second) == pytest.approx(cv, rel=1e-9)
    assert cv >= pair_measures(first, second).cv.mean() - 1e-12


@settings(deadline=None)
@given(PAIRS)
def test_the_curve_rises_to_all_pairs(pairs):
    curve = hard_curve(*columns(pairs))
    assert (np.diff(curve.hard) >= 0).all()
    assert curve.share[-1] == 1.0
    assert curve.median <= curve.p90 + 1e-12


@settings(deadline=None)
@given(PAIRS, st.floats(1, 3), st.floats(0, 50))
def test_a_wider_hyperbola_fails_no_more_pairs(pairs, m, b):
    first, second = columns(pairs)
    narrow, wide = hyperbola_check(first, second, m=m, b=b), hyperbola_check(first, second, m=m + 0.1, b=b + 1)
    assert wide.count <= narrow.count
    assert hyperbola_check(second, first, m=m, b=b).count == narrow.count
    assert not (wide.failed & ~narrow.failed).any()


@settings(deadline=None)
@given(st.lists(st.tuples(GRADE, GRADE), min_size=3, max_size=40))
def test_the_axis_turned_round_is_the_same_line(pairs):
    x, y = columns(pairs)
    assume(np.ptp(x) > 0.01 and np.ptp(y) > 0.01)
    assume(abs(np.corrcoef(x, y)[0, 1]) > 0.01)
    one, two = reduced_major_axis(x, y), reduced_major_axis(y, x)
    assert one.slope * two.slope == pytest.approx(1.0, rel=1e-9)
    assert one.slope_low * two.slope_high == pytest.approx(1.0, rel=1e-9)
    assert one.slope_low <= one.slope <= one.slope_high
    assert one.intercept_low <= one.intercept <= one.intercept_high
    assert one.intercept + one.slope * x.mean() == pytest.approx(y.mean(), rel=1e-9)


@settings(deadline=None)
@given(st.lists(st.tuples(GRADE, GRADE), min_size=2, max_size=40))
def test_ratio_limits_turn_over_with_the_pair(pairs):
    first, second = columns(pairs)
    one, two = bland_altman_ratio(first, second), bland_altman_ratio(second, first)
    assert one.mean * two.mean == pytest.approx(1.0)
    assert one.lower * two.upper == pytest.approx(1.0)


@settings(deadline=None)
@given(PAIRS)
def test_sign_test_counts_every_pair_once(pairs):
    first, second = columns(pairs)
    found = sign_test(first, second)
    assert found.larger + found.smaller + found.equal == len(pairs)
    assert 0 < found.p_value <= 1
    assert sign_test(second, first).p_value == found.p_value
