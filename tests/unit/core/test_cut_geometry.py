"""Cut geometry against polygons (shapely), quadrature (scipy) and high-precision series; refusals in words."""

from fractions import Fraction
from math import acos, factorial, pi, sqrt

import numpy as np
import pytest
from scipy.integrate import quad
from shapely import affinity
from shapely.geometry import Point, box

from trayside.core.circle_parts import corner, corner_slopes, segment, strip
from trayside.core.cut_geometry import (
    cut_faces,
    cut_pieces,
    drifting_cut,
    offset_from_masses,
    quarter_pieces,
    whole_area,
)
from trayside.errors import ImpossibleValue

SIDES = 4096  # quarter-circle segments: polygon area is short of the circle by 2.5e-8 of it
FAR = 1000.0


def disc(radius):
    """A polygon of the same area as the circle, up to rounding."""
    polygon = Point(0, 0).buffer(radius, quad_segs=SIDES)
    grow = sqrt(pi * radius**2 / polygon.area)
    return affinity.scale(polygon, grow, grow, origin=(0, 0))


@pytest.mark.parametrize("kerf", [0.0, 0.8, 2.2, 3.2, 12.0])
@pytest.mark.parametrize("offset", [-21.0, -6.5, 0.0, 3.0, 17.0, 22.0])
def test_pieces_agree_with_cut_polygons(kerf, offset):
    core = disc(23.8)
    cut = cut_pieces(core_diameter_mm=47.6, kerf_mm=kerf, offset_mm=offset)
    near = core.intersection(box(offset + kerf / 2, -FAR, FAR, FAR)).area
    far = core.intersection(box(-FAR, -FAR, offset - kerf / 2, FAR)).area
    assert cut.near_mm2 == pytest.approx(near, abs=2e-6 * core.area)
    assert cut.far_mm2 == pytest.approx(far, abs=2e-6 * core.area)
    assert cut.slot_mm2 == pytest.approx(core.area - near - far, abs=4e-6 * core.area)


@pytest.mark.parametrize("h", [-23.7, -20.0, -1e-3, 0.0, 4.1, 15.0, 23.0, 23.79])
def test_piece_agrees_with_quadrature(h):
    expected, _ = quad(lambda x: 2 * sqrt(23.8**2 - x * x), h, 23.8, epsabs=1e-11, epsrel=1e-13, limit=400)
    cut = cut_pieces(core_diameter_mm=47.6, kerf_mm=0.0, offset_mm=h)
    assert cut.near_mm2 == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("gap", [1e-3, 1e-6, 1e-9, 1e-12])
def test_thin_slivers_at_the_rim_keep_their_digits(gap):
    # Segment of angle x: R^2/2 (x - sin x), x = 2 acos(1 - gap) = 4 asin(sqrt(gap/2)); the series in exact fractions.
    radius = 1.0
    h = np.float64(radius - gap)
    true_gap = 1.0 - float(h)
    angle = Fraction(4 * float(np.arcsin(sqrt(true_gap / 2))))
    exact = sum((-1) ** (k + 1) * angle ** (2 * k + 1) / factorial(2 * k + 1) for k in range(1, 8)) / 2
    assert float(segment(np.float64(radius), h)) == pytest.approx(float(exact), rel=1e-12, abs=0)
    whole = pi * radius**2
    assert float(segment(np.float64(radius), -h)) == pytest.approx(whole - float(exact), rel=1e-15)


def test_very_thin_slot_is_chord_times_width():
    for offset in (0.0, 3.0, 20.0, -23.0):
        slot = cut_pieces(core_diameter_mm=47.6, kerf_mm=1e-9, offset_mm=offset).slot_mm2
        assert slot == pytest.approx(2 * sqrt(23.8**2 - offset**2) * 1e-9, rel=1e-9, abs=0)
    assert cut_pieces(core_diameter_mm=47.6, kerf_mm=0.0, offset_mm=5.0).slot_mm2 == 0.0


def test_strip_that_covers_the_circle_is_the_circle():
    assert float(strip(np.float64(2.0), np.float64(0.0), np.float64(9.0))) == pytest.approx(pi * 4)


