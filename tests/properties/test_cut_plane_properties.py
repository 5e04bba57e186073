"""What holds for every vein, every set of veins and every cut."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from trayside.core.cut_plane import absolute_cut, best_cut_deg, cost_curve, free_turn_deg, squares_cut
from trayside.core.sample_cut import sample_imbalances
from trayside.core.vein_shares import clipped_vein_shares, layered_grade_imbalance


@st.composite
def veins(draw):
    top = draw(st.floats(-500, 500))
    length = draw(st.floats(50, 2000))
    return {
        "radius_mm": draw(st.floats(10, 60)),
        "alpha_deg": draw(st.floats(0.5, 90)),
        "thickness_mm": draw(st.floats(0.1, 300)),
        "centre_mm": top + length * draw(st.floats(-0.5, 1.5)),
        "sample_from_mm": top,
        "sample_to_mm": top + length,
    }


angles = st.floats(-400, 400)
sets = st.lists(st.tuples(st.floats(0, 360), st.floats(0.01, 10)), min_size=1, max_size=12)


@settings(deadline=None)
@given(veins(), angles)
def test_imbalance_is_odd_bounded_and_changes_sign_with_half_a_turn(vein, angle):
    got = clipped_vein_shares(**vein, angle_deg=np.array([angle, -angle, angle + 180.0, 0.0, 180.0]))
    size = max(got.whole[0], 1e-9 * vein["radius_mm"] ** 3)
    assert got.whole == pytest.approx(got.whole[0], rel=1e-9, abs=1e-9 * size)
    assert got.difference[1] == pytest.approx(-got.difference[0], abs=1e-9 * size)
    assert got.difference[2] == pytest.approx(-got.difference[0], abs=1e-9 * size)
    assert got.difference[3:] == pytest.approx(0, abs=1e-12 * size)
    assert (np.abs(got.difference) <= got.whole * (1 + 1e-12)).all()


@settings(deadline=None)
@given(veins(), angles)
def test_two_samples_end_to_end_share_the_vein_like_one_long_sample(vein, angle):
    middle = 0.5 * (vein["sample_from_mm"] + vein["sample_to_mm"])
    both = clipped_vein_shares(**vein, angle_deg=angle)
    upper = clipped_vein_shares(**vein | {"sample_to_mm": middle}, angle_deg=angle)
    lower = clipped_vein_shares(**vein | {"sample_from_mm": middle}, angle_deg=angle)
    size = max(both.whole, vein["radius_mm"] ** 3)
    assert upper.whole + lower.whole == pytest.approx(both.whole, abs=1e-9 * size)
    assert upper.difference + lower.difference == pytest.approx(both.difference, abs=1e-9 * size)


@settings(deadline=None)
@given(veins(), angles, st.floats(0.1, 10))
def test_imbalance_does_not_depend_on_the_unit_of_length(vein, angle, scale):
    one = clipped_vein_shares(**vein, angle_deg=angle)
    lengths = {name: value * (1.0 if name == "alpha_deg" else scale) for name, value in vein.items()}
    other = clipped_vein_shares(**lengths, angle_deg=angle)
    assert other.whole / scale**3 == pytest.approx(one.whole, rel=1e-9, abs=1e-9 * vein["radius_mm"] ** 3)
    assert other.difference / scale**3 == pytest.approx(
        one.difference, abs=1e-8 * vein["radius_mm"] ** 3 + 1e-9 * one.whole
    )


@settings(deadline=None)
@given(veins(), angles, st.floats(0.1, 5), st.floats(0.1, 5))
def test_beds_of_one_slope_can_be_parted_anywhere(vein, angle, first, last):
    radius = vein["radius_mm"]
    alpha = max(vein["alpha_deg"], 5.0)
    top, bottom = vein["sample_from_mm"], vein["sample_to_mm"]
    fixed = {"radius_mm": radius, "alpha_deg": alpha, "sample_from_mm": top, "sample_to_mm": bottom, "angle_deg": angle}
    low, high = top - 20.0, top + 40.0
    middle, half = 0.5 * (low + high), 0.5 * (first + last)
    whole = layered_grade_imbalance(**fixed, layer_from_mm=low, layer_to_mm=high, grade_from=first, grade_to=last)
    parts = layered_grade_imbalance(
        **fixed,
        layer_from_mm=[low, middle],
        layer_to_mm=[middle, high],
        grade_from=[first, half],
        grade_to=[half, last],
    )
    assert parts.whole == pytest.approx(whole.whole, rel=1e-9)
    assert parts.difference == pytest.approx(whole.difference, abs=1e-9 * whole.whole)


@settings(deadline=None)
@given(sets, st.floats(0, 360))
def test_turning_all_veins_turns_the_best_plane(rows, turn):
    beta, weight = np.array(rows).T
    one = squares_cut(beta_deg=beta, weight=weight)
    other = squares_cut(beta_deg=beta + turn, weight=weight)
    assert other.least_cost == pytest.approx(one.least_cost, abs=1e-9 * weight.sum())
    if one.alignment > 1e-3:
        assert abs((other.cut_deg - one.cut_deg - turn + 90) % 180 - 90) < 1e-6
    half_turned = beta + 180.0 * (np.arange(beta.size) % 2)
    if one.alignment > 1e-3:
        assert abs((best_cut_deg(beta_deg=half_turned, weight=weight) - one.cut_deg + 90) % 180 - 90) < 1e-6


@settings(deadline=None)
@given(sets, st.floats(0, 180))
def test_no_cut_costs_less_than_the_best_or_more_than_the_worst(rows, cut):
    beta, weight = np.array(rows).T
    tiny = 1e-9 * weight.sum()
    squares = squares_cut(beta_deg=beta, weight=weight)
    cost = cost_curve(beta_deg=beta, weight=weight, cut_deg=cut)
    assert squares.least_cost - tiny <= cost <= squares.largest_cost + tiny
    assert absolute_cut(beta_deg=beta, weight=weight).least_cost <= (
        cost_curve(beta_deg=beta, weight=weight, cut_deg=cut, measure="absolute") + tiny
    )


@settings(deadline=None)
@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
def test_free_turn_grows_with_the_allowance_and_with_disagreement(alignment, one, other):
    low, high = sorted((one, other))
    assert free_turn_deg(alignment=alignment, allowed_rise=low) <= free_turn_deg(alignment=alignment, allowed_rise=high)
    assert free_turn_deg(alignment=high, allowed_rise=alignment) <= free_turn_deg(alignment=low, allowed_rise=alignment)


@settings(deadline=None, max_examples=50)
@given(
    st.lists(
        st.tuples(st.floats(2, 88), st.floats(0, 360), st.floats(0.5, 40), st.floats(0, 300)), min_size=1, max_size=6
    )
)
def test_some_cut_shares_any_sample_exactly(rows):
    # The difference changes sign over half a turn and never jumps.
    alpha, beta, thickness, centre = np.array(rows).T

    def imbalance(cut):
        return sample_imbalances(
            radius_mm=23.8, alpha_deg=alpha, beta_deg=beta, thickness_mm=thickness, centre_mm=centre,
            sample_from_mm=[0], sample_to_mm=[300], cut_deg=cut,
        ).imbalance[0, 0]  # fmt: skip

    start = imbalance(0.0)
    if np.isnan(start) or abs(start) < 1e-9:
        return
    assert imbalance(180.0) == pytest.approx(-start, abs=1e-9)
    fair = brentq(imbalance, 0.0, 180.0, xtol=1e-12)
    assert imbalance(fair) == pytest.approx(0, abs=1e-6)
