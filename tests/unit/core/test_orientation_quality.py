"""Marks that agree, joints that spun, metres oriented, runs drawn on the wrong side, and a line that turns."""

import numpy as np
import pytest
from scipy import stats

from trayside.core.orientation_quality import (
    agreeing_marks,
    half_turn_test,
    joint_mismatch,
    line_drift,
    oriented_share,
    signed_turn,
)
from trayside.core.oriented_core import core_angles_from_plane
from trayside.errors import ImpossibleValue


def test_largest_agreeing_set_makes_the_line():
    got = agreeing_marks(mark_deg=[355, 3, 2, 90, 10, 100, 105, 300], stretch=[0, 0, 0, 0, 1, 2, 2, 2])
    assert got.mark_count.tolist() == [4, 1, 3]
    assert got.agreeing_count.tolist() == [3, 1, 2]
    assert got.line_class.tolist() == ["solid", "none", "dashed"]
    assert (got.line_deg[0] + 180) % 360 - 180 == pytest.approx(0, abs=0.01)
    assert np.isnan(got.line_deg[1])
    assert got.line_deg[2] == pytest.approx(102.5)
    assert got.spread_deg[[0, 2]] == pytest.approx([8, 5])
    assert got.agrees.tolist() == [True, True, True, False, False, True, True, False]


def brute_set(marks, tolerance):
    """Size of the largest set within the tolerance: every mark is tried as the first."""
    return max(int((np.mod(marks - first + 1e-9, 360) <= tolerance + 1e-9).sum()) for first in marks)


def test_largest_set_agrees_with_trying_every_mark():
    chance = np.random.default_rng(4)
    stretch = np.sort(chance.integers(0, 60, 300))
    _, stretch = np.unique(stretch, return_inverse=True)
    marks = np.round(chance.uniform(0, 360, 300), 1)
    got = agreeing_marks(mark_deg=marks, stretch=stretch, tolerance_deg=40)
    for number in range(stretch.max() + 1):
        assert got.agreeing_count[number] == brute_set(marks[stretch == number], 40)


def test_site_may_ask_for_more_marks():
    marks = {"mark_deg": [10, 12, 14], "stretch": [0, 0, 0]}
    assert agreeing_marks(**marks, solid_from=4, dashed_from=3).line_class.tolist() == ["dashed"]
    assert agreeing_marks(**marks, solid_from=5, dashed_from=4).line_class.tolist() == ["none"]
    with pytest.raises(ImpossibleValue, match="dashed_from"):
        agreeing_marks(**marks, solid_from=2, dashed_from=3)


def test_spun_joints_are_told_from_stray_marks():
    got = joint_mismatch(
        upper_deg=[0, 0, 350, 0, 0, 355], lower_deg=[2, 40, 310, 25, 90, 6], locked=[1, 1, 1, 1, 0, 1], tolerance_deg=10
    )
    assert got.mismatch_deg[[0, 1, 2, 3, 5]] == pytest.approx([2, 40, -40, 25, 11])
    assert np.isnan(got.mismatch_deg[4])
    assert got.case.tolist() == ["agrees", "stray mark", "stray mark", "spun joint", "not locked", "spun joint"]


def test_a_turn_that_goes_on_the_same_way_is_two_spun_joints():
    got = joint_mismatch(upper_deg=[0, 30], lower_deg=[30, 60], locked=True)
    assert got.case.tolist() == ["spun joint", "spun joint"]


def test_share_of_metres_by_class():
    got = oriented_share(from_m=[0, 3, 6, 20], to_m=[3, 6, 12, 21], line_class=["solid", "dashed", "none", "solid"])
    assert got.length_m == {"none": 6.0, "dashed": 3.0, "solid": 4.0}
    assert got.oriented_share == pytest.approx(7 / 13)
    assert sum(got.share.values()) == pytest.approx(1)
    with pytest.raises(ImpossibleValue, match="overlap"):
        oriented_share(from_m=[0, 2], to_m=[3, 5], line_class="solid")
    with pytest.raises(ImpossibleValue, match="dotted"):
        oriented_share(from_m=[0], to_m=[3], line_class="dotted")
    with pytest.raises(ImpossibleValue, match="no core"):
        oriented_share(from_m=[], to_m=[], line_class="none")


def fabric(turned_runs, seed=0, runs=12, each=6, spread=15.0, beta=70.0):
    chance = np.random.default_rng(seed)
    run = np.repeat(np.arange(runs), each)
    return np.mod(chance.normal(beta, spread, run.size) + 180.0 * np.isin(run, turned_runs), 360.0), run


@pytest.mark.parametrize("expected", [None, 70.0])
def test_turned_runs_are_found(expected):
    beta, run = fabric([3, 8])
    got = half_turn_test(beta_deg=beta, run=run, expected_beta_deg=expected)
    assert np.flatnonzero(got.verdict == "turned half round").tolist() == [3, 8]
    assert (np.delete(got.verdict, [3, 8]) == "as drawn").all()
    assert (got.chance_turned[[3, 8]] > 0.999).all()
    assert got.reference_deg == pytest.approx(70, abs=6)
    # Spread of 15 degrees is a concentration of about 1/0.26^2 = 14.6.
    assert got.concentration == pytest.approx(14.6, rel=0.35)


