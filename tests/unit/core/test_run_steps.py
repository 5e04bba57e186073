"""Block tests: each fault is found where it was planted, and ordinary ground raises nothing."""

import numpy as np
import pytest

from trayside.core.run_steps import (
    feet_blocks,
    gaps,
    hole_in_feet,
    out_of_order,
    overlaps,
    recovery_over_one_next_to_loss,
    rod_steps,
)
from trayside.errors import ImpossibleValue

FOOT_M = 0.3048


def hole(blocks, recovered):
    blocks = np.asarray(blocks, dtype=float)
    return {"from_m": blocks[:-1], "to_m": blocks[1:], "recovered_m": np.broadcast_to(recovered, len(blocks) - 1)}


def twenty_runs():
    return np.arange(0.0, 61.0, 3.0), np.full(20, 2.95)


def ordinary_hole(seed):
    """Runs of a mixed hole: full runs, short ones, scattered losses below half a rod, small stubs."""
    chance = np.random.default_rng(seed)
    advance = np.round(chance.choice([3.0, 3.0, 3.0, 2.4, 1.8, 1.5, 0.9], 60), 3)
    recovered = np.round(advance * chance.uniform(0.9, 1.0, 60), 3)
    bad = chance.random(60) < 0.1
    recovered = np.where(bad, np.round(advance * chance.uniform(0.6, 0.9, 60), 3), recovered)
    return np.concatenate(([0.0], np.cumsum(advance))), recovered


@pytest.mark.parametrize("seed", range(20))
def test_ordinary_ground_raises_no_alarm(seed):
    columns = hole(*ordinary_hole(seed))
    blocks = {name: columns[name] for name in ("from_m", "to_m")}
    assert not rod_steps(**columns).run.size
    assert not feet_blocks(**columns).run.size
    assert not hole_in_feet(**columns).in_feet
    assert not overlaps(**blocks).run.size
    assert not gaps(**blocks).run.size
    assert not out_of_order(**blocks).reversed_run.size
    assert not out_of_order(**blocks).earlier_run.size


@pytest.mark.parametrize("rod_m", [3.0, 3.048, 1.5, 1.524])
def test_rod_too_many_is_found_and_cancelled_by_the_later_rod_too_few(rod_m):
    blocks, recovered = twenty_runs()
    blocks[6:] += rod_m
    blocks[12:] -= rod_m
    found = rod_steps(**hole(blocks, recovered))
    assert found.run.tolist() == [5, 11]
    assert found.sign.tolist() == [1, -1]
    assert found.cancelled_by_run.tolist() == [11, -1]
    assert found.likely.tolist() == [True, True]
    assert np.abs(found.distance_m).max() <= 0.15
    assert found.recovery_after == pytest.approx(recovered[0] / found.advance_after_m)
    assert found.step_m == pytest.approx([rod_m + 0.05, 0.05 - rod_m])


def test_evidence_of_a_rod_step_is_exact():
    blocks, _ = twenty_runs()
    blocks[6:] += 3.0
    found = rod_steps(**hole(blocks, 2.94), rod_lengths_m=[3.0])
    assert found.rod_m.tolist() == [3.0]
    assert found.distance_m == pytest.approx([0.06])
    assert found.advance_after_m == pytest.approx([3.0])
    assert found.recovery_after == pytest.approx([0.98])
    assert found.cancelled_by_run.tolist() == [-1]


def test_half_a_run_lost_is_only_possible_while_an_overlong_run_is_likely():
    blocks, recovered = twenty_runs()
    recovered[4] = 1.5
    assert rod_steps(**hole(blocks, recovered)).likely.tolist() == [False]
    blocks[5:] += 1.5
    recovered[4] = 2.95
    found = rod_steps(**hole(blocks, recovered))
    assert found.run.tolist() == [4]
    assert found.likely.tolist() == [True]


