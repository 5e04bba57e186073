"""Intervals of components: they cover the truth as often as they say."""

import numpy as np
import pytest
from scipy import stats

from trayside.core.variance import nested_components
from trayside.core.variance_intervals import (
    chi_square_interval,
    difference_interval,
    nested_intervals,
    pair_component_intervals,
    satterthwaite_degrees,
    sum_interval,
)
from trayside.errors import ImpossibleValue


@pytest.mark.parametrize("truth", [(1.0, 1.0, 1.0), (0.1, 1.0, 0.3), (0.0, 0.0, 1.0)])
def test_intervals_of_a_nested_table_cover_the_truth(truth):
    target, sampling, analysis = truth
    rng = np.random.default_rng(11)
    wanted = [target, sampling, analysis, sum(truth), sampling + analysis]
    hits, series = np.zeros(5), 800
    for _ in range(series):
        x = (
            rng.normal(0, target**0.5, (10, 1, 1))
            + rng.normal(0, sampling**0.5, (10, 2, 1))
            + rng.normal(0, analysis**0.5, (10, 2, 2))
        )
        found = nested_intervals(nested_components(x).table)
        intervals = [*found.components, found.total, found.measurement]
        hits += [one.low <= want <= one.high for one, want in zip(intervals, wanted, strict=True)]
    # 0.95 with a standard error of 0.008
    assert (np.abs(hits / series - 0.95) < 0.027).all(), hits / series


def test_intervals_from_three_kinds_of_pair_cover_the_truth():
    rng = np.random.default_rng(12)
    hits, series = np.zeros(3), 1500
    counts, totals = (25, 30, 40), (0.09, 0.03, 0.01)
    for _ in range(series):
        field, coarse, pulp = (v * rng.chisquare(n) / n for v, n in zip(totals, counts, strict=True))
        found = pair_component_intervals(
            field_variance=field,
            field_pairs=25,
            preparation_variance=coarse,
            preparation_pairs=30,
            analysis_variance=pulp,
            analysis_pairs=40,
        )
        hits += [one.low <= want <= one.high for one, want in zip(found, (0.06, 0.02, 0.01), strict=True)]
    assert (np.abs(hits / series - 0.95) < 0.02).all(), hits / series


def test_a_plain_variance_has_the_chi_square_interval():
    found = chi_square_interval(variance=2.0, degrees=10, confidence=0.9)
    assert found.low == pytest.approx(20 / stats.chi2.ppf(0.95, 10))
    assert found.high == pytest.approx(20 / stats.chi2.ppf(0.05, 10))


def test_a_sum_of_one_term_is_the_chi_square_interval():
    one = sum_interval([1.0, 0.0], [2.0, 5.0], [10, 3])
    plain = chi_square_interval(variance=2.0, degrees=10)
    assert (one.low, one.high) == pytest.approx((plain.low, plain.high))


def test_a_difference_from_nothing_is_the_chi_square_interval():
    one = difference_interval(upper_square=2.0, upper_degrees=10, lower_square=0.0, lower_degrees=5)
    plain = chi_square_interval(variance=2.0, degrees=10)
    assert (one.low, one.high) == pytest.approx((plain.low, plain.high))


def test_a_difference_touches_zero_exactly_where_the_f_test_does():
    edge = stats.f.ppf(0.975, 7, 8)
    at = difference_interval(upper_square=edge, upper_degrees=7, lower_square=1.0, lower_degrees=8)
    assert at.low == pytest.approx(0.0, abs=1e-9)
    over = difference_interval(upper_square=1.1 * edge, upper_degrees=7, lower_square=1.0, lower_degrees=8)
    assert not over.may_be_nothing
    under = difference_interval(upper_square=0.9 * edge, upper_degrees=7, lower_square=1.0, lower_degrees=8)
    assert under.may_be_nothing
    low_edge = stats.f.ppf(0.025, 7, 8)
    below = difference_interval(upper_square=low_edge, upper_degrees=7, lower_square=1.0, lower_degrees=8)
    assert below.high == pytest.approx(0.0, abs=1e-9)


def test_satterthwaite_of_one_term_is_its_degrees_and_of_equal_terms_their_sum():
    assert satterthwaite_degrees([1.0], [3.0], [7]) == pytest.approx(7)
    assert satterthwaite_degrees([1.0, 1.0], [3.0, 3.0], [7, 7]) == pytest.approx(14)
    assert satterthwaite_degrees([1.0, 1.0], [3e200, 3e200], [7, 7]) == pytest.approx(14)


@pytest.mark.parametrize(
    "call",
    [
        lambda: chi_square_interval(variance=-1.0, degrees=3),
        lambda: chi_square_interval(variance=1.0, degrees=0),
        lambda: chi_square_interval(variance=1.0, degrees=3, confidence=95),
        lambda: satterthwaite_degrees([1.0], [0.0], [3]),
        lambda: satterthwaite_degrees([1.0, 2.0], [1.0], [3]),
        lambda: sum_interval([-1.0], [1.0], [3]),
        lambda: difference_interval(upper_square=1.0, upper_degrees=0, lower_square=1.0, lower_degrees=1),
        lambda: pair_component_intervals(
            field_variance=1.0,
            field_pairs=0,
            preparation_variance=1.0,
            preparation_pairs=3,
            analysis_variance=1.0,
            analysis_pairs=3,
        ),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
