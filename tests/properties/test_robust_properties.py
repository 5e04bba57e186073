"""Robust centres follow their results: order, level and unit do not matter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.robust import algorithm_a, huber_proposal_2, mad, mandel_paule

RESULTS = st.lists(st.integers(-100_000, 100_000).map(lambda v: v / 100), min_size=2, max_size=40)


@settings(deadline=None)
@given(RESULTS, st.randoms())
def test_order_does_not_matter(values, chance):
    mixed = list(values)
    chance.shuffle(mixed)
    one, two = huber_proposal_2(values), huber_proposal_2(mixed)
    assert one.mean == pytest.approx(two.mean, abs=1e-5 * max(one.sd, 1e-6))
    assert one.sd == pytest.approx(two.sd, rel=1e-4, abs=1e-9)


@settings(deadline=None)
@given(RESULTS, st.sampled_from([0.001, 0.5, 34.2857, 1e6]), st.integers(-1000, 1000))
def test_unit_and_level_carry_through(values, factor, level):
    values = np.array(values)
    one, two = huber_proposal_2(values), huber_proposal_2(factor * values + factor * level)
    scale = factor * (np.abs(values).max() + abs(level) + 1)
    assert two.mean == pytest.approx(factor * (one.mean + level), abs=1e-6 * scale)
    assert two.sd == pytest.approx(factor * one.sd, rel=1e-4, abs=1e-6 * scale)


@settings(deadline=None)
@given(RESULTS)
def test_the_mean_lies_inside_the_results_and_the_spread_is_not_negative(values):
    for found in (huber_proposal_2(values), algorithm_a(values)):
        slack = 1e-9 * (1 + max(map(abs, values)))
        assert min(values) - slack <= found.mean <= max(values) + slack
        assert found.sd >= 0
        assert 0 <= found.pulled_in <= len(values)


@settings(deadline=None)
@given(RESULTS)
def test_mirrored_results_have_the_mirrored_mean(values):
    one, two = huber_proposal_2(values), huber_proposal_2([-v for v in values])
    assert one.mean == pytest.approx(-two.mean, abs=1e-9 * (1 + max(map(abs, values))))


@settings(deadline=None)
@given(RESULTS)
def test_mad_is_no_more_than_half_the_range(values):
    assert 0 <= mad(values) <= (max(values) - min(values)) / 2 + 1e-9


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(-100, 100), st.floats(0.01, 100)), min_size=2, max_size=15))
def test_mandel_paule_lies_between_its_results_with_a_variance_not_below_zero(both):
    means, variances = zip(*both, strict=True)
    found = mandel_paule(means, variances)
    assert min(means) - 1e-9 <= found.mean <= max(means) + 1e-9
    assert found.between_variance >= 0
    assert found.homogeneous == (found.between_variance == 0)
    assert found.standard_error**2 >= (min(variances) / len(means)) * (1 - 1e-9)
