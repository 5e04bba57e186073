"""Shares of veins and beds against chance, quadrature and polygons; special cases meet the general formula."""

from itertools import pairwise
from math import acos, pi, sqrt

import numpy as np
import pytest
from scipy.integrate import dblquad, quad
from shapely import affinity
from shapely.geometry import Point, box

from trayside.core.vein_shares import (
    across_grade_imbalance,
    axial_vein_imbalance,
    clip_chance,
    clipped_vein_imbalance,
    clipped_vein_shares,
    end_clipped_share,
    layered_grade_imbalance,
    mean_end_share,
    running_grade_imbalance,
)
from trayside.errors import ImpossibleValue


def vein(radius, alpha, thickness, centre, angle, top=0.0, bottom=1000.0):
    return {
        "radius_mm": radius, "alpha_deg": alpha, "thickness_mm": thickness, "centre_mm": centre,
        "sample_from_mm": top, "sample_to_mm": bottom, "angle_deg": angle,
    }  # fmt: skip


def column(u, one):
    """Length of vein in the column of the core at u, from the definition."""
    alpha = np.radians(one["alpha_deg"])
    middle, half = one["centre_mm"] + u / np.tan(alpha), one["thickness_mm"] / (2 * np.sin(alpha))
    return max(0.0, min(one["sample_to_mm"], middle + half) - max(one["sample_from_mm"], middle - half))


def by_quadrature(one):
    radius, phi = one["radius_mm"], np.radians(one["angle_deg"])
    alpha = np.radians(one["alpha_deg"])
    half, cot = one["thickness_mm"] / (2 * np.sin(alpha)), 1 / np.tan(alpha)
    edges = [
        (end - one["centre_mm"] + way * half) / cot
        for end in (one["sample_from_mm"], one["sample_to_mm"])
        for way in (-1, 1)
    ]
    breaks = sorted({e for e in [*edges, radius * abs(np.cos(phi)), -radius * abs(np.cos(phi))] if abs(e) < radius})
    options = {"points": breaks or None, "limit": 400, "epsabs": 1e-5, "epsrel": 1e-10}

    def chord(u):
        return sqrt(max(radius**2 - u * u, 0.0))

    whole, _ = quad(lambda u: 2 * chord(u) * column(u, one), -radius, radius, **options)
    way = 1 if np.cos(phi) >= 0 else -1
    uneven, _ = quad(
        lambda u: 2 * way * min(max(u * np.tan(phi), -chord(u)), chord(u)) * column(u, one), -radius, radius, **options
    )
    return whole, uneven


VEINS = [
    vein(23.8, 45, 5, 0, 15),
    vein(23.8, 30, 10, 10, 30),
    vein(31.75, 3, 8, 700, 45),
    vein(31.75, 60, 40, 3, 88),
    vein(18.25, 1, 2, 400, 70),
    vein(42.5, 20, 200, 500, 60),
    vein(23.8, 75, 30, 998, 130),
    vein(23.8, 10, 3, -60, 215),
    vein(23.8, 40, 20, 5, 300, 0, 12),
]


@pytest.mark.parametrize("one", VEINS)
def test_shares_agree_with_quadrature(one):
    whole, uneven = by_quadrature(one)
    got = clipped_vein_shares(**one)
    assert got.whole == pytest.approx(whole, rel=1e-7)
    assert got.difference == pytest.approx(uneven, abs=1e-7 * whole)
    assert got.imbalance == clipped_vein_imbalance(**one) == pytest.approx(uneven / whole, abs=1e-7)


@pytest.mark.parametrize("one", VEINS)
def test_shares_agree_with_points_thrown_at_random(one):
    # The definition itself: points in the sample, in the vein or not, left or right of the cut.
    chance = np.random.default_rng(7)
    count = 400_000
    radius, alpha, phi = one["radius_mm"], np.radians(one["alpha_deg"]), np.radians(one["angle_deg"])
    half = one["thickness_mm"] / (2 * np.sin(alpha))
    reach = half + radius / np.tan(alpha)
    top = max(one["sample_from_mm"], one["centre_mm"] - reach)
    bottom = min(one["sample_to_mm"], one["centre_mm"] + reach)
    far, round_it = radius * np.sqrt(chance.random(count)), chance.uniform(0, 2 * pi, count)
    u, v, z = far * np.cos(round_it), far * np.sin(round_it), chance.uniform(top, bottom, count)
    inside = np.abs(z - one["centre_mm"] - u / np.tan(alpha)) <= half
    plus = u * np.sin(phi) - v * np.cos(phi) > 0
    held, right = inside.sum(), (inside & plus).sum()
    error = sqrt(max(right * (held - right), 1.0) / held**3)
    got = clipped_vein_shares(**one)
    assert (2 * right - held) / held == pytest.approx(got.imbalance, abs=5 * 2 * error)
    volume = pi * radius**2 * (bottom - top) * held / count
    assert volume == pytest.approx(got.whole, rel=5 * sqrt((count - held) / held / count) + 1e-12)


