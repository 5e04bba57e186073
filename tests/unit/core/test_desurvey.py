"""The path of a hole: an exact circle, scipy rotations between stations, depths off the survey, refusals."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad_vec
from scipy.spatial.transform import Rotation, Slerp

from trayside.core.desurvey import METHODS, arc_to_point, minimum_curvature, ratio_factor_of, survey_steps
from trayside.errors import ImpossibleValue

DEPTH, INCLINATION, AZIMUTH = (
    [0.0, 30.0, 75.0, 90.0, 150.0],
    [10.0, 12.0, 20.0, 95.0, 80.0],
    [350.0, 5.0, 20.0, 200.0, 190.0],
)


def path():
    return minimum_curvature(depth_m=DEPTH, inclination_deg=INCLINATION, azimuth_deg=AZIMUTH)


def direction(inclination, azimuth):
    inclination, azimuth = np.radians(inclination), np.radians(azimuth)
    return np.stack(
        (np.sin(inclination) * np.cos(azimuth), np.sin(inclination) * np.sin(azimuth), np.cos(inclination)), axis=-1
    )


def turned(start, end, share):
    """The direction at a share of the way from one unit direction to the other, by a scipy rotation."""
    axis = np.cross(start, end)
    angle = np.arctan2(np.linalg.norm(axis), start @ end)
    half = Slerp([0, 1], Rotation.from_rotvec([[0, 0, 0], axis / np.linalg.norm(axis) * angle]))
    return half(share).apply(start)


def test_a_quarter_circle_from_vertical_to_level():
    radius = 100.0
    length = np.pi / 2 * radius
    hole = minimum_curvature(depth_m=[0, length], inclination_deg=[0, 90], azimuth_deg=[90, 90])
    assert (hole.north_m[1], hole.east_m[1], hole.tvd_m[1]) == pytest.approx((0, radius, radius), abs=1e-9)
    depth = np.linspace(0, length, 7)
    there = hole.position_at(depth_m=depth)
    assert there.east_m == pytest.approx(radius * (1 - np.cos(depth / radius)), abs=1e-9)
    assert there.tvd_m == pytest.approx(radius * np.sin(depth / radius), abs=1e-9)
    assert hole.attitude_at(depth_m=depth).inclination_deg == pytest.approx(np.degrees(depth / radius), abs=1e-9)


def test_attitude_between_stations_agrees_with_rotations():
    hole = path()
    stations = direction(np.array(INCLINATION), np.array(AZIMUTH))
    for step in range(4):
        for share in (0.1, 0.5, 0.83):
            depth = DEPTH[step] + share * (DEPTH[step + 1] - DEPTH[step])
            at = hole.attitude_at(depth_m=depth)
            assert direction(at.inclination_deg, at.azimuth_deg) == pytest.approx(
                turned(stations[step], stations[step + 1], share), abs=1e-9
            )
            assert at.plunge_deg == pytest.approx(90 - at.inclination_deg)


def test_position_is_the_integral_of_the_attitude():
    hole = path()
    for depth in (20.0, 88.0, 150.0, 170.0):
        knots = [d for d in DEPTH if d < depth] + [depth]
        total = np.zeros(3)
        for top, bottom in pairwise(knots):
            part, _ = quad_vec(lambda d: direction(*attitude(hole, d)), top, bottom, epsabs=1e-11)
            total += part
        at = hole.position_at(depth_m=depth)
        assert (at.north_m, at.east_m, at.tvd_m) == pytest.approx(tuple(total), abs=1e-8)


def attitude(hole, depth):
    at = hole.attitude_at(depth_m=depth)
    return at.inclination_deg, at.azimuth_deg


def test_stations_are_met_exactly_and_depths_beyond_carry_on_straight():
    hole = path()
    at = hole.position_at(depth_m=DEPTH)
    assert at.north_m == pytest.approx(hole.north_m, abs=1e-10)
    assert not at.beyond.any()
    past = hole.position_at(depth_m=160.0)
    assert past.beyond
    assert past.tvd_m - hole.tvd_m[-1] == pytest.approx(10 * np.cos(np.radians(80)))
    assert hole.attitude_at(depth_m=160.0).inclination_deg == pytest.approx(80)
    late = minimum_curvature(depth_m=[10, 20], inclination_deg=[30, 40], azimuth_deg=0)
    before = late.position_at(depth_m=4.0)
    assert before.beyond
    assert before.tvd_m == pytest.approx(-6 * np.cos(np.radians(30)))


def test_start_coordinates_shift_the_whole_path():
    hole = minimum_curvature(
        depth_m=DEPTH,
        inclination_deg=INCLINATION,
        azimuth_deg=AZIMUTH,
        start_north_m=1000,
        start_east_m=-5,
        start_tvd_m=7,
    )
    assert hole.north_m - path().north_m == pytest.approx(1000)
    assert hole.east_m - path().east_m == pytest.approx(-5)
    assert hole.tvd_m - path().tvd_m == pytest.approx(7)


def test_an_upright_hole_keeps_the_azimuth_it_was_given():
    hole = minimum_curvature(depth_m=[0, 100, 200], inclination_deg=[0, 0, 0], azimuth_deg=[75, 75, 300])
    assert hole.attitude_at(depth_m=[50.0, 190.0]).azimuth_deg == pytest.approx([75, 300])
    assert hole.tvd_m == pytest.approx([0, 100, 200])


@pytest.mark.parametrize("bend", [1e-9, 1e-4, 0.0199, 0.0201, 0.5, 3.0])
def test_ratio_factor_is_continuous_where_the_series_ends(bend):
    assert float(ratio_factor_of(bend)) == pytest.approx(np.tan(bend / 2) / (bend / 2), rel=1e-14)


def test_bend_per_length():
    hole = minimum_curvature(depth_m=[0, 60], inclination_deg=[10, 14], azimuth_deg=[0, 0])
    assert hole.dogleg_per() == pytest.approx([2.0])
    assert hole.dogleg_per(length_m=60) == pytest.approx([4.0])


def test_arc_back_to_a_point_gives_the_next_station():
    hole = minimum_curvature(depth_m=[0, 100], inclination_deg=[15, 25], azimuth_deg=[20, 45])
    arc = arc_to_point(
        inclination_deg=15, azimuth_deg=20, north_m=hole.north_m[1], east_m=hole.east_m[1], tvd_m=hole.tvd_m[1]
    )
    assert (arc.length_m, arc.inclination_deg, arc.azimuth_deg) == pytest.approx((100, 25, 45))
    assert arc.dogleg_deg == pytest.approx(hole.dogleg_deg[0])


@pytest.mark.parametrize("method", METHODS)
def test_every_method_is_exact_on_a_straight_hole(method):
    steps = survey_steps(depth_m=[0, 50, 90], inclination_deg=35, azimuth_deg=[310, 310, 310], method=method)
    straight = direction(35.0, 310.0)
    assert steps.north_m == pytest.approx(np.array([50, 40]) * straight[0])
    assert steps.east_m == pytest.approx(np.array([50, 40]) * straight[1])
    assert steps.tvd_m == pytest.approx(np.array([50, 40]) * straight[2])


@pytest.mark.parametrize("method", ["average_angle", "radius_of_curvature"])
def test_azimuths_are_joined_the_short_way_across_north(method):
    steps = survey_steps(depth_m=[0, 10], inclination_deg=45, azimuth_deg=[350, 10], method=method)
    assert steps.east_m == pytest.approx([0], abs=1e-12)
    assert steps.north_m[0] > 6.9


def test_radius_of_curvature_turns_inclination_with_depth_and_azimuth_with_level_distance():
    stations = {"depth_m": [0, 100], "inclination_deg": [20, 50], "azimuth_deg": [330, 40]}
    steps = survey_steps(**stations, method="radius_of_curvature")
    profile, _ = quad_vec(lambda d: direction(20 + 0.3 * d, 0), 0, 100)
    level, down = profile[0], profile[2]
    plan, _ = quad_vec(lambda h: direction(90, 330 + 70 * h / level), 0, level)
    assert (steps.north_m[0], steps.east_m[0], steps.tvd_m[0]) == pytest.approx((plan[0], plan[1], down))


@pytest.mark.parametrize(
    ("bad", "where"),
    [
        ({"depth_m": [0, 30, 30]}, "depth_m"),
        ({"depth_m": [0, 30, 20]}, "depth_m"),
        ({"depth_m": [-1, 30, 40]}, "depth_m"),
        ({"inclination_deg": [0, 5, 181]}, "inclination_deg"),
        ({"inclination_deg": [0, float("nan"), 1]}, "inclination_deg"),
        ({"azimuth_deg": [0, 5, 361]}, "azimuth_deg"),
        ({"azimuth_deg": [0, 5]}, "depth_m"),
        ({"inclination_deg": [90, 90, 90], "azimuth_deg": [0, 180, 180]}, "turn back"),
    ],
)
def test_impossible_stations_are_refused(bad, where):
    good = {"depth_m": [0, 30, 60], "inclination_deg": [30, 31, 32], "azimuth_deg": [10, 11, 12]}
    with pytest.raises(ImpossibleValue, match=where):
        minimum_curvature(**good | bad)


def test_too_few_stations_and_unknown_methods_are_refused():
    with pytest.raises(ImpossibleValue, match="two stations"):
        minimum_curvature(depth_m=[0], inclination_deg=[0], azimuth_deg=[0])
    with pytest.raises(ImpossibleValue, match="tangential"):
        survey_steps(depth_m=[0, 1], inclination_deg=0, azimuth_deg=0, method="guess")
    with pytest.raises(ImpossibleValue, match="straight behind"):
        arc_to_point(inclination_deg=0, azimuth_deg=0, north_m=0, east_m=0, tvd_m=-5)
    with pytest.raises(ImpossibleValue, match="is the start"):
        arc_to_point(inclination_deg=0, azimuth_deg=0, north_m=0, east_m=0, tvd_m=0)
