"""Core angles and ground directions answer each other, for every hole and every convention."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.oriented_core import (
    AngleConvention,
    convert_core_angles,
    core_angles_from_line,
    core_angles_from_plane,
    line_from_core_angles,
    line_in_plane,
    plane_from_core_angles,
)

holes = st.fixed_dictionaries({"hole_azimuth_deg": st.floats(0, 360), "hole_plunge_deg": st.floats(-90, 90)})
conventions = st.builds(
    AngleConvention,
    line=st.sampled_from(["bottom", "top"]),
    apex=st.sampled_from(["lower", "upper"]),
    alpha_to=st.sampled_from(["plane", "pole"]),
)
round_the_core = st.floats(0, 359.999)


def turn(one, other):
    return abs((one - other + 180.0) % 360.0 - 180.0)


@settings(deadline=None)
@given(holes, st.floats(0.1, 89.9), round_the_core, conventions)
def test_plane_and_back(hole, alpha, beta, convention):
    plane = plane_from_core_angles(**hole, alpha_deg=alpha, beta_deg=beta, convention=convention)
    back = core_angles_from_plane(
        **hole, dip_deg=plane.dip_deg, dip_direction_deg=plane.dip_direction_deg, convention=convention
    )
    assert back.alpha_deg == pytest.approx(alpha, abs=1e-7)
    away = np.radians(turn(back.beta_deg, beta))
    steep = alpha if convention.alpha_to == "plane" else 90.0 - alpha
    assert away * np.cos(np.radians(steep)) == pytest.approx(0, abs=1e-8)


@settings(deadline=None)
@given(holes, st.floats(0.1, 89.9), round_the_core)
def test_free_line_and_back(hole, gamma, delta):
    line = line_from_core_angles(**hole, gamma_deg=gamma, delta_deg=delta)
    back = core_angles_from_line(**hole, trend_deg=line.trend_deg, plunge_deg=line.plunge_deg)
    assert back.gamma_deg == pytest.approx(gamma, abs=1e-7)
    assert np.radians(turn(back.delta_deg, delta)) * np.sin(np.radians(gamma)) == pytest.approx(0, abs=1e-8)


@settings(deadline=None)
@given(st.floats(0, 90), round_the_core, conventions, conventions)
def test_conventions_convert_there_and_back(alpha, beta, one, other):
    there = convert_core_angles(alpha_deg=alpha, beta_deg=beta, measured=one, wanted=other)
    back = convert_core_angles(alpha_deg=there.alpha_deg, beta_deg=there.beta_deg, measured=other, wanted=one)
    assert back.alpha_deg == pytest.approx(alpha, abs=1e-9)
    assert turn(back.beta_deg, beta) == pytest.approx(0, abs=1e-9)


@settings(deadline=None)
@given(holes, st.floats(1, 89), round_the_core, st.floats(-360, 360))
def test_the_long_axis_is_the_free_line_at_alpha_and_beta(hole, alpha, beta, gamma):
    axis = line_in_plane(**hole, alpha_deg=alpha, beta_deg=beta, gamma_deg=0)
    free = line_from_core_angles(**hole, gamma_deg=alpha, delta_deg=beta)
    assert axis.plunge_deg == pytest.approx(free.plunge_deg, abs=1e-7)
    # Any line of the plane is no steeper than the plane.
    plane = plane_from_core_angles(**hole, alpha_deg=alpha, beta_deg=beta)
    assert line_in_plane(**hole, alpha_deg=alpha, beta_deg=beta, gamma_deg=gamma).plunge_deg <= plane.dip_deg + 1e-7
