"""Blade wear: worked examples, exact to the digits shown (derived by hand from the stated models; none is printed)."""

import math

import numpy as np
import pytest

from trayside.core.blade_life import blade_left, gamma_wear, learn_wear, life_from_volume, starting_wear


def test_life_from_segments():
    # 24 segments 40 x 3.2 x 10 mm, 2 mm left, 600 mm3/m2 assumed: 40.96 m2; 860.5 m NQ, 645.0 HQ, 481.9 PQ.
    life, wear = life_from_volume(segments=24, length_mm=40, width_mm=3.2, height_mm=10, leave_mm=2, volume_wear=600)
    assert life == pytest.approx(40.96, abs=5e-9)
    assert wear == pytest.approx(0.1953125, abs=5e-9)
    assert [life / (d / 1000) for d in (47.6, 63.5, 85.0)] == pytest.approx([860.5, 645.0, 481.9], abs=0.05)


def test_one_difference_of_height():
    # Wear believed 0.20 +- 0.08; 2.70 mm over 15 m2, two readings of 0.10: 0.180274 +- 0.0093633; 7.30 to 2.00 mm is
    # 29.400 m2, 617.6 m NQ. A first height that is not known at all turns two readings into their difference.
    belief = starting_wear(
        rocks=["granite"], new_height_mm=10, new_height_sd_mm=1e4, wear=0.20, wear_sd=0.08, scatter_mm=0.10
    )
    found = learn_wear(belief=belief, height_mm=[10.0, 7.3], cut_m2=[0, 15]).belief
    assert found.mean[1] == pytest.approx(0.180274, abs=5e-7)
    assert math.sqrt(found.covariance[1, 1]) == pytest.approx(0.0093633, abs=5e-8)
    assert (7.30 - 2.00) / found.mean[1] == pytest.approx(29.400, abs=5e-4)
    assert (7.30 - 2.00) / found.mean[1] / 0.0476 == pytest.approx(617.6, abs=0.05)


@pytest.fixture
def four_readings():
    belief = starting_wear(
        rocks=["granite"], new_height_mm=10, new_height_sd_mm=0.2, wear=0.20, wear_sd=0.08, scatter_mm=0.10
    )
    return learn_wear(belief=belief, height_mm=[10.00, 9.10, 8.25, 7.30], cut_m2=[0, 5, 10, 15]).belief


def test_four_readings(four_readings):
    sd = np.sqrt(np.diag(four_readings.covariance))
    assert four_readings.mean[0] == pytest.approx(10.005917, abs=5e-7)
    assert four_readings.mean[1] == pytest.approx(0.1791716, abs=5e-8)
    assert sd[0] == pytest.approx(0.0769231, abs=5e-8)
    assert sd[1] == pytest.approx(0.0084577, abs=5e-8)
    assert four_readings.covariance[0, 1] / sd[0] / sd[1] == pytest.approx(0.7761, abs=5e-5)


def test_least_squares_without_a_belief():
    # Ordinary least squares of the same readings: 10.005, 0.179.
    vague = starting_wear(rocks=["x"], new_height_mm=10, new_height_sd_mm=1e4, wear=0.2, wear_sd=1e4, scatter_mm=0.1)
    found = learn_wear(belief=vague, height_mm=[10.00, 9.10, 8.25, 7.30], cut_m2=[0, 5, 10, 15]).belief
    assert found.mean == pytest.approx([10.005, 0.179], abs=1e-6)


@pytest.mark.parametrize(("diameter_mm", "metres"), [(47.6, 623.6), (63.5, 467.4), (85.0, 349.2)])
def test_what_is_left_after_four_readings(four_readings, diameter_mm, metres):
    left = blade_left(belief=four_readings, lowest_height_mm=2.0, core_diameter_mm=diameter_mm)
    assert left.area_m2 + 15 == pytest.approx(44.6830, abs=5e-5)
    assert left.area_m2 == pytest.approx(29.6830, abs=5e-5)
    assert left.area_sd_m2 == pytest.approx(1.7965, abs=5e-5)
    assert left.metres == pytest.approx(metres, abs=0.05)


def test_interval_after_four_readings(four_readings):
    left = blade_left(belief=four_readings, lowest_height_mm=2.0, core_diameter_mm=47.6)
    # First order: 562 to 686. From 400,000 draws: 5 and 95 % at 566 and 691 m (within 1.5 m).
    spread = 1.6449 * left.area_sd_m2 / 0.0476
    assert (left.metres - spread, left.metres + spread) == pytest.approx((562, 686), abs=0.5)
    assert (left.low_metres, left.high_metres) == pytest.approx((566, 691), abs=1.5)


def test_interval_is_that_of_draws(four_readings):
    draws = np.random.default_rng(20).multivariate_normal(four_readings.mean, four_readings.covariance, 400_000)
    metres = ((draws[:, 0] - 2.0) / draws[:, 1] - 15.0) / 0.0476
    left = blade_left(belief=four_readings, lowest_height_mm=2.0, core_diameter_mm=47.6)
    assert np.quantile(metres, [0.05, 0.95]) == pytest.approx([left.low_metres, left.high_metres], abs=1.5)
    assert metres.mean() == pytest.approx(625.4, abs=1.5)
    assert metres.std() == pytest.approx(38.1, abs=1.5)


def test_gamma_wear():
    # c 20 a m2, prior 21 and 0.2; 15 m2, 2.70 mm: 321 and 2.90, 0.18125.
    found = gamma_wear(shape_per_m2=20, prior_shape=21, prior_rate=0.2, area_m2=15, worn_mm=2.70)
    assert (found.shape, found.rate) == pytest.approx((321, 2.90))
    assert found.mean == pytest.approx(0.18125, abs=5e-6)