@pytest.mark.parametrize("recovered_m", [1.7, 2.0, 1.2, 0.05, 0.0])
def test_losses_that_leave_no_full_run_are_no_rod_steps(recovered_m):
    # 1.2 m of 3 m: 1.8 m missing is too far from any rod. 0.05 m: a run lost whole leaves nothing to compare.
    blocks, recovered = twenty_runs()
    recovered[4] = recovered_m
    assert not rod_steps(**hole(blocks, recovered)).run.size


@pytest.mark.parametrize(("advance_m", "recovered_m"), [(3.5, 0.4), (3.4, 0.45)])
def test_what_is_left_without_the_rod_must_be_a_full_run(advance_m, recovered_m):
    # Both miss about 3 m; without it 0.4 m of 0.5 m is too little, 0.45 m of 0.4 m too much.
    found = rod_steps(**hole([0, 3, 6, 6 + advance_m], [2.95, 2.95, recovered_m]))
    assert not found.run.size
    wide = rod_steps(**hole([0, 3, 6, 6 + advance_m], [2.95, 2.95, recovered_m]), recovery_low=0.7, recovery_high=1.2)
    assert wide.run.tolist() == [2]


def test_gain_after_a_loss_as_long_is_a_stub_not_a_likely_rod():
    blocks, recovered = np.arange(0.0, 31.0, 1.5), np.full(20, 1.48)
    recovered[8], recovered[9] = 0.0, 2.98
    found = rod_steps(**hole(blocks, recovered), usual_advance_m=3.0)
    assert found.run.tolist() == [9]
    assert found.likely.tolist() == [False]
    recovered[8] = 1.48
    assert rod_steps(**hole(blocks, recovered), usual_advance_m=3.0).likely.tolist() == [True]


def test_unmeasured_runs_take_no_part():
    blocks, recovered = twenty_runs()
    recovered[:] = np.nan
    blocks[6:] += 3.0
    assert not rod_steps(**hole(blocks, recovered)).run.size
    assert hole_in_feet(**hole(blocks, recovered)).runs == 0


@pytest.mark.parametrize("index", [1, 2, 7, 13, 19, 20])
def test_single_block_in_feet_is_found_wherever_it_stands(index):
    blocks, recovered = twenty_runs()
    metres = blocks[index]
    blocks[index] = np.round(metres / FOOT_M, 1)
    found = feet_blocks(**hole(blocks, recovered))
    assert found.run.tolist() == [index - 1]
    assert found.is_end.tolist() == [True]
    assert found.written_m.tolist() == [blocks[index]]
    assert found.metres_if_feet_m == pytest.approx([metres], abs=0.02)
    assert found.recovery_after == pytest.approx([2.95 / 3.0], abs=0.01)


def test_neighbouring_blocks_in_feet_are_all_found():
    blocks, recovered = twenty_runs()
    blocks[[7, 8, 9]] /= FOOT_M
    assert feet_blocks(**hole(blocks, recovered)).run.tolist() == [6, 7, 8]


def test_block_in_feet_at_one_side_only_is_placed_on_the_run_that_begins_there():
    blocks, recovered = twenty_runs()
    columns = hole(blocks, recovered)
    columns["from_m"] = columns["from_m"].copy()
    columns["from_m"][8] /= FOOT_M
    found = feet_blocks(**columns)
    assert found.run.tolist() == [8]
    assert found.is_end.tolist() == [False]


@pytest.mark.parametrize("written", [90.0, 96.0, 300.0, 3.0])
def test_a_slip_of_the_pen_is_not_taken_for_feet(written):
    blocks, recovered = twenty_runs()
    blocks[11] = written  # stands between 30 m and 36 m; in feet none of these lies there
    assert not feet_blocks(**hole(blocks, recovered)).run.size


def test_whole_hole_in_feet_is_told_from_a_poor_hole():
    blocks, recovered = twenty_runs()
    found = hole_in_feet(**hole(blocks / FOOT_M, recovered))
    assert found.in_feet
    assert found.runs == 20
    assert found.recovery_if_feet == pytest.approx(2.95 / 3.0)
    assert found.share_near == 1.0
    chance = np.random.default_rng(3)
    assert not hole_in_feet(**hole(blocks, chance.uniform(0.0, 1.8, 20))).in_feet
    assert not hole_in_feet(**hole(blocks[:4] / FOOT_M, recovered[:3])).in_feet


