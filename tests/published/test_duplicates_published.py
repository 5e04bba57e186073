"""Duplicates against printed and derived results. Tolerance: half the last printed place."""

import math

import numpy as np
import pytest

from trayside.core.duplicates import (
    HYPERBOLA_SLOPES,
    hard_curve,
    hyperbola_check,
    hyperbola_slope,
    pair_measures,
    reduced_major_axis,
    rms_cv,
    rms_cv_interval,
    share_within,
)
from trayside.core.pair_tests import bland_altman, paired_t
from trayside.core.thompson_howarth import (
    MEDIAN_DIFFERENCE_TO_SD,
    difference_line,
    thompson_howarth_long,
    thompson_howarth_short,
)
from trayside.core.variance import pooled_pair_variance

# Kola C-horizon till, Cu mg/kg, 52 analytical duplicates: CHorANADUP of R package StatDA 1.7.11, commit 828bc95c; data
# of Reimann, Filzmoser, Garrett & Dutter 2008 (data seen). The statistics were derived beforehand; none is published.
KOLA_FIRST = [
    21.8, 13.7, 18.1, 1.9, 6.5, 10.6, 11.8, 6.9, 22.2, 17.4, 16.9, 22.4, 32.8, 20.8, 52.9, 14.8, 48.7, 15.9, 20.1, 57.3,
    12.9, 32.6, 8.2, 58.0, 10.5, 16.0, 17.9, 10.0, 4.3, 13.4, 5.4, 4.7, 10.2, 36.2, 17.5, 22.5, 21.9, 65.7, 5.9, 29.5,
    9.7, 35.2, 4.9, 11.8, 4.7, 15.2, 34.8, 22.9, 36.2, 9.8, 8.2, 29.6,
]  # fmt: skip
KOLA_SECOND = [
    23.9, 14.0, 18.2, 2.0, 6.2, 10.0, 11.0, 6.4, 21.8, 17.6, 16.6, 22.9, 31.6, 17.6, 48.4, 13.9, 54.6, 17.5, 20.3, 59.8,
    13.9, 38.2, 7.7, 60.3, 11.3, 16.5, 18.6, 10.7, 3.9, 11.6, 4.7, 4.1, 10.2, 36.5, 18.8, 23.1, 22.4, 65.8, 6.3, 32.7,
    8.5, 31.4, 4.8, 11.2, 5.1, 14.7, 35.5, 22.6, 34.4, 9.4, 8.2, 28.5,
]  # fmt: skip
# Sokal & Rohlf 1995, Biometry, Box 14.12, in Legendre, Model II regression user's guide, lmodel2 commit 8372f84c (seen).
FISH_X = [14, 17, 24, 25, 27, 33, 34, 37, 40, 41, 42]
FISH_Y = [61, 37, 65, 69, 54, 93, 87, 89, 100, 90, 97]
# Bland & Altman 1986, Lancet i:307, peak flow by two meters, 17 persons (from memory).
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_one_pair_by_hand():
    # First analytical and first field pair of Kola (data seen, derived).
    first = pair_measures([21.8, 21.5], [23.9, 29.4])
    assert 100 * first.hard == pytest.approx([4.595186, 15.520629], abs=5e-7)
    assert 100 * first.ampd == pytest.approx([9.190371, 31.041257], abs=1.0e-6)
    assert 100 * first.cv == pytest.approx([6.498574, 21.949484], abs=5e-7)


def test_kola_pair_cv():
    assert 100 * rms_cv(KOLA_FIRST, KOLA_SECOND) == pytest.approx(5.185643, abs=5e-7)
    measures = pair_measures(KOLA_FIRST, KOLA_SECOND)
    assert 100 * measures.cv.mean() == pytest.approx(4.169847, abs=5e-7)  # biased low
    assert measures.mean.mean() == pytest.approx(20.439423, abs=5e-7)
    assert 100 * measures.ampd.mean() == pytest.approx(5.897054, abs=5e-7)
    variance = pooled_pair_variance(KOLA_FIRST, KOLA_SECOND)
    assert variance == pytest.approx(1.552596, abs=5e-7)
    assert math.sqrt(variance) == pytest.approx(1.246032, abs=5e-7)


def test_relative_error_of_the_pair_cv_is_one_over_root_2n():
    # Derived: 22 % for 10 pairs, 13 % for 30, 10 % for 50, 7.1 % for 100, 5 % for 200.
    for pairs, percent, half in ((10, 22, 0.5), (30, 13, 0.5), (50, 10, 0.5), (100, 7.1, 0.05), (200, 5, 0.5)):
        found = rms_cv_interval(np.full(pairs, 10.0), np.full(pairs, 11.0))
        assert 100 * found.standard_error / found.cv == pytest.approx(percent, abs=half)


def test_kola_hard():
    curve = hard_curve(KOLA_FIRST, KOLA_SECOND)
    assert 100 * curve.mean == pytest.approx(2.948527, abs=5e-7)
    assert 100 * curve.median == pytest.approx(2.556839, abs=5e-7)
    assert 100 * curve.p90 == pytest.approx(6.505218, abs=5e-7)
    assert share_within(KOLA_FIRST, KOLA_SECOND, hard_limit=[0.10, 0.15, 0.20]) == pytest.approx([1.0, 1.0, 1.0])


