"""Nested tables: the sums of squares add up, and the level of the results does not matter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from trayside.core.variance import balanced_nested, nested_components, what_dominates
from trayside.core.variance_intervals import difference_interval, nested_intervals
from trayside.core.variance_robust import nested_components_robust

TABLES = arrays.arrays(
    np.int64, st.tuples(st.integers(2, 5), st.integers(2, 4), st.integers(2, 4)), elements=st.integers(-1000, 1000)
)


@settings(deadline=None)
@given(TABLES)
def test_sums_of_squares_and_degrees_add_up(table):
    found = balanced_nested(table)
    assert sum(found.sums_of_squares) == pytest.approx(((table - table.mean()) ** 2).sum(), rel=1e-9, abs=1e-6)
    assert sum(found.degrees) == table.size - 1


@settings(deadline=None)
@given(TABLES)
def test_mean_squares_are_rebuilt_from_the_components(table):
    found = nested_components(table)
    of_samples = found.analysis + table.shape[2] * found.sampling
    of_targets = of_samples + table.shape[1] * table.shape[2] * found.target
    assert found.table.mean_squares == pytest.approx((of_targets, of_samples, found.analysis), rel=1e-9, abs=1e-6)
    assert all(square >= 0 for square in found.table.mean_squares)
    assert found.negative == tuple(n for n in ("target", "sampling", "analysis") if getattr(found, n) < 0)


@settings(deadline=None)
@given(TABLES, st.integers(-1000, 1000))
def test_level_of_the_results_does_not_matter(table, level):
    for split in (nested_components, nested_components_robust):
        one, two = split(table), split(table + level)
        for name in ("target", "sampling", "analysis"):
            assert getattr(two, name) == pytest.approx(getattr(one, name), rel=1e-6, abs=1e-4)


@settings(deadline=None)
@given(st.floats(0, 1e6), st.floats(0, 1e6), st.integers(1, 200), st.integers(1, 200), st.floats(0.5, 0.99))
def test_an_interval_holds_its_estimate_and_narrows_with_less_confidence(a, b, df_a, df_b, confidence):
    settings = {"upper_square": a, "upper_degrees": df_a, "lower_square": b, "lower_degrees": df_b}
    wide = difference_interval(**settings, confidence=0.995)
    narrow = difference_interval(**settings, confidence=confidence)
    slack = 1e-6 * (a + b)
    assert wide.low - slack <= narrow.low <= narrow.value + slack
    assert narrow.value - slack <= narrow.high <= wide.high + slack


@settings(deadline=None)
@given(TABLES)
def test_every_interval_of_a_table_holds_its_estimate(table):
    split = nested_components(table)
    if split.table.sums_of_squares == (0.0, 0.0, 0.0):
        return
    found = nested_intervals(split.table)
    for one in (*found.components, found.total, found.measurement):
        assert one.low <= one.value + 1e-6 <= one.high + 2e-6


@settings(deadline=None)
@given(st.floats(-10, 10), st.floats(-10, 10), st.floats(0.001, 10))
def test_shares_add_up_to_one(sampling, preparation, analysis):
    found = what_dominates(sampling=sampling, preparation=preparation, analysis=analysis)
    assert sum(found.shares.values()) == pytest.approx(1.0)
    assert found.clear == (max(found.shares.values()) >= 0.5)