def test_whole_hole_in_feet_is_not_also_a_list_of_single_blocks():
    blocks, recovered = twenty_runs()
    assert not feet_blocks(**hole(blocks / FOOT_M, recovered)).run.size


def test_gain_is_set_against_the_loss_above_it():
    blocks = [0, 3, 6, 9, 12]
    found = recovery_over_one_next_to_loss(**hole(blocks, [2.7, 3.25, 3.0, 2.9]))
    assert found.gain_run.tolist() == [1]
    assert found.loss_run.tolist() == [0]
    assert found.gain_m == pytest.approx([0.25])
    assert found.loss_m == pytest.approx([0.3])
    assert found.net_m == pytest.approx([0.25])


def test_gain_larger_than_the_loss_above_takes_the_rest_from_below():
    found = recovery_over_one_next_to_loss(**hole([0, 3, 6, 9], [2.9, 3.25, 2.8]))
    assert found.loss_run.tolist() == [0, 2]
    assert found.net_m == pytest.approx([0.1, 0.15])


def test_one_loss_is_used_once_and_far_losses_only_when_asked():
    columns = hole([0, 3, 6, 9, 12], [2.5, 2.9, 3.4, 3.1])
    near = recovery_over_one_next_to_loss(**columns)
    assert near.net_m == pytest.approx([0.1])
    far = recovery_over_one_next_to_loss(**columns, reach=3)
    assert far.net_m.sum() == pytest.approx(0.5)
    assert far.loss_run.tolist() == [1, 0, 0]


def test_gain_with_no_loss_beside_it_is_not_netted():
    assert not recovery_over_one_next_to_loss(**hole([0, 3, 6, 9], [3.0, 3.2, 3.0])).gain_run.size


def test_overlaps_gaps_and_order_are_told_apart():
    from_m = np.array([0.0, 3.0, 5.8, 9.2, 12.0, 6.0, 15.0])
    to_m = np.array([3.0, 6.0, 9.0, 12.0, 15.0, 9.0, 14.0])
    found = overlaps(from_m=from_m, to_m=to_m)
    assert found.run.tolist() == [2]
    assert found.length_m == pytest.approx([0.2])
    found = gaps(from_m=from_m, to_m=to_m)
    assert found.run.tolist() == [3, 6]
    assert found.length_m == pytest.approx([0.2, 6.0])
    found = out_of_order(from_m=from_m, to_m=to_m)
    assert found.reversed_run.tolist() == [6]
    assert found.reversed_m.tolist() == [1.0]
    assert found.earlier_run.tolist() == [5]
    assert found.earlier_m.tolist() == [6.0]


def test_tolerance_is_a_setting():
    columns = {"from_m": [0.0, 3.004], "to_m": [3.0, 6.0]}
    assert not gaps(**columns).run.size
    assert gaps(**columns, tolerance_m=0.001).run.tolist() == [1]


def test_run_of_no_length_counts_as_reversed():
    assert out_of_order(from_m=[3.0], to_m=[3.0]).reversed_m.tolist() == [0.0]


def test_empty_hole_has_no_steps():
    nothing = {"from_m": [], "to_m": [], "recovered_m": []}
    assert not rod_steps(**nothing).run.size
    assert not feet_blocks(**nothing).run.size
    assert not recovery_over_one_next_to_loss(**nothing).gain_run.size
    assert hole_in_feet(**nothing).runs == 0
    assert not overlaps(from_m=[], to_m=[]).run.size


def test_unreadable_blocks_are_refused():
    with pytest.raises(ImpossibleValue, match="to_m"):
        rod_steps(from_m=[0.0], to_m=[np.nan], recovered_m=[1.0])
    with pytest.raises(ImpossibleValue, match="recovered_m"):
        feet_blocks(from_m=[0.0], to_m=[3.0], recovered_m=[-1.0])
