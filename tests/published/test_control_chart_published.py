"""Control charts against printed columns. Tolerance: half the last printed place."""

import numpy as np
import pytest

from trayside.core.control_chart import cusum, ewma, individuals_limits, moving_range_limits

# NIST/SEMATECH e-Handbook of Statistical Methods (data and results from memory, all of them reproduced).
FLOWRATE = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
NIST_EWMA = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *FLOWRATE]
NIST_CUSUM = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip
# Montgomery, Introduction to Statistical Quality Control, 8th ed., Tables 9.1, 9.2 and 9.10: target 10, sd 1 (seen in
# the test data of spc-kit, commit c722e484).
MONTGOMERY = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
    9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
]  # fmt: skip


def test_flowrate_individuals_of_nist_6_3_2_2():
    found = individuals_limits(FLOWRATE)
    assert found.centre == pytest.approx(50.81, abs=5e-3)
    assert found.range_mean == pytest.approx(1.8778, abs=5e-5)
    assert (found.low, found.high) == pytest.approx((45.8159, 55.8041), abs=5e-5)
    assert found.range_high == pytest.approx(6.1347, abs=5e-5)  # derived, 3.267 x 1.8778


def test_mortgage_loans_of_montgomery():
    # Tables 6.6 and 6.7 (seen): mean 300.5, mean range 7.79, limits 279.78 and 321.22, range limit 25.45.
    found = moving_range_limits(mean=300.5, mean_range=7.79)
    assert (found.low, found.high) == pytest.approx((279.78, 321.22), abs=5e-3)
    assert found.range_high == pytest.approx(25.45, abs=5e-3)


def test_ewma_of_nist_6_3_2_4():
    found = ewma(NIST_EWMA, target=50.0, sd=2.0539, weight=0.3, limit=3.0)
    printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
        50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ]  # fmt: skip
    assert found.average == pytest.approx(printed, abs=5e-3)
    assert found.steady_high == pytest.approx(52.5884, abs=5e-5)
    assert found.steady_low == pytest.approx(47.411568, abs=5e-7)  # derived


def test_lower_limit_of_nist_6_3_2_4_comes_from_a_rounded_factor():
    # Printed 47.4115: 50 - 3 x 0.4201 x 2.0539 with sqrt(0.3/1.7) rounded to 0.4201. Unrounded it is 47.4116.
    by_rounded_factor = 50 - 3 * 0.4201 * 2.0539
    assert by_rounded_factor == pytest.approx(47.4115, abs=5e-5)
    found = ewma(NIST_EWMA, target=50.0, sd=2.0539, weight=0.3, limit=3.0)
    assert round(found.steady_low, 4) == 47.4116


def test_cusum_of_nist_6_3_2_3():
    found = cusum(NIST_CUSUM, target=325.0, k=0.3175, h=4.1959)
    upper = [0, 0, 0, 0, 0.0325, *[0] * 7, 3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]
    lower = [0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.715, 0.1725, 0.255, 0.3125, *[0] * 9]
    assert found.upper == pytest.approx(upper, abs=5e-5)
    assert found.lower == pytest.approx(lower, abs=5e-5)
    assert np.flatnonzero(found.signal_upper).tolist() == list(range(13, 20))
    assert not found.signal_lower.any()
    assert found.first_signal == 13
    assert sum(NIST_CUSUM) - 325 * 20 == pytest.approx(19.075, abs=5e-4)


def test_cusum_of_montgomery():
    found = cusum(MONTGOMERY, target=10.0, k=0.5, h=5.0)
    upper = [
        0, 0, 0, 1.16, 2.82, 2.50, 0.04, 1.00, 0, 0, 0, 0.97, 0.98, 0, 0, 0, 0.12, 0, 0, 0.34, 0.74, 0,
        1.79, 2.79, 2.89, 3.47, 3.35, 4.47, 5.28, 5.30,
    ]  # fmt: skip
    lower = [0.05, 1.56, 1.77, 0, 0, 0, 1.46, 0, 0.30, 0, 0.47, 0, 0, 0.10, 0, 0.13, 0, 0, 0.98, 0, 0, 0.17, *[0] * 8]
    assert found.upper == pytest.approx(upper, abs=5e-3)
    assert found.lower == pytest.approx(lower, abs=5e-3)
    assert np.flatnonzero(found.signal_upper | found.signal_lower).tolist() == [28, 29]
    assert found.count_upper[28] == 7
    assert found.shift_began == 22  # counted from 0: after result 22
    assert found.shifted_mean == pytest.approx(10 + 0.5 + 5.28 / 7, abs=5e-3)  # Montgomery's estimate (derived)


def test_ewma_of_montgomery():
    found = ewma(MONTGOMERY, target=10.0, sd=1.0, weight=0.1, limit=2.7)
    printed = [
        9.945, 9.7495, 9.70355, 9.8992, 10.1253, 10.1307, 9.92167, 10.0755, 9.98796, 10.0232, 9.92384, 10.0785,
        10.1216, 10.0495, 10.0525, 9.98426, 10.0478, 10.074, 9.91864, 10.0108, 10.0997, 10.0227, 10.2495, 10.3745,
        10.3971, 10.4654, 10.4568, 10.5731, 10.6468, 10.6341,
    ]  # fmt: skip
    half_places = [5e-6 if value < 10 else 5e-5 for value in printed]
    assert (np.abs(found.average - printed) <= np.array(half_places) + 1e-9).all()
    assert (found.low[0], found.high[0]) == pytest.approx((9.73, 10.27), abs=5e-3)
    assert (found.steady_low, found.steady_high) == pytest.approx((9.380578, 10.619422), abs=5e-7)  # derived
    assert np.flatnonzero(found.signal).tolist() == [28, 29]