def test_a_vein_inside_the_sample_is_shared_evenly_by_every_cut():
    angles = np.arange(0, 360, 11.0)
    got = clipped_vein_shares(**vein(23.8, 30, 10, 500, angles))
    assert got.difference == pytest.approx(0, abs=1e-9)
    assert got.whole == pytest.approx(pi * 23.8**2 * 10 / np.sin(np.radians(30)))


def test_a_vein_square_to_the_core_is_shared_evenly_even_when_clipped():
    got = clipped_vein_shares(**vein(23.8, 90, 10, 2, np.arange(0, 360, 30.0)))
    assert got.whole == pytest.approx(pi * 23.8**2 * 7)
    assert got.difference == pytest.approx(0, abs=1e-9)


def test_a_vein_outside_the_sample_has_no_imbalance_rather_than_zero():
    got = clipped_vein_shares(**vein(23.8, 45, 5, np.array([-500.0, 500.0]), 30))
    assert got.whole[0] == 0
    assert np.isnan(got.imbalance[0])
    assert got.imbalance[1] == pytest.approx(0, abs=1e-12)


def test_a_sliver_at_the_rim_lies_in_one_half():
    reach = 2.5 / np.sin(np.radians(45)) + 23.8
    got = clipped_vein_imbalance(**vein(23.8, 45, 5, -reach + np.array([1e-3, 1e-2, 0.5]), 60))
    assert got == pytest.approx([1, 1, 1], abs=1e-12)


def disc(radius):
    polygon = Point(0, 0).buffer(radius, quad_segs=2048)
    grow = sqrt(pi * radius**2 / polygon.area)
    return affinity.scale(polygon, grow, grow, origin=(0, 0))


def plus_half(angle):
    """The half-plane on the plus side of the cut, as a large polygon."""
    return affinity.rotate(box(0, -500, 500, 500), angle - 90.0, origin=(0, 0))


@pytest.mark.parametrize("angle", [5, 30, 60, 90, 140, 250])
@pytest.mark.parametrize(("offset", "thickness"), [(0, 6), (10, 4), (-18, 8), (21, 10)])
def test_a_vein_along_the_core_agrees_with_polygons(offset, thickness, angle):
    strip = disc(23.8).intersection(box(offset - thickness / 2, -500, offset + thickness / 2, 500))
    plus = strip.intersection(plus_half(angle)).area
    expected = (2 * plus - strip.area) / strip.area
    got = axial_vein_imbalance(radius_mm=23.8, offset_mm=offset, thickness_mm=thickness, angle_deg=angle)
    assert got == pytest.approx(expected, abs=5e-6)


def test_near_axial_veins_go_over_into_axial_ones():
    for alpha, near in ((0.1, 2e-3), (0.01, 2e-4)):
        # Middle of the vein 9 mm from the axis halfway down a sample of 500 mm.
        centre = 250 - 9 / np.tan(np.radians(alpha))
        got = clipped_vein_imbalance(**vein(23.8, alpha, 4, centre, 35, 0, 500))
        assert got == pytest.approx(
            axial_vein_imbalance(radius_mm=23.8, offset_mm=9, thickness_mm=4, angle_deg=35), abs=near
        )


def test_thin_axial_vein_is_the_limit_of_a_thick_one_and_missing_off_the_core():
    for angle in (10, 45, 80, 200):
        thin = axial_vein_imbalance(radius_mm=20, offset_mm=7, thickness_mm=0, angle_deg=angle)
        thick = axial_vein_imbalance(radius_mm=20, offset_mm=7, thickness_mm=1e-4, angle_deg=angle)
        assert thin == pytest.approx(thick, abs=1e-5)
    assert np.isnan(axial_vein_imbalance(radius_mm=20, offset_mm=30, thickness_mm=5, angle_deg=10))