def test_blade_that_only_grazes_the_core_leaves_no_near_piece():
    cut = cut_pieces(core_diameter_mm=47.6, kerf_mm=2.0, offset_mm=23.3)
    assert cut.near_mm2 == 0.0
    assert cut.slot_mm2 > 0.0
    assert cut.far_mm2 + cut.slot_mm2 == pytest.approx(pi * 23.8**2, rel=1e-14)


def test_centred_first_order_kerf_share_holds_within_a_tenth_of_a_percent():
    for diameter in (36.5, 47.6, 63.5, 85.0):
        slot = cut_pieces(core_diameter_mm=diameter, kerf_mm=2.2).slot_mm2
        assert slot / whole_area(core_diameter_mm=diameter) == pytest.approx(4 * 2.2 / (pi * diameter), rel=1e-3)


@pytest.mark.parametrize(
    ("first", "second"), [(0, 0), (3, -2), (-5, 4), (15, 15), (22, 20), (-20, -20), (-21, 10), (10, -21)]
)
def test_quarters_agree_with_cut_polygons(first, second):
    core, kerf = disc(23.8), 2.2
    cut = quarter_pieces(core_diameter_mm=47.6, kerf_mm=kerf, offset_mm=first, second_offset_mm=second)
    half = core.intersection(box(-FAR, first + kerf / 2, FAR, FAR))
    near = half.intersection(box(second + kerf / 2, -FAR, FAR, FAR)).area
    far = half.intersection(box(-FAR, -FAR, second - kerf / 2, FAR)).area
    assert cut.near_quarter_mm2 == pytest.approx(near, abs=2e-6 * core.area)
    assert cut.far_quarter_mm2 == pytest.approx(far, abs=2e-6 * core.area)
    assert cut.second_slot_mm2 == pytest.approx(half.area - near - far, abs=4e-6 * core.area)
    plain_cut = cut_pieces(core_diameter_mm=47.6, kerf_mm=kerf, offset_mm=first)
    assert cut.far_half_mm2 == plain_cut.far_mm2
    assert cut.first_slot_mm2 == plain_cut.slot_mm2


def test_corner_slopes_agree_with_finite_differences_wherever_the_corner_lies():
    r = np.float64(1.0)
    step = 1e-6
    for a, b in [
        (0.1, 0.2),
        (-0.3, 0.4),
        (0.5, -0.6),
        (-0.2, -0.7),
        (-0.9, 0.8),
        (0.8, -0.9),
        (-0.9, -0.9),
        (0.8, 0.8),
    ]:
        a, b = np.float64(a), np.float64(b)
        by_r = (corner(r + step, a, b) - corner(r - step, a, b)) / (2 * step)
        by_a = (corner(r, a + step, b) - corner(r, a - step, b)) / (2 * step)
        by_b = (corner(r, a, b + step) - corner(r, a, b - step)) / (2 * step)
        assert np.array(corner_slopes(r, a, b)) == pytest.approx(np.array([by_r, by_a, by_b]), abs=1e-8)


@pytest.mark.parametrize(
    ("start", "end"), [(0, 5), (5, -5), (-3, 18), (0, 23.5), (2.0, 2.0), (2.0, 2.0 + 1e-7), (2.0, 2.0003)]
)
def test_drifting_cut_is_the_mean_over_its_length(start, end):
    drift = drifting_cut(core_diameter_mm=47.6, kerf_mm=2.2, start_offset_mm=start, end_offset_mm=end)

    def mean(name):
        return quad(
            lambda t: getattr(
                cut_pieces(core_diameter_mm=47.6, kerf_mm=2.2, offset_mm=start + t * (end - start)), name
            ),
            0, 1, epsabs=1e-10, limit=200,
        )[0]  # fmt: skip

    assert drift.near_mm2 == pytest.approx(mean("near_mm2"), abs=2e-7)
    assert drift.far_mm2 == pytest.approx(mean("far_mm2"), abs=2e-7)
    assert drift.slot_mm2 == pytest.approx(mean("slot_mm2"), abs=2e-7)


def test_sawn_faces_are_chords():
    faces = cut_faces(core_diameter_mm=10.0, kerf_mm=2.0, offset_mm=2.0)
    assert faces.near_face_mm == pytest.approx(8.0)  # 3-4-5 triangle, radius 5
    assert faces.far_face_mm == pytest.approx(2 * sqrt(24))


