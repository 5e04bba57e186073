"""What must hold of blanks, whatever they read."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.blanks import carry_over, failure_rate, judge_blanks


@given(st.integers(1, 300), st.data())
def test_the_interval_holds_the_rate_and_widens_with_confidence(count, data):
    failed = data.draw(st.integers(0, count))
    one, wider = (
        failure_rate(failures=failed, blanks=count),
        failure_rate(failures=failed, blanks=count, confidence=0.99),
    )
    assert 0.0 <= wider.low <= one.low <= one.rate <= one.high <= wider.high <= 1.0
    assert one.rate <= one.upper <= one.high + 1e-12


@given(
    st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 100.0)), min_size=4, max_size=30).filter(
        lambda rows: np.ptp([x for _, x in rows]) > 1e-3 and np.ptp([y for y, _ in rows]) > 1e-3
    ),
    st.floats(0.001, 0.1),
)
def test_adding_carry_over_adds_just_that(rows, rate):
    blank, before = np.array([y for y, _ in rows]), np.array([x for _, x in rows])
    one, more = carry_over(blank=blank, previous=before), carry_over(blank=blank + rate * before, previous=before)
    assert more.rate - one.rate == pytest.approx(rate, abs=1e-7)
    assert more.standard_error == pytest.approx(one.standard_error, rel=1e-4, abs=1e-9)
    assert one.low <= one.rate <= one.high


@given(st.lists(st.floats(0.0, 10.0), min_size=1, max_size=20), st.floats(0.001, 1.0))
def test_raising_the_detection_limit_never_fails_a_blank_that_passed(blanks, limit):
    low = judge_blanks(blank=blanks, detection_limit=limit)
    high = judge_blanks(blank=blanks, detection_limit=2 * limit)
    assert not (high.above & ~low.above).any()
