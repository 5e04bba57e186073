"""Imbalance of clipped veins, special cases, many veins, and marks.

Grade of every figure: derived. Worked out beforehand by separate scripts from the closed forms and checked there by
quadrature and random points; no publication with such numbers was found. Tolerance: half the last place given.
"""

import numpy as np
import pytest

from trayside.core.cut_mark import arc_mm, blade_half_angle_deg, turn_deg
from trayside.core.cut_plane import absolute_cut, best_cut_deg, squares_cut
from trayside.core.sample_cut import best_sample_cut, sample_imbalances
from trayside.core.vein_shares import (
    axial_vein_imbalance,
    clipped_vein_imbalance,
    clipped_vein_shares,
    end_clipped_share,
    layered_grade_imbalance,
    mean_end_share,
    running_grade_imbalance,
)

# Radius, alpha, thickness, centre, angle; whole and difference mm3, imbalance; random points and their standard error.
VEINS = [
    (23.8, 45, 5, 0, 15, 6291.567, 1040.700, 0.165412, 0.16846, 0.00245),
    (23.8, 45, 5, 0, 45, 6291.567, 3116.320, 0.495317, 0.49834, 0.00245),
    (23.8, 45, 5, 0, 90, 6291.567, 5697.663, 0.905603, 0.90435, 0.00245),
    (23.8, 30, 10, 10, 30, 23181.082, 5418.546, 0.233749, 0.23658, 0.00192),
    (31.75, 3, 8, 700, 45, 387697.498, -82419.921, -0.212588, -0.21407, 0.00234),
    (31.75, 60, 40, 3, 90, 82637.690, 24638.218, 0.298147, 0.29854, 0.00132),
]


@pytest.mark.parametrize(
    ("radius", "alpha", "thickness", "centre", "angle", "whole", "uneven", "exact", "thrown", "error"), VEINS
)
def test_table_of_clipped_veins(radius, alpha, thickness, centre, angle, whole, uneven, exact, thrown, error):
    one = {
        "radius_mm": radius, "alpha_deg": alpha, "thickness_mm": thickness, "centre_mm": centre, "sample_from_mm": 0,
        "sample_to_mm": 1000, "angle_deg": angle,
    }  # fmt: skip
    got = clipped_vein_shares(**one)
    assert (got.whole, got.difference) == pytest.approx((whole, uneven), abs=5e-4)
    assert clipped_vein_imbalance(**one) == pytest.approx(exact, abs=5e-7)
    assert clipped_vein_imbalance(**one) == pytest.approx(thrown, abs=5 * error)


@pytest.mark.parametrize("angle", [0, 17, 45, 90, 133])
def test_vein_inside_the_sample(angle):
    got = clipped_vein_shares(
        radius_mm=23.8,
        alpha_deg=30,
        thickness_mm=10,
        centre_mm=500,
        sample_from_mm=0,
        sample_to_mm=1000,
        angle_deg=angle,
    )
    assert got.whole == pytest.approx(35590.475, abs=5e-4)
    assert got.difference == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("angle", "expected"),
    [(5, 0.050512), (10, 0.101802), (15, 0.154701), (30, 0.333333), (45, 0.577350), (60, 1), (75, 1)],
)
def test_axial_vein_at_half_the_radius(angle, expected):
    got = axial_vein_imbalance(radius_mm=23.8, offset_mm=11.9, thickness_mm=0, angle_deg=angle)
    assert got == pytest.approx(expected, abs=5e-7)


@pytest.mark.parametrize(("angle", "expected"), [(30, 0.10610330), (90, 0.21220659)])
def test_mean_over_uniformly_placed_ends(angle, expected):
    assert mean_end_share(angle_deg=angle) == pytest.approx(expected, abs=5e-9)


def test_an_end_through_the_axis_shares_in_proportion_to_the_angle():
    # The vein left in the sample is half the whole, so that its imbalance is 2 phi / pi.
    for angle in (10, 45, 90):
        share = end_clipped_share(radius_mm=23.8, end_offset_mm=0, angle_deg=angle)
        assert share / 0.5 == pytest.approx(2 * np.radians(angle) / np.pi, abs=1e-12)


# Radius, alpha, angle, length, both grades, imbalance.
RUNNING = [
    (23.8, 30, 90, 1000, 0.0, 2.0, -0.03499101),
    (23.8, 30, 45, 1000, 0.0, 2.0, -0.02474238),
    (31.75, 20, 30, 500, 0.5, 3.0, -0.05288941),
    (42.5, 45, 60, 300, 1.0, 1.8, -0.02975426),
]


@pytest.mark.parametrize(("radius", "alpha", "angle", "length", "first", "last", "expected"), RUNNING)
def test_grade_running_from_end_to_end(radius, alpha, angle, length, first, last, expected):
    got = running_grade_imbalance(
        radius_mm=radius, alpha_deg=alpha, length_mm=length, grade_from=first, grade_to=last, angle_deg=angle
    )
    assert got == pytest.approx(expected, abs=5e-9)


