"""Runs and losses: each finding fires, keeps quiet just below its threshold, and a graver one explains the lesser."""

from __future__ import annotations

from dataclasses import replace

import pytest

from trayside.model.checks.runs import check_runs
from trayside.model.rules import DepthRules, Rules

RULES = Rules()


@pytest.fixture
def run_codes(make_core, make_runs):
    """Codes of the findings on runs given as (from_m, to_m, recovered_m)."""

    def codes(*runs, losses=(), rules=RULES, total_m=None):
        core = make_core(runs=make_runs(*runs), losses=losses, total_m=total_m or max(run[1] for run in runs))
        return [finding.code for finding in check_runs(core, rules)]

    return codes


def test_a_sound_hole_and_a_hole_without_runs_have_no_findings(make_core):
    assert check_runs(make_core(), RULES) == []
    assert check_runs(make_core(runs=()), RULES) == []


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"trays": [(1, 0, 5), (2, 5, 10)]}, "The hole has trays and no runs"),
        ({"rock": [(0, 10)]}, "The hole has a log and no runs"),
        ({"trays": [(1, 0, 5)], "rock": [(2, 10)]}, "The hole has trays and a log and no runs"),
    ],
)
def test_trays_or_a_log_without_runs_have_no_depths(make_core, more, words):
    (finding,) = check_runs(make_core(runs=(), **more), RULES)
    assert (finding.code, finding.severity, finding.message) == ("run.none", "stop", words)
    assert (finding.from_mm, finding.to_mm) == (0, 10_000)


def test_core_lost_above_a_gain_is_netted_and_named_with_both_runs(make_core, make_runs):
    core = make_core(runs=make_runs((0, 3, 3), (3, 6, 2.5), (6, 9, 3.5), (9, 12, 3)), total_m=12)
    (finding,) = check_runs(core, RULES)
    assert (finding.code, finding.run, finding.from_mm, finding.to_mm) == ("run.gain_beside_loss", 3, 6000, 9000)
    assert finding.evidence == {"gain_m": 0.5, "loss_m": 0.5, "net_m": 0.5, "loss_run": 2}


def test_a_gain_within_the_tape_is_none(run_codes):
    assert run_codes((0, 3, 3), (3, 6, 2.5), (6, 9, 3.05), (9, 12, 3)) == ["loss.unplaced", "run.low_recovery"]
    assert "run.gain_beside_loss" in run_codes((0, 3, 3), (3, 6, 2.5), (6, 9, 3.06), (9, 12, 3))


def test_more_core_than_drilled_without_a_loss_beside_it(run_codes):
    runs = [(0, 3, 2.4), (3, 6, 3), (6, 9, 3.051), (9, 12, 3)]
    assert "run.over_full" in run_codes(*runs)
    runs[2] = (6, 9, 3.05)
    assert "run.over_full" not in run_codes(*runs)


def test_more_core_than_the_hole_could_give_so_far(run_codes):
    assert run_codes((0, 3, 3.06), (3, 6, 3.0)) == ["run.over_full", "run.stub_open"]
    assert run_codes((0, 3, 3.05), (3, 6, 3.0)) == []


def test_a_rod_counted_but_not_drilled_explains_the_low_recovery_and_the_loss(make_core, make_runs):
    core = make_core(runs=make_runs((0, 3, 3), (3, 6, 3), (6, 12, 3), (12, 15, 3), (15, 18, 3)), total_m=18)
    (finding,) = check_runs(core, RULES)
    assert (finding.code, finding.severity, finding.run) == ("run.rod_extra", "stop", 3)
    assert finding.evidence["step_m"] == 3.0
    assert finding.evidence["rod_m"] == pytest.approx(3.0)


def test_a_rod_drilled_but_not_counted_explains_the_gain(run_codes):
    assert run_codes((0, 3, 3), (3, 6, 3), (6, 6.1, 3.05), (6.1, 9.1, 3), (9.1, 12.1, 3)) == ["run.rod_missing"]


def test_a_step_that_fits_no_rod_is_no_rod(run_codes):
    codes = run_codes((0, 3, 3), (3, 6, 3), (6, 11, 3), (11, 14, 3), (14, 17, 3))
    assert codes == ["loss.unplaced", "run.low_recovery"]
    short_rods = Rules(depth=DepthRules(rod_lengths_m=(2.0,)))
    assert run_codes((0, 3, 3), (3, 6, 3), (6, 11, 3), (11, 14, 3), (14, 17, 3), rules=short_rods) == ["run.rod_extra"]


def test_one_block_in_feet_explains_both_runs_it_bounds(make_core, make_runs):
    core = make_core(runs=make_runs((0, 3, 3), (3, 6, 3), (6, 29.53, 3), (29.53, 12, 3), (12, 15, 3)), total_m=15)
    (finding,) = check_runs(core, RULES)
    assert (finding.code, finding.run, finding.from_mm) == ("run.block_in_feet", 3, 9001)


def test_a_small_overlap_near_the_top_is_not_taken_for_a_block_in_feet(run_codes):
    """3 m read as feet is 0.91 m and would fit, but then 3 m of core would lie in 0.91 m."""
    assert run_codes((0, 3, 3), (2.9, 6, 3.1), (6, 9, 3)) == ["run.overlap"]


def test_the_last_block_in_feet_is_found_too(make_core, make_runs):
    core = make_core(runs=make_runs((0, 3, 3), (3, 6, 3), (6, 9, 3), (9, 12, 3), (12, 49.21, 3)), total_m=15)
    assert [(finding.code, finding.run) for finding in check_runs(core, RULES)] == [("run.block_in_feet", 5)]