@pytest.mark.parametrize("angle", [5, 30, 62, 90])
@pytest.mark.parametrize("x", [0, 0.3, -0.3, 0.7, 0.99])
def test_a_thin_vein_at_one_end_agrees_with_polygons_and_the_general_formula(x, angle):
    radius = 23.8
    kept = disc(radius).intersection(box(x * radius, -500, 500, 500))
    plus = kept.intersection(plus_half(angle)).area
    expected = abs(2 * plus - kept.area) / (pi * radius**2)
    got = end_clipped_share(radius_mm=radius, end_offset_mm=x * radius, angle_deg=angle)
    assert got == pytest.approx(expected, abs=2e-6)
    thin = clipped_vein_shares(**vein(radius, 40, 1e-5, -x * radius / np.tan(np.radians(40)), angle))
    full = pi * radius**2 * 1e-5 / np.sin(np.radians(40))
    assert abs(thin.difference) / full == pytest.approx(got, abs=1e-5)


@pytest.mark.parametrize("angle", [0, 10, 30, 75, 90])
def test_mean_over_places_of_the_end(angle):
    mean, _ = quad(
        lambda x: end_clipped_share(radius_mm=1, end_offset_mm=x, angle_deg=angle), 0, 1,
        points=[np.cos(np.radians(angle))], epsabs=1e-12,
    )  # fmt: skip
    assert mean_end_share(angle_deg=angle) == pytest.approx(mean, abs=1e-9)


def test_chance_of_a_clip_agrees_with_veins_thrown_at_random():
    chance = np.random.default_rng(3)
    reach = 23.8 / np.tan(np.radians(50))
    place = chance.uniform(0, 1000, 200_000)
    clipped = np.mean((place < reach) | (place > 1000 - reach))
    assert clip_chance(core_diameter_mm=47.6, alpha_deg=50, sample_length_mm=1000) == pytest.approx(clipped, abs=2e-3)
    assert clip_chance(core_diameter_mm=47.6, alpha_deg=1, sample_length_mm=300) == 1.0


def layers_by_quadrature(radius, alpha, layers, top, bottom, angle):
    phi, cot = np.radians(angle), 1 / np.tan(np.radians(alpha))

    def grade(r):
        for upper, lower, first, last in layers:
            if upper <= r < lower:
                return first + (last - first) * (r - upper) / (lower - upper)
        return 0.0

    def along(u):
        knots = sorted({top, bottom, *(w + u * cot for one in layers for w in one[:2] if top < w + u * cot < bottom)})
        total = 0.0
        for a, b in pairwise(knots):
            total += grade((a + b) / 2 - u * cot) * (b - a)  # exact for a straight line
        return total

    def chord(u):
        return sqrt(max(radius**2 - u * u, 0))

    options = {"limit": 2000, "epsabs": 1e-7, "epsrel": 1e-9}
    breaks = sorted(
        {b for b in [*((end - w) / cot for end in (top, bottom) for one in layers for w in one[:2]), radius * np.cos(phi),
                     -radius * np.cos(phi)] if abs(b) < radius}
    )  # fmt: skip
    whole, _ = quad(lambda u: 2 * chord(u) * along(u), -radius, radius, points=breaks, **options)
    uneven, _ = quad(
        lambda u: 2 * min(max(u * np.tan(phi), -chord(u)), chord(u)) * along(u),
        -radius,
        radius,
        points=breaks,
        **options,
    )
    return whole, uneven


@pytest.mark.parametrize(("alpha", "angle"), [(30, 20), (55, 75), (15, 50)])
def test_layered_grade_agrees_with_quadrature(alpha, angle):
    layers = [(-80, 40, 0.5, 2.0), (40, 55, 9.0, 9.0), (70, 150, 4.0, 0.0), (150, 420, 1.0, 1.5)]
    upper, lower, first, last = np.array(layers).T
    got = layered_grade_imbalance(
        radius_mm=23.8, alpha_deg=alpha, layer_from_mm=upper, layer_to_mm=lower, grade_from=first, grade_to=last,
        sample_from_mm=0, sample_to_mm=300, angle_deg=angle,
    )  # fmt: skip
    whole, uneven = layers_by_quadrature(23.8, alpha, layers, 0, 300, angle)
    assert got.whole == pytest.approx(whole, rel=1e-7)
    assert got.difference == pytest.approx(uneven, abs=1e-7 * whole)


