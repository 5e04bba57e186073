"""Oriented core against scipy rotations, hand checks, conversions and refusals."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from trayside.core.oriented_core import (
    AngleConvention,
    convert_core_angles,
    core_angles_from_line,
    core_angles_from_plane,
    line_from_core_angles,
    line_in_plane,
    plane_from_core_angles,
)
from trayside.errors import ImpossibleValue


def core_to_ground(azimuth, plunge):
    """Rotation from core axes to east, north, up. Core axes before turning: x east, y up-side, z against drilling.

    A hole straight down with its reference line to the south is tilted about the east axis and turned to its azimuth.
    """
    return Rotation.from_euler("Z", -azimuth, degrees=True) * Rotation.from_euler("X", 90.0 - plunge, degrees=True)


def rotated_plane(azimuth, plunge, alpha, beta):
    # In an upright hole the bottom line points south; clockwise looking down is clockwise on a map.
    apex = np.array([-np.sin(np.radians(beta)), -np.cos(np.radians(beta)), 0.0])
    long_axis = np.cos(np.radians(alpha)) * np.array([0, 0, -1.0]) + np.sin(np.radians(alpha)) * apex
    across = np.cross([0, 0, -1.0], apex)
    normal = core_to_ground(azimuth, plunge).apply(np.cross(long_axis, across))
    normal *= np.sign(normal[2])
    return np.degrees(np.arccos(normal[2])), np.degrees(np.arctan2(normal[0], normal[1])) % 360.0


def rotated_line(azimuth, plunge, gamma, delta):
    out = np.array([-np.sin(np.radians(delta)), -np.cos(np.radians(delta)), 0.0])
    vector = core_to_ground(azimuth, plunge).apply(
        np.cos(np.radians(gamma)) * np.array([0, 0, -1.0]) + np.sin(np.radians(gamma)) * out
    )
    vector *= -np.sign(vector[2])
    return np.degrees(np.arctan2(vector[0], vector[1])) % 360.0, np.degrees(np.arcsin(-vector[2]))


def random_holes(count, seed=5):
    chance = np.random.default_rng(seed)
    return (
        chance.uniform(0, 360, count),
        chance.uniform(-85, 85, count),
        chance.uniform(2, 88, count),
        chance.uniform(0, 360, count),
    )


def test_planes_agree_with_rotations():
    azimuth, plunge, alpha, beta = random_holes(500)
    plane = plane_from_core_angles(hole_azimuth_deg=azimuth, hole_plunge_deg=plunge, alpha_deg=alpha, beta_deg=beta)
    expected = np.array([rotated_plane(*row) for row in zip(azimuth, plunge, alpha, beta, strict=True)])
    assert plane.dip_deg == pytest.approx(expected[:, 0], abs=1e-6)
    away = (plane.dip_direction_deg - expected[:, 1] + 180.0) % 360.0 - 180.0
    assert np.abs(away * np.sin(np.radians(plane.dip_deg))).max() < 1e-9


def test_lines_agree_with_rotations():
    azimuth, plunge, gamma, delta = random_holes(500, seed=6)
    line = line_from_core_angles(hole_azimuth_deg=azimuth, hole_plunge_deg=plunge, gamma_deg=gamma, delta_deg=delta)
    expected = np.array([rotated_line(*row) for row in zip(azimuth, plunge, gamma, delta, strict=True)])
    assert line.plunge_deg == pytest.approx(expected[:, 1], abs=1e-6)
    away = (line.trend_deg - expected[:, 0] + 180.0) % 360.0 - 180.0
    assert np.abs(away * np.cos(np.radians(line.plunge_deg))).max() < 1e-9


@pytest.mark.parametrize(("plunge", "alpha"), [(60, 20), (50, 35), (70, 65), (30, 80)])
def test_plane_that_faces_the_bottom_dips_by_the_sum_of_plunge_and_alpha(plunge, alpha):
    # Hand check in the vertical plane of the hole: the long axis is the hole's own direction, turned down by alpha.
    plane = plane_from_core_angles(hole_azimuth_deg=110, hole_plunge_deg=plunge, alpha_deg=alpha, beta_deg=0)
    dip, direction = plunge + alpha, 110.0
    if dip > 90:
        dip, direction = 180 - dip, 290.0
    assert plane.dip_deg == pytest.approx(dip, abs=1e-9)
    assert plane.dip_direction_deg == pytest.approx(direction, abs=1e-9)


def test_plane_that_faces_the_top_dips_by_the_difference():
    plane = plane_from_core_angles(hole_azimuth_deg=110, hole_plunge_deg=60, alpha_deg=25, beta_deg=180)
    assert plane.dip_deg == pytest.approx(35, abs=1e-9)
    assert plane.dip_direction_deg == pytest.approx(110, abs=1e-9)


def test_pole_is_square_to_the_plane_and_down():
    plane = plane_from_core_angles(hole_azimuth_deg=45, hole_plunge_deg=50, alpha_deg=40, beta_deg=120)
    assert plane.pole_plunge_deg == pytest.approx(90 - plane.dip_deg)
    assert plane.pole_trend_deg == pytest.approx((plane.dip_direction_deg + 180) % 360)


def test_directions_that_do_not_exist_are_missing_not_zero():
    flat = plane_from_core_angles(hole_azimuth_deg=30, hole_plunge_deg=90, alpha_deg=90, beta_deg=float("nan"))
    assert flat.dip_deg == pytest.approx(0, abs=1e-9)
    assert np.isnan(flat.dip_direction_deg)
    square = core_angles_from_plane(hole_azimuth_deg=30, hole_plunge_deg=60, dip_deg=30, dip_direction_deg=210)
    assert square.alpha_deg == pytest.approx(90)
    assert np.isnan(square.beta_deg)
    along = core_angles_from_line(hole_azimuth_deg=30, hole_plunge_deg=60, trend_deg=30, plunge_deg=60)
    assert along.gamma_deg == pytest.approx(0, abs=1e-9)
    assert np.isnan(along.delta_deg)
    upright = line_from_core_angles(hole_azimuth_deg=30, hole_plunge_deg=90, gamma_deg=0, delta_deg=0)
    assert np.isnan(upright.trend_deg)
    again = core_angles_from_plane(hole_azimuth_deg=30, hole_plunge_deg=60, dip_deg=0, dip_direction_deg=float("nan"))
    assert again.alpha_deg == pytest.approx(60)


def test_upright_plane_gets_the_direction_below_180():
    both = plane_from_core_angles(hole_azimuth_deg=[0, 180], hole_plunge_deg=60, alpha_deg=30, beta_deg=0)
    assert both.dip_deg == pytest.approx(90)
    assert both.dip_direction_deg == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("convention", "alpha", "beta"),
    [
        (AngleConvention(line="top"), 35, 255),
        (AngleConvention(apex="upper"), 35, 255),
        (AngleConvention(line="top", apex="upper"), 35, 75),
        (AngleConvention(alpha_to="pole"), 55, 75),
    ],
)
def test_every_convention_gives_the_same_plane(convention, alpha, beta):
    hole = {"hole_azimuth_deg": 180, "hole_plunge_deg": 55}
    kept = plane_from_core_angles(**hole, alpha_deg=35, beta_deg=75)
    told = plane_from_core_angles(**hole, alpha_deg=alpha, beta_deg=beta, convention=convention)
    assert (told.dip_deg, told.dip_direction_deg) == pytest.approx((kept.dip_deg, kept.dip_direction_deg))
    back = core_angles_from_plane(
        **hole, dip_deg=kept.dip_deg, dip_direction_deg=kept.dip_direction_deg, convention=convention
    )
    assert (back.alpha_deg, back.beta_deg) == pytest.approx((alpha, beta))
    said = convert_core_angles(alpha_deg=35, beta_deg=75, measured=AngleConvention(), wanted=convention)
    assert (said.alpha_deg, said.beta_deg) == pytest.approx((alpha, beta))


def test_a_top_line_mistaken_for_a_bottom_line_changes_the_plane():
    hole = {"hole_azimuth_deg": 180, "hole_plunge_deg": 55, "alpha_deg": 35, "beta_deg": 75}
    right = plane_from_core_angles(**hole)
    wrong = plane_from_core_angles(**hole, convention=AngleConvention(line="top"))
    assert abs(right.dip_deg - wrong.dip_deg) > 5


def test_line_by_core_angles_on_a_top_line():
    hole = {"hole_azimuth_deg": 70, "hole_plunge_deg": 40}
    bottom = line_from_core_angles(**hole, gamma_deg=30, delta_deg=20)
    top = line_from_core_angles(**hole, gamma_deg=30, delta_deg=200, line="top")
    assert (top.trend_deg, top.plunge_deg) == pytest.approx((bottom.trend_deg, bottom.plunge_deg))


def test_a_line_in_the_plane_lies_in_the_plane():
    hole = {"hole_azimuth_deg": 310, "hole_plunge_deg": 70, "alpha_deg": 25, "beta_deg": 210}
    plane = plane_from_core_angles(**hole)
    line = line_in_plane(**hole, gamma_deg=np.arange(0, 180, 7.0))
    dip, direction = np.radians(plane.dip_deg), np.radians(plane.dip_direction_deg)
    apparent = np.arctan(np.tan(dip) * np.cos(np.radians(line.trend_deg) - direction))
    assert np.radians(line.plunge_deg) == pytest.approx(apparent, abs=1e-9)


@pytest.mark.parametrize(
    ("bad", "where"),
    [
        ({"alpha_deg": 91}, "alpha_deg"),
        ({"alpha_deg": -1}, "alpha_deg"),
        ({"beta_deg": 361}, "beta_deg"),
        ({"beta_deg": float("nan")}, "beta_deg"),
        ({"hole_plunge_deg": 95}, "hole_plunge_deg"),
        ({"hole_azimuth_deg": 400}, "hole_azimuth_deg"),
        ({"hole_azimuth_deg": "north"}, "hole_azimuth_deg"),
        ({"alpha_deg": [10, 20], "beta_deg": [1, 2, 3]}, "alpha_deg"),
    ],
)
def test_impossible_angles_are_refused(bad, where):
    good = {"hole_azimuth_deg": 10, "hole_plunge_deg": 60, "alpha_deg": 30, "beta_deg": 40}
    with pytest.raises(ImpossibleValue, match=where):
        plane_from_core_angles(**good | bad)


def test_unknown_convention_is_refused():
    with pytest.raises(ImpossibleValue, match="bottom, top"):
        AngleConvention(line="side")
    with pytest.raises(ImpossibleValue, match="lower, upper"):
        AngleConvention(apex="left")