def test_the_general_form_for_beds_gives_the_same():
    slope = 0.8 / 300
    got = layered_grade_imbalance(
        radius_mm=42.5, alpha_deg=45, layer_from_mm=[-42.5], layer_to_mm=[342.5], grade_from=[1 - 42.5 * slope],
        grade_to=[1.8 + 42.5 * slope], sample_from_mm=0, sample_to_mm=300, angle_deg=60,
    )  # fmt: skip
    assert got.imbalance == pytest.approx(-0.02975426, abs=5e-9)


# Betas, weights, best plane by squares, alignment, least, largest, best by absolute values, its cost, all ties.
MANY = [
    ((20, 200), (1, 1), 20, 1.0, 0, 2, 20, 0, [20]),
    ((350, 10), (1, 1), 0, 0.939693, 0.060307, 1.939693, 10, 0.342020, [10, 170]),
    ((0, 90), (1, 1), None, 0, 1, 1, 0, 1, [0, 90]),
    ((30, 50, 170), (2, 1, 1), 26.6819, 0.739881, 0.520239, 3.479761, 30, 0.984808, [30]),
    ((10, 40, 350), (1, 1, 1), 12.8131, 0.759005, 0.361493, 2.638507, 10, 0.842020, [10]),
]


@pytest.mark.parametrize(("beta", "weight", "plane", "alignment", "least", "largest", "absolute", "cost", "ties"), MANY)
def test_table_of_many_veins(beta, weight, plane, alignment, least, largest, absolute, cost, ties):
    squares = squares_cut(beta_deg=beta, weight=weight)
    got = best_cut_deg(beta_deg=beta, weight=weight)
    if plane is None:
        assert np.isnan(got)
    else:
        assert abs((got - plane + 90) % 180 - 90) < 5e-5
    assert squares.alignment == pytest.approx(alignment, abs=5e-7)
    assert (squares.least_cost, squares.largest_cost) == pytest.approx((least, largest), abs=5e-7)
    by_absolute = absolute_cut(beta_deg=beta, weight=weight)
    assert by_absolute.cut_deg == pytest.approx(absolute)
    assert by_absolute.least_cost == pytest.approx(cost, abs=5e-7)
    assert by_absolute.tied_deg == pytest.approx(ties)


def test_simulated_hole_with_a_fabric():
    # Described: 300 m of 47.6 mm core, 1500 veins, beta about 65 +- 20, alpha about 35 +- 8, exponential thickness, samples
    # of 1 m; found there: best plane 64.42; rms imbalance 0.0222 there, 0.0220 at +10, 0.0331 at +30, 0.0539 at +60,
    # 0.0596 at +90. Mean thickness and the random stream were not given, so only the pattern can be compared.
    chance = np.random.default_rng(11)
    count, top = 1500, np.arange(300) * 1000.0
    hole = {
        "radius_mm": 23.8,
        "alpha_deg": np.clip(chance.normal(35, 8, count), 5, 85),
        "beta_deg": chance.normal(65, 20, count),
        "thickness_mm": chance.exponential(5, count) + 1e-3,
        "centre_mm": chance.uniform(0, 300_000, count),
        "sample_from_mm": top,
        "sample_to_mm": top + 1000,
    }
    best = best_sample_cut(**hole)
    assert best.cut_deg == pytest.approx(64.42, abs=5)
    turned = sample_imbalances(**hole, cut_deg=best.cut_deg + np.array([0, 10, 30, 60, 90.0])).imbalance
    rms = np.sqrt(np.nanmean(turned**2, axis=1))
    assert rms[0] == pytest.approx(0.0222, rel=0.3)
    assert (np.diff(rms) > 0).all()
    assert rms[1] - rms[0] < 0.1 * (rms[4] - rms[0])  # ten degrees are nearly free
    assert 2 < rms[4] / rms[0] < 5  # 2.7 there
    assert rms[3] / rms[4] == pytest.approx(0.0539 / 0.0596, rel=0.1)


@pytest.mark.parametrize(("diameter", "arc"), [(36.5, 38.223), (47.6, 49.847), (63.5, 66.497), (85.0, 89.012)])
def test_arc_of_120_degrees(diameter, arc):
    assert arc_mm(core_diameter_mm=diameter, angle_deg=120) == pytest.approx(arc, abs=5e-4)


@pytest.mark.parametrize(
    ("diameter", "turn", "share"),
    [(36.5, 31.3949, 0.521), (47.6, 24.0739, 0.408), (63.5, 18.0459, 0.310), (85.0, 13.4814, 0.233)],
)
def test_ten_millimetres_off_the_line(diameter, turn, share):
    got = turn_deg(core_diameter_mm=diameter, arc_mm=10)
    assert got == pytest.approx(turn, abs=5e-5)
    assert mean_end_share(angle_deg=got) / mean_end_share(angle_deg=90) == pytest.approx(share, abs=5e-4)


def test_half_width_of_the_slot():
    assert blade_half_angle_deg(core_diameter_mm=47.6, kerf_mm=2.2) == pytest.approx(2.649, abs=5e-4)