def test_layers_of_even_grade_are_veins_added_up():
    one, two = vein(23.8, 35, 8, 5, 40), vein(23.8, 35, 4, 60, 40)
    shares = [clipped_vein_shares(**v) for v in (one, two)]
    half = [v["thickness_mm"] / 2 / np.sin(np.radians(35)) for v in (one, two)]
    got = layered_grade_imbalance(
        radius_mm=23.8, alpha_deg=35, layer_from_mm=[5 - half[0], 60 - half[1]], layer_to_mm=[5 + half[0], 60 + half[1]],
        grade_from=[3, 7], grade_to=[3, 7], sample_from_mm=0, sample_to_mm=1000, angle_deg=40,
    )  # fmt: skip
    assert got.whole == pytest.approx(3 * shares[0].whole + 7 * shares[1].whole)
    assert got.difference == pytest.approx(3 * shares[0].difference + 7 * shares[1].difference)


@pytest.mark.parametrize("angle", [10, 60, 90, 200])
def test_grade_that_runs_on_straight_is_the_closed_form(angle):
    alpha, length, first, last = 50.0, 400.0, 1.0, 3.0
    reach = 23.8 / np.tan(np.radians(alpha))
    slope = (last - first) / length
    got = layered_grade_imbalance(
        radius_mm=23.8, alpha_deg=alpha, layer_from_mm=[-reach], layer_to_mm=[length + reach],
        grade_from=[first - slope * reach], grade_to=[last + slope * reach], sample_from_mm=[0], sample_to_mm=[length],
        angle_deg=angle,
    )  # fmt: skip
    closed = running_grade_imbalance(
        radius_mm=23.8, alpha_deg=alpha, length_mm=length, grade_from=first, grade_to=last, angle_deg=angle
    )
    assert got.imbalance == pytest.approx([closed], abs=1e-10)


@pytest.mark.parametrize("angle", [20.0, 70.0, 250.0])
def test_grade_that_changes_across_the_core(angle):
    # Grade 2 on the axis and 3 at the rim toward beta; the plus half lies a quarter turn anticlockwise from the cut.
    def half(low, high):
        return dblquad(lambda r, t: (2 + r * np.cos(t)) * r, np.radians(low), np.radians(high), 0, 1, epsabs=1e-10)[0]

    plus, minus = half(angle - 180, angle), half(angle, angle + 180)
    got = across_grade_imbalance(mean_grade=2, rim_change=1, angle_deg=angle)
    assert got == pytest.approx((plus - minus) / (plus + minus), abs=1e-9)
    with pytest.raises(ImpossibleValue, match="negative at the rim"):
        across_grade_imbalance(mean_grade=2, rim_change=-2.5, angle_deg=angle)


def test_segment_beyond_the_cut_uses_the_circular_segment():
    x = 0.8
    got = end_clipped_share(radius_mm=10, end_offset_mm=8, angle_deg=80)
    assert got == pytest.approx((acos(x) - x * sqrt(1 - x * x)) / pi)


@pytest.mark.parametrize(
    ("bad", "where"),
    [
        ({"radius_mm": 0}, "radius_mm"),
        ({"alpha_deg": 0}, "alpha_deg"),
        ({"alpha_deg": 91}, "alpha_deg"),
        ({"thickness_mm": 0}, "thickness_mm"),
        ({"sample_to_mm": 0}, "sample_to_mm"),
        ({"centre_mm": float("nan")}, "centre_mm"),
        ({"angle_deg": [1, 2], "centre_mm": [1, 2, 3]}, "do not go together"),
    ],
)
def test_impossible_veins_are_refused(bad, where):
    with pytest.raises(ImpossibleValue, match=where):
        clipped_vein_imbalance(**vein(23.8, 45, 5, 0, 15) | bad)


def test_impossible_beds_are_refused():
    beds = {
        "radius_mm": 20, "alpha_deg": 40, "layer_from_mm": [0, 10], "layer_to_mm": [10, 20], "grade_from": 1,
        "grade_to": 2, "sample_from_mm": 0, "sample_to_mm": 100, "angle_deg": 10,
    }  # fmt: skip
    with pytest.raises(ImpossibleValue, match="overlap"):
        layered_grade_imbalance(**beds | {"layer_from_mm": [0, 9]})
    with pytest.raises(ImpossibleValue, match="grade_from"):
        layered_grade_imbalance(**beds | {"grade_from": -1})
    with pytest.raises(ImpossibleValue, match="layer_to_mm"):
        layered_grade_imbalance(**beds | {"layer_to_mm": [0, 20]})
    with pytest.raises(ImpossibleValue, match="outside the core"):
        end_clipped_share(radius_mm=10, end_offset_mm=11, angle_deg=5)
    with pytest.raises(ImpossibleValue, match="barren"):
        running_grade_imbalance(radius_mm=20, alpha_deg=40, length_mm=100, grade_from=0, grade_to=0, angle_deg=10)