def test_kola_paired_t():
    found = paired_t(KOLA_FIRST, KOLA_SECOND)
    assert found.mean == pytest.approx(-0.117308, abs=5e-7)
    assert found.t == pytest.approx(-0.476466, abs=5e-7)
    assert found.p_value == pytest.approx(0.635778, abs=5e-7)


def test_kola_reduced_major_axis():
    found = reduced_major_axis(KOLA_FIRST, KOLA_SECOND)
    assert found.slope == pytest.approx(1.028604, abs=5e-7)
    assert found.intercept == pytest.approx(-0.465672, abs=5e-7)
    assert found.correlation == pytest.approx(0.993671, abs=5e-7)
    assert (found.slope_low, found.slope_high) == pytest.approx((0.996307, 1.061949), abs=5e-7)


def test_sokal_and_rohlf_box_14_12():
    # Printed by lmodel2 (seen).
    found = reduced_major_axis(FISH_X, FISH_Y)
    assert found.slope == pytest.approx(2.119366, abs=5e-7)
    assert found.intercept == pytest.approx(12.193785, abs=5e-7)
    assert found.correlation == pytest.approx(0.882318, abs=5e-7)
    assert found.correlation**2 == pytest.approx(0.7784851, abs=5e-8)
    assert (found.slope_low, found.slope_high) == pytest.approx((1.496721, 3.001037), abs=5e-7)
    assert found.intercept_low == pytest.approx(-14.576929, abs=5e-7)
    assert found.intercept_high == pytest.approx(31.09957, abs=5e-6)


def test_bland_and_altman_peak_flow():
    # Printed (from memory): mean -2.1, sd 38.8.
    found = bland_altman(WRIGHT, MINI, width=2.0)
    assert found.mean == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert (found.lower, found.upper) == pytest.approx((-79.65, 75.41), abs=5e-3)  # derived


def test_bland_and_altman_printed_limits_come_from_rounded_numbers():
    # Printed limits -79.7 and 75.5 (from memory) are -2.1 -+ 2 x 38.8; from unrounded numbers they differ.
    found = bland_altman(WRIGHT, MINI, width=2.0)
    from_rounded = [-2.1 - 2 * 38.8, -2.1 + 2 * 38.8]
    assert from_rounded == pytest.approx([-79.7, 75.5], abs=1e-9)
    assert abs(found.lower - -79.7) > 0.05
    assert abs(found.upper - 75.5) > 0.05


def test_factor_of_the_median_difference():
    # Stanley & Lawie 2008, GEEA 8:173, conversion constants (seen): 1.04836; long method printed 1.0484.
    assert pytest.approx(1.04836, abs=5e-6) == MEDIAN_DIFFERENCE_TO_SD


def test_lines_of_the_short_method():
    # Derived: sqrt2 times 1.644854, 2.575829, 0.674490.
    lines = [float(difference_line(sd=1.0, share=share)) for share in (0.90, 0.99, 0.50)]
    assert lines[:2] == pytest.approx([2.3262, 3.6428], abs=5e-5)
    assert lines[2] == pytest.approx(0.95387, abs=5e-6)


def test_kola_thompson_howarth():
    found = thompson_howarth_long(KOLA_FIRST, KOLA_SECOND)
    assert found.group_mean == pytest.approx([5.5, 11.1909, 17.3136, 26.9091], abs=5e-5)
    assert found.group_median_difference == pytest.approx([0.4, 0.7, 0.5, 0.7], abs=1e-9)
    assert found.pairs_left_over == 8
    assert (found.s0, found.k) == pytest.approx((0.444161, 0.010418), abs=5e-7)
    tight, loose = (thompson_howarth_short(KOLA_FIRST, KOLA_SECOND, precision=p) for p in (0.10, 0.30))
    assert (tight.above_90, tight.above_99) == (6, 0)
    assert (loose.above_90, loose.above_99) == (0, 0)


def test_binomial_chances_of_the_short_method():
    # Kola field pairs (derived): 11 of 49 above the 90 % line has chance 0.0080, 3 above the 99 % line 0.0131.
    first = np.full(49, 100.0)
    second = np.array([200.0] * 3 + [150.0] * 8 + [100.0] * 38)
    found = thompson_howarth_short(first, second, precision=0.30)
    assert (found.above_90, found.above_99) == (11, 3)
    assert (found.chance_90, found.chance_99) == pytest.approx((0.0080, 0.0131), abs=5e-5)


def test_kola_hyperbola_counts():
    limits = [(1.35, 10.0), (1.22, 5.0), (1.11, 2.0)]
    assert [hyperbola_check(KOLA_FIRST, KOLA_SECOND, m=m, b=b).count for m, b in limits] == [0, 0, 6]


def test_slope_of_the_hyperbola():
    # Derived from the relative error; the usual slopes (from memory) are these rounded.
    for kind, error, exact in (("pulp", 0.10, 1.105263), ("coarse", 0.20, 1.222222), ("field", 0.30, 1.352941)):
        found = hyperbola_slope(relative_error=error)
        assert found == pytest.approx(exact, abs=5e-7)
        assert HYPERBOLA_SLOPES[kind].value == pytest.approx(found, abs=0.005)
