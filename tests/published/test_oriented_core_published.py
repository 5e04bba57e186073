"""Planes and lines from core angles. Only the first result was printed by somebody else; grades stand beside each row."""

import numpy as np
import pytest

from trayside.core.oriented_core import (
    AngleConvention,
    line_from_core_angles,
    line_in_plane,
    plane_from_core_angles,
)

# tobiste/structr, commit ffca82169f180bec7974f2f18365334c4f293943, tests/testthat/test-alphabeta.R (seen): dip
# direction 25.003920 and dip 70.029590 for azimuth 225, plunge 45, alpha 60, beta 320; inputs from Marjoribanks 2016.
# The printed figures are compared there with a tolerance of 1e-6 relative.
STRUCTR = {"hole_azimuth_deg": 225, "hole_plunge_deg": 45, "alpha_deg": 60, "beta_deg": 320}


def test_printed_dip_and_dip_direction():
    plane = plane_from_core_angles(**STRUCTR)
    assert plane.dip_direction_deg == pytest.approx(25.003920, rel=1e-6)
    assert plane.dip_deg == pytest.approx(70.029590, rel=1e-6)


def test_its_help_text_names_the_top_line_which_would_give_another_plane():
    # Misprint: the manual page of the same program places the reference line at the top of the hole (seen).
    top = plane_from_core_angles(**STRUCTR, convention=AngleConvention(line="top"))
    assert abs(top.dip_deg - 70.029590) > 20
    # Derived: what the help text taken literally gives.
    assert sorted([top.dip_deg, top.dip_direction_deg]) == pytest.approx([27.9680, 88.2598], abs=5e-5)


# Derived: worked out beforehand by two independent scripts. Azimuth, plunge, alpha, beta, dip, dip direction, pole trend
# and plunge.
PLANES = [
    (0, 60, 30, 180, 30.0000, 0.0000, 180, 60),
    (0, 60, 60, 0, 60.0000, 180.0000, 0, 30),
    (90, 60, 45, 90, 52.2388, 333.4349, 153.4349, 37.7612),
    (45, 50, 40, 120, 42.3872, 304.7668, 124.7668, 47.6128),
    (45, 50, 40, 300, 75.7471, 181.8050, 1.8050, 14.2529),
    (180, 55, 35, 75, 69.6202, 57.5730, 237.5730, 20.3798),
    (0, 90, 50, 30, 40.0000, 210.0000, 30, 50),
    (0, 45, 90, 123, 45.0000, 180.0000, 0, 45),
    # Inputs printed by Marjoribanks, and by Stigsson and Munier 2013 (Computers & Geosciences 56:56-61); results derived.
    (225, 45, 45, 220, 27.9909, 329.4328, 149.4328, 62.0091),
    (120, 55, 50, 270, 51.1336, 244.3550, 64.3550, 38.8664),
]


@pytest.mark.parametrize(("azimuth", "plunge", "alpha", "beta", "dip", "direction", "trend", "pole"), PLANES)
def test_table_of_planes(azimuth, plunge, alpha, beta, dip, direction, trend, pole):
    plane = plane_from_core_angles(hole_azimuth_deg=azimuth, hole_plunge_deg=plunge, alpha_deg=alpha, beta_deg=beta)
    assert plane.dip_deg == pytest.approx(dip, abs=5e-5)
    assert plane.pole_plunge_deg == pytest.approx(pole, abs=5e-5)
    for got, wanted in ((plane.dip_direction_deg, direction), (plane.pole_trend_deg, trend)):
        assert (got - wanted + 180) % 360 - 180 == pytest.approx(0, abs=5e-5)


def test_upright_plane_of_the_table():
    plane = plane_from_core_angles(hole_azimuth_deg=0, hole_plunge_deg=60, alpha_deg=30, beta_deg=0)
    assert plane.dip_deg == pytest.approx(90, abs=5e-5)
    assert plane.dip_direction_deg % 180 == pytest.approx(0, abs=5e-5)


# Derived, as above. Azimuth, plunge, alpha, beta, gamma, trend, plunge of the line.
LINES = [
    (45, 50, 40, 120, 0, 7.9955, 22.3483),
    (45, 50, 40, 120, 90, 262.0045, 33.8258),
    (45, 50, 40, 120, 30, 31.5620, 2.9210),
    (310, 70, 25, 210, -35, 288.1016, 29.8020),
]


@pytest.mark.parametrize(("azimuth", "plunge", "alpha", "beta", "gamma", "trend", "down"), LINES)
def test_table_of_lines_in_planes(azimuth, plunge, alpha, beta, gamma, trend, down):
    line = line_in_plane(
        hole_azimuth_deg=azimuth, hole_plunge_deg=plunge, alpha_deg=alpha, beta_deg=beta, gamma_deg=gamma
    )
    assert (line.trend_deg, line.plunge_deg) == pytest.approx((trend, down), abs=5e-5)


@pytest.mark.parametrize(
    ("azimuth", "plunge", "gamma", "delta", "trend", "down"),
    [(0, 60, 30, 180, 0.0, 30.0), (45, 50, 40, 120, 7.9955, 22.3483)],
)
def test_table_of_free_lines(azimuth, plunge, gamma, delta, trend, down):
    line = line_from_core_angles(hole_azimuth_deg=azimuth, hole_plunge_deg=plunge, gamma_deg=gamma, delta_deg=delta)
    assert np.mod(line.trend_deg + 180, 360) - 180 == pytest.approx(trend, abs=5e-5)
    assert line.plunge_deg == pytest.approx(down, abs=5e-5)