def test_the_first_block_in_feet_hides_nothing_of_the_last_run(make_core, make_runs):
    runs = make_runs((98.43, 33, 3), (33, 36, 3), (36, 39, 3), (39, 42, 3), (42, 45, 2.0))
    codes = [(finding.code, finding.run) for finding in check_runs(make_core(runs=runs, total_m=45), RULES)]
    assert codes == [("run.block_in_feet", 1), ("loss.unplaced", 5), ("run.low_recovery", 5)]


def test_a_whole_hole_in_feet_is_one_finding_over_all_of_it(make_core, make_runs):
    runs = make_runs(*((4.56 + 10 * run, 14.56 + 10 * run, 3.0) for run in range(6)))
    (finding,) = check_runs(make_core(runs=runs, total_m=64.56), RULES)
    assert (finding.code, finding.from_mm, finding.to_mm) == ("run.hole_in_feet", 4560, 64560)


def test_a_loss_beside_a_wrong_block_is_not_blamed(make_core, make_runs):
    """The run below a block in feet runs uphole, so a loss in it lies in no run: the block is wrong, not the loss."""
    runs = make_runs((0, 3, 3), (3, 6, 3), (6, 29.53, 3), (29.53, 12, 2.5), (12, 15, 3))
    core = make_core(runs=runs, losses=[(10.0, 0.5)], total_m=15)
    assert [finding.code for finding in check_runs(core, RULES)] == ["run.block_in_feet"]


def test_overlap_and_gap_between_runs_start_above_the_tolerance(run_codes):
    def beside(start_m: float) -> list[str]:
        return run_codes((0, 3, 3), (start_m, 6, 6 - start_m), (6, 9, 3))

    assert beside(2.9) == ["run.overlap"]
    assert beside(3.1) == ["run.gap"]
    assert beside(2.995) == beside(3.005) == []
    assert beside(2.994) == ["run.overlap"]
    assert beside(3.006) == ["run.gap"]


def test_blocks_that_go_up_stop_the_hole_and_explain_the_gaps_they_make(run_codes):
    assert run_codes((0, 3, 3), (6, 3, 3), (6, 9, 3)) == ["run.out_of_order"]
    assert run_codes((0, 3, 3), (6, 9, 3), (3, 6, 3), (9, 12, 3))[0] == "run.gap"


def test_a_run_of_no_length_is_out_of_order(run_codes):
    assert run_codes((0, 3, 3), (3, 3, 0), (3, 6, 3)) == ["run.out_of_order"]


def test_low_recovery_starts_below_the_threshold(run_codes):
    at = [(0, 3, 3), (3, 6, 2.55), (6, 9, 3)]
    below = [(0, 3, 3), (3, 6, 2.54), (6, 9, 3)]
    assert "run.low_recovery" not in run_codes(*at)
    assert "run.low_recovery" in run_codes(*below)


def test_core_picked_up_by_the_next_run_is_not_low_recovery(run_codes):
    assert run_codes((0, 3, 3), (3, 6, 2.4), (6, 9, 3.6), (9, 12, 3)) == ["run.gain_beside_loss"]


def test_a_run_below_the_bottom_of_the_hole(run_codes):
    runs = [(0, 3, 3), (3, 6.0, 3)]
    assert run_codes(*runs, total_m=5.99) == ["run.beyond_hole"]
    assert run_codes(*runs, total_m=5.995) == []


@pytest.mark.parametrize("name", ["rqd_mm", "solid_mm"])
def test_more_sound_core_than_core_is_impossible(make_core, full_runs, name):
    spoiled = (*full_runs[:4], replace(full_runs[4], **{name: 3001}), *full_runs[5:])
    (finding,) = check_runs(make_core(runs=spoiled), RULES)
    assert (finding.code, finding.run) == ("run.rqd_impossible", 5)
    sound = (*full_runs[:4], replace(full_runs[4], **{name: 3000}), *full_runs[5:])
    assert check_runs(make_core(runs=sound), RULES) == []


def test_an_unplaced_loss_starts_above_its_threshold(run_codes):
    assert run_codes((0, 3, 3), (3, 6, 2.7), (6, 9, 3)) == []
    assert run_codes((0, 3, 3), (3, 6, 2.69), (6, 9, 3)) == ["loss.unplaced"]
    assert run_codes((0, 3, 3), (3, 6, 2.69), (6, 9, 3), losses=[(4, 0.05)]) == []


def test_a_loss_that_lies_in_no_single_run(run_codes):
    runs = [(0, 3, 3), (3, 6, 2.6), (6, 9, 2.6)]
    assert "loss.outside_runs" in run_codes(*runs, losses=[(5.8, 0.4)])
    assert "loss.outside_runs" in run_codes(*runs, losses=[(9.0, 0.4)])
    assert "loss.outside_runs" not in run_codes(*runs, losses=[(5.6, 0.4)])


def test_losses_longer_than_what_is_missing(run_codes):
    runs = [(0, 3, 3), (3, 6, 2.6), (6, 9, 3)]
    assert run_codes(*runs, losses=[(3.5, 0.3), (5.0, 0.15)]) == []
    assert run_codes(*runs, losses=[(3.5, 0.3), (5.0, 0.16)]) == ["loss.more_than_missing"]


def test_findings_stand_in_the_order_of_their_depths(make_core, make_runs):
    core = make_core(runs=make_runs((0, 3, 2), (3, 6, 3), (6.5, 9, 2.5), (9, 12, 2)), total_m=12)
    depths = [finding.from_mm for finding in check_runs(core, RULES)]
    assert depths == sorted(depths)
    assert len(depths) == 5