def test_offset_from_masses_is_negative_when_the_near_half_is_heavier():
    cut = cut_pieces(core_diameter_mm=63.5, kerf_mm=2.5, offset_mm=-4.0)
    found = offset_from_masses(near_kg=cut.near_mm2, far_kg=cut.far_mm2, core_diameter_mm=63.5, kerf_mm=2.5)
    assert found == pytest.approx(-4.0, abs=1e-10)


def test_equal_halves_mean_a_centred_cut_exactly():
    assert offset_from_masses(near_kg=2.2, far_kg=2.2, core_diameter_mm=47.6, kerf_mm=2.2) == 0.0


def test_first_order_rule_for_the_offset_holds_for_nearly_equal_halves():
    found = offset_from_masses(near_kg=0.99, far_kg=1.01, core_diameter_mm=47.6, kerf_mm=0.0)
    assert found == pytest.approx(pi * 23.8 / 4 * 0.01, rel=1e-3)


def test_very_unequal_halves_put_the_blade_at_the_rim():
    found = offset_from_masses(near_kg=1e-9, far_kg=1.0, core_diameter_mm=47.6, kerf_mm=2.2)
    cut = cut_pieces(core_diameter_mm=47.6, kerf_mm=2.2, offset_mm=found)
    assert cut.near_mm2 / cut.far_mm2 == pytest.approx(1e-9, rel=1e-6)


def test_numbers_in_give_floats_out_and_arrays_give_arrays():
    assert type(cut_pieces(core_diameter_mm=47.6, kerf_mm=2).near_mm2) is float
    assert type(offset_from_masses(near_kg=1, far_kg=2, core_diameter_mm=47.6, kerf_mm=2)) is float
    many = cut_pieces(core_diameter_mm=[47.6, 63.5], kerf_mm=2.2, offset_mm=[[0.0], [3.0]])
    assert many.near_mm2.shape == (2, 2)
    one = cut_pieces(core_diameter_mm=63.5, kerf_mm=2.2, offset_mm=3.0)
    assert many.near_mm2[1, 1] == one.near_mm2
    assert many.slot_mm2[1, 1] == one.slot_mm2


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"core_diameter_mm": 0.0}, "core_diameter_mm: 0 must be more than 0"),
        ({"core_diameter_mm": float("nan")}, "core_diameter_mm: missing"),
        ({"kerf_mm": -0.1}, "kerf_mm: -0.1 must be at least 0"),
        ({"kerf_mm": 47.6}, "as wide as the core"),
        ({"kerf_mm": [2.0, 60.0]}, "kerf_mm, entry 1: 60 is as wide as the core"),
        ({"offset_mm": 23.8}, "the blade would miss it"),
        ({"offset_mm": -30.0}, "the blade would miss it"),
        ({"offset_mm": float("inf")}, "offset_mm: infinite"),
        ({"offset_mm": "3"}, "not a number"),
        ({"kerf_mm": [1.0, 2.0], "offset_mm": [1.0, 2.0, 3.0]}, "do not go together"),
    ],
)
def test_impossible_cuts_are_refused_in_words(change, words):
    with pytest.raises(ImpossibleValue) as caught:
        cut_pieces(**{"core_diameter_mm": 47.6, "kerf_mm": 2.2, "offset_mm": 0.0} | change)
    assert words in str(caught.value)


@pytest.mark.parametrize("masses", [(0.0, 1.0), (1.0, 0.0), (-1.0, 1.0), (float("nan"), 1.0)])
def test_offset_needs_two_masses(masses):
    with pytest.raises(ImpossibleValue, match="_kg"):
        offset_from_masses(near_kg=masses[0], far_kg=masses[1], core_diameter_mm=47.6, kerf_mm=2.2)


def test_second_cut_and_drift_are_checked_like_the_first():
    with pytest.raises(ImpossibleValue, match="second_offset_mm"):
        quarter_pieces(core_diameter_mm=47.6, kerf_mm=2.2, second_offset_mm=24.0)
    with pytest.raises(ImpossibleValue, match="end_offset_mm"):
        drifting_cut(core_diameter_mm=47.6, kerf_mm=2.2, start_offset_mm=0.0, end_offset_mm=24.0)


def test_segment_at_the_axis_is_half_the_circle():
    assert float(segment(np.float64(3.0), np.float64(0.0))) == pytest.approx(pi * 4.5, rel=1e-15)
    assert acos(0.0) * 9.0 == pytest.approx(pi * 4.5)