def test_all_runs_turned_shows_only_against_the_known_fabric():
    beta, run = fabric(list(range(12)))
    assert (half_turn_test(beta_deg=beta, run=run).verdict == "as drawn").all()
    hole = {"hole_azimuth_deg": 90, "hole_plunge_deg": 60}
    known = core_angles_from_plane(**hole, dip_deg=60, dip_direction_deg=300).beta_deg
    assert (
        half_turn_test(beta_deg=beta + known - 70, run=run, expected_beta_deg=known).verdict == "turned half round"
    ).all()


def test_it_cannot_tell_without_a_fabric_or_with_one_run_against_one():
    chance = np.random.default_rng(1)
    run = np.repeat(np.arange(10), 4)
    noise = half_turn_test(beta_deg=chance.uniform(0, 360, 40), run=run)
    assert (noise.verdict != "turned half round").all()
    two = half_turn_test(beta_deg=[10, 12, 190, 192], run=[0, 0, 1, 1])
    assert two.verdict.tolist() == ["cannot tell", "cannot tell"]
    assert two.chance_turned == pytest.approx([0.5, 0.5])
    lone = half_turn_test(beta_deg=[10, 12, 11, 190], run=[0, 0, 0, 2])
    assert lone.verdict[1] == "cannot tell"  # a run without measurements


def test_half_turn_error_rates_over_many_holes():
    wrong = missed = 0
    for seed in range(40):
        beta, run = fabric([2], seed=seed, runs=8, each=4, spread=25)
        verdict = half_turn_test(beta_deg=beta, run=run).verdict
        wrong += int((np.delete(verdict, 2) == "turned half round").sum())
        missed += int(verdict[2] != "turned half round")
    assert wrong == 0
    assert missed <= 2


def readings(slope, noise=2.0, seed=0, step=3.0, length=60.0):
    depth = np.arange(0, length + 1e-9, step)
    return depth, np.mod(350 + slope * depth + np.random.default_rng(seed).normal(0, noise, depth.size), 360)


def test_a_line_that_turns_35_degrees_in_60_metres_is_found():
    depth, offset = readings(35 / 60)
    got = line_drift(depth_m=depth, offset_deg=offset, tray=np.arange(depth.size) // 3)
    assert got.turns
    assert got.total_deg == pytest.approx(35, abs=4)
    assert got.length_m == 60
    assert got.slope_low_deg_per_m < 35 / 60 < got.slope_high_deg_per_m
    # The same fit by scipy.
    fit = stats.linregress(depth, np.unwrap(offset, period=360))
    assert got.slope_deg_per_m == pytest.approx(fit.slope)
    assert got.chance == pytest.approx(fit.pvalue)
    assert got.slope_high_deg_per_m - got.slope_deg_per_m == pytest.approx(
        stats.t.ppf(0.975, depth.size - 2) * fit.stderr
    )


def test_a_line_that_only_wobbles_is_left_alone():
    found = sum(line_drift(depth_m=d, offset_deg=o).turns for d, o in (readings(0, seed=s) for s in range(50)))
    assert found == 0


def test_change_in_a_tray_and_jump_at_a_joint():
    got = line_drift(depth_m=[0, 3, 3, 6, 6, 9], offset_deg=[350, 2, 2, 4, 30, 31], tray=[0, 0, 1, 1, 3, 3])
    assert got.tray_change_deg[[0, 1, 3]] == pytest.approx([12, 2, 1])
    assert np.isnan(got.tray_change_deg[2])
    assert got.tray_alert.tolist() == [True, False, False, False]
    assert got.step_change_deg == pytest.approx([12, 0, 2, 26, 1])
    assert got.step_alert.tolist() == [True, False, False, True, False]


def test_perfect_lines_have_no_error():
    depth = np.arange(5.0)
    flat, steep = (line_drift(depth_m=depth, offset_deg=o) for o in (np.full(5, 7.0), 4 * depth))
    assert (flat.slope_deg_per_m, flat.turns, flat.chance) == (0, False, 1)
    assert steep.slope_deg_per_m == pytest.approx(4)
    assert steep.turns


def test_signed_turn_keeps_the_half_turn_positive():
    assert signed_turn([190, -180, 180, 540, 0, -170, 359]).tolist() == [-170, 180, 180, 180, 0, -170, -1]


@pytest.mark.parametrize(
    ("call", "where"),
    [
        (lambda: agreeing_marks(mark_deg=[1, 2], stretch=[0]), "stretch"),
        (lambda: agreeing_marks(mark_deg=[1], stretch=[0], tolerance_deg=180), "tolerance_deg"),
        (lambda: joint_mismatch(upper_deg=[1, 2], lower_deg=[1, 2, 3], locked=True), "upper_deg"),
        (lambda: half_turn_test(beta_deg=[], run=[]), "no measurements"),
        (lambda: half_turn_test(beta_deg=[1], run=[-1]), "run"),
        (lambda: half_turn_test(beta_deg=[1], run=[0], turned_beforehand=0.5), "turned_beforehand"),
        (lambda: line_drift(depth_m=[0, 1], offset_deg=[0, 1]), "three readings"),
        (lambda: line_drift(depth_m=[0, 2, 1], offset_deg=[0, 1, 2]), "Sort"),
        (lambda: line_drift(depth_m=[4, 4, 4], offset_deg=[0, 1, 2]), "one depth"),
        (lambda: line_drift(depth_m=[0, 1, 2], offset_deg=[0, float("nan"), 2]), "offset_deg"),
    ],
)
def test_impossible_readings_are_refused(call, where):
    with pytest.raises(ImpossibleValue, match=where):
        call()
