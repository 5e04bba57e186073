"""Measures of pairs, the hyperbola and the line between two results."""

import numpy as np
import pytest

from trayside.core.duplicates import (
    hard_curve,
    hyperbola_check,
    hyperbola_slope,
    pair_measures,
    reduced_major_axis,
    reduced_major_axis_band,
    rms_cv,
    rms_cv_interval,
    share_within,
)
from trayside.errors import ImpossibleValue


def pairs(seed, count, cv, level=100.0):
    rng = np.random.default_rng(seed)
    return level * (1 + cv * rng.standard_normal((2, count)))


def test_the_measures_are_fixed_multiples_of_each_other():
    found = pair_measures([10.0, 8.0], [8.0, 10.0])
    assert found.hard == pytest.approx([1 / 9, 1 / 9])
    assert found.cv == pytest.approx(2**0.5 * found.hard)
    assert found.ampd == pytest.approx(2 * found.hard)
    assert found.hrd == pytest.approx([1 / 9, -1 / 9])
    assert found.cv[0] == pytest.approx(np.std([10, 8], ddof=1) / 9)


def test_the_root_mean_square_finds_the_cv_and_the_mean_does_not():
    first, second = pairs(1, 100_000, 0.05)
    assert rms_cv(first, second) == pytest.approx(0.05, rel=0.01)
    assert pair_measures(first, second).cv.mean() == pytest.approx(0.05 * (2 / np.pi) ** 0.5, rel=0.01)


def test_one_zero_in_a_pair_is_the_largest_cv_there_is():
    assert rms_cv([0.0], [3.0]) == pytest.approx(2**0.5)


def test_both_intervals_cover_the_true_cv():
    hits = np.zeros(2)
    for seed in range(1500):
        found = rms_cv_interval(*pairs(seed, 40, 0.1))
        hits += [found.low <= 0.1 <= found.high, found.low_seen <= 0.1 <= found.high_seen]
    assert hits[0] / 1500 == pytest.approx(0.95, abs=0.02)
    assert 0.91 < hits[1] / 1500 < 0.97


def test_wild_pairs_widen_the_interval_as_seen_and_not_the_normal_one():
    first, second = pairs(3, 60, 0.03)
    first[:2] *= 3.0
    found = rms_cv_interval(first, second)
    assert found.high_seen / found.low_seen > 2 * found.high / found.low
    assert found.standard_error_seen > 2 * found.standard_error


def test_identical_pairs_say_nothing_but_zero():
    found = rms_cv_interval([1.0, 2.0], [1.0, 2.0])
    assert (found.cv, found.low, found.high, found.high_seen) == (0.0, 0.0, 0.0, 0.0)


def test_curve_and_share():
    first, second = [10.0, 10.0, 10.0, 10.0], [10.0, 11.0, 12.0, 30.0]
    curve = hard_curve(first, second)
    assert curve.hard == pytest.approx([0.0, 1 / 21, 1 / 11, 0.5])
    assert curve.share == pytest.approx([0.25, 0.5, 0.75, 1.0])
    assert share_within(first, second, hard_limit=[0.01, 0.06, 0.5, 0.6]) == pytest.approx([0.25, 0.5, 0.75, 1.0])


def test_hyperbola_by_hand_and_in_either_order():
    # 1.35 x 10 = 13.5; with b = 5: sqrt(13.5^2 + 5^2) = 14.396.
    found = hyperbola_check([10.0, 14.4, 14.39, 0.0, 0.0], [14.4, 10.0, 10.0, 4.9, 5.1], m=1.35, b=5.0)
    assert found.failed.tolist() == [True, True, False, False, True]
    assert found.count == 3
    assert found.share == pytest.approx(0.6)
    assert not found.accepted
    assert found.p_value == pytest.approx(0.00856, abs=5e-6)  # 10 x 0.1^3 x 0.9^2 + 5 x 0.1^4 x 0.9 + 0.1^5


def test_hyperbola_far_out_is_the_relative_error():
    slope = hyperbola_slope(relative_error=0.2)
    assert hyperbola_check([1e6], [1e6 * slope * 0.9999], m=slope, b=0.0).count == 0
    assert hyperbola_check([1e6], [1e6 * slope * 1.0001], m=slope, b=0.0).count == 1


def test_axis_of_exact_lines_both_ways():
    x = np.array([1.0, 2.0, 4.0, 7.0])
    up = reduced_major_axis(x, 3 * x + 2)
    assert (up.slope, up.intercept) == pytest.approx((3.0, 2.0))
    assert (up.slope_low, up.slope_high) == pytest.approx((3.0, 3.0), abs=1e-6)
    down = reduced_major_axis(x, 5 - 2 * x)
    assert (down.slope, down.intercept) == pytest.approx((-2.0, 5.0))


def test_interval_of_a_falling_line_is_in_order():
    rng = np.random.default_rng(2)
    x = rng.normal(0, 1, 30)
    found = reduced_major_axis(x, -x + rng.normal(0, 0.4, 30))
    assert found.slope_low < found.slope < found.slope_high < 0
    assert found.intercept_low < found.intercept < found.intercept_high


def test_slope_interval_covers_the_true_slope():
    rng, hits = np.random.default_rng(7), 0
    for _ in range(1500):
        true = rng.normal(10, 3, 30)
        found = reduced_major_axis(true + rng.normal(0, 1, 30), true + rng.normal(0, 1, 30))
        hits += found.slope_low <= 1.0 <= found.slope_high
    assert hits / 1500 == pytest.approx(0.95, abs=0.02)


def test_standard_errors_of_the_axis_match_the_scatter_of_repeats():
    rng, found = np.random.default_rng(9), []
    for _ in range(2000):
        true = rng.normal(10, 3, 60)
        found.append(reduced_major_axis(true + rng.normal(0, 1, 60), true + rng.normal(0, 1, 60)))
    assert np.std([one.slope for one in found]) == pytest.approx(np.mean([one.slope_error for one in found]), rel=0.06)
    assert np.std([one.intercept for one in found]) == pytest.approx(
        np.mean([one.intercept_error for one in found]), rel=0.06
    )


def test_band_covers_the_true_line():
    rng, hits = np.random.default_rng(3), np.zeros(3)
    for _ in range(1500):
        true = rng.normal(10, 3, 40)
        at = np.array([4.0, 10.0, 18.0])
        band = reduced_major_axis_band(true + rng.normal(0, 1, 40), true + rng.normal(0, 1, 40), at=at)
        hits += (band.low <= at) & (at <= band.high)
    assert (np.abs(hits / 1500 - 0.95) < 0.02).all()


def test_axis_does_not_overflow():
    x = np.array([1.0, 2.0, 4.0, 7.0]) * 1e200
    assert reduced_major_axis(x, x).slope == pytest.approx(1.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: rms_cv([], []),
        lambda: rms_cv([1.0], [1.0, 2.0]),
        lambda: rms_cv([-0.01], [1.0]),
        lambda: rms_cv([0.0], [0.0]),
        lambda: rms_cv([float("nan")], [1.0]),
        lambda: rms_cv(["<0.01"], [1.0]),
        lambda: rms_cv_interval([1.0], [1.0]),
        lambda: hyperbola_check([1.0], [1.0], m=0.9, b=0.0),
        lambda: hyperbola_check([1.0], [1.0], m=1.1, b=-1.0),
        lambda: hyperbola_slope(relative_error=2.0),
        lambda: share_within([1.0], [1.0], hard_limit=-0.1),
        lambda: reduced_major_axis([1.0, 2.0], [1.0, 2.0]),
        lambda: reduced_major_axis([1.0, 1.0, 1.0], [1.0, 2.0, 3.0]),
        lambda: reduced_major_axis([1.0, 2.0, 3.0], [1.0, 1.0, 1.0]),
        lambda: reduced_major_axis([-1.0, 0.0, 1.0], [1.0, 0.0, 1.0]),
        lambda: reduced_major_axis([1.0, 2.0, 3.0], [1.0, 2.0, 4.0], confidence=1.0),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
