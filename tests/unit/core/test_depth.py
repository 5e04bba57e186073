"""Registration and metre marks: losses, long core, stubs, overlaps, edges, refusals."""

import numpy as np
import pytest

from trayside.core.depth import metre_marks, register
from trayside.core.recovery import stub_balance
from trayside.errors import ImpossibleValue


def three_runs(**more):
    settings = {"run_from_m": [0, 3, 6], "run_to_m": [3, 6, 9], "recovered_m": [3.0, 2.5, 3.0]} | more
    return register(**settings)


def test_known_loss_opens_the_core_at_its_place():
    tie = three_runs(loss_depth_m=[4.0], loss_length_m=[0.5])
    assert tie.depth_at(core_m=[3.5, 4.0, 4.001, 5.5]) == pytest.approx([3.5, 4.0, 4.501, 6.0])
    assert np.isnan(tie.core_at(depth_m=4.25))
    assert tie.core_at(depth_m=[4.0, 4.5]) == pytest.approx([4.0, 4.0])
    lost = tie.lost_stretches()
    assert (lost.from_m.tolist(), lost.to_m.tolist()) == ([4.0], [4.5])
    assert lost.known.tolist() == [True]
    assert lost.run_index.tolist() == [1]
    assert tie.unplaced_loss_m.tolist() == [0.0, 0.0, 0.0]


def test_loss_that_is_left_follows_the_rule():
    known = {"loss_depth_m": [4.0], "loss_length_m": [0.2]}
    end = three_runs(**known).lost_stretches()
    assert end.from_m == pytest.approx([4.0, 5.7])
    assert end.known.tolist() == [True, False]
    start = three_runs(**known, loss_rule="start_of_run").lost_stretches()
    assert start.from_m == pytest.approx([3.0, 4.0])
    assert start.to_m == pytest.approx([3.3, 4.2])
    stretched = three_runs(**known, loss_rule="stretch")
    assert stretched.lost_stretches().from_m.tolist() == [4.0]
    assert stretched.core_at(depth_m=6.0) == pytest.approx(5.5)
    assert stretched.depth_at(core_m=3.0 + 2.5 / 2.8) == pytest.approx(4.0)
    assert stretched.unplaced_loss_m == pytest.approx([0, 0.3, 0])


def test_core_shorter_than_the_depth_of_a_known_loss_still_ends_where_it_ends():
    tie = register(run_from_m=[0], run_to_m=[3], recovered_m=[1.0], loss_depth_m=[2.0], loss_length_m=[0.5])
    lost = tie.lost_stretches()
    assert lost.from_m.tolist() == [1.0, 2.0, 2.5]
    assert lost.known.tolist() == [False, True, False]


def test_run_without_core_is_lost_whole():
    tie = three_runs(recovered_m=[3.0, 0.0, 3.0])
    assert np.isnan(tie.core_at(depth_m=4.5))
    assert tie.lost_stretches().to_m.tolist() == [6.0]
    assert tie.run_at(depth_m=4.5) == 1
    assert tie.depth_at(core_m=[2.9, 3.1]) == pytest.approx([2.9, 6.1])


@pytest.mark.parametrize("loss_rule", ["end_of_run", "start_of_run", "stretch"])
def test_hole_without_core_answers_nan_everywhere(loss_rule):
    tie = register(run_from_m=[0], run_to_m=[3], recovered_m=[0.0], loss_rule=loss_rule)
    assert np.isnan(tie.depth_at(core_m=0.0))
    assert np.isnan(tie.core_at(depth_m=[0.0, 1.0])).all()
    assert tie.recovered_between(from_m=0, to_m=3) == 0.0
    marks = metre_marks(registration=tie)
    assert marks.missing_depth_m.tolist() == [1.0, 2.0, 3.0]
    assert marks.depth_m.size == 0


def test_hole_without_runs_is_empty():
    tie = register(run_from_m=[], run_to_m=[], recovered_m=[])
    assert tie.run_at(depth_m=1.0) == -1
    assert np.isnan(tie.core_at(depth_m=1.0))
    assert metre_marks(registration=tie).depth_m.size == 0


def test_where_a_long_core_overlaps_the_run_below_answers():
    tie = register(run_from_m=[57, 60], run_to_m=[60, 63], recovered_m=[3.12, 3.0])
    assert tie.depth_at(core_m=3.1) == pytest.approx(60.1)
    assert tie.core_at(depth_m=60.1) == pytest.approx(3.22)
    assert tie.run_at(depth_m=60.1) == 1
    assert tie.long_m == pytest.approx([0.12, 0.0])
    assert tie.recovered_between(from_m=57, to_m=63) == pytest.approx(6.12)
    assert tie.recovered_between(from_m=60.0, to_m=60.12) == pytest.approx(0.24)


def test_long_core_answers_below_the_last_block_and_in_gaps():
    last = register(run_from_m=[57], run_to_m=[60], recovered_m=[3.12])
    assert last.core_at(depth_m=60.1) == pytest.approx(3.1)
    assert np.isnan(last.core_at(depth_m=60.13))
    assert last.run_at(depth_m=60.1) == -1
    gap = register(run_from_m=[57, 60.05], run_to_m=[60, 63], recovered_m=[3.12, 2.95])
    assert gap.core_at(depth_m=60.04) == pytest.approx(3.04)
    assert gap.core_at(depth_m=60.1) == pytest.approx(3.17)


def test_loss_in_a_full_run_makes_it_long_and_says_so():
    tie = three_runs(recovered_m=[3.0, 3.0, 3.0], loss_depth_m=[4.0], loss_length_m=[0.2])
    assert tie.long_m == pytest.approx([0, 0.2, 0])
    scaled = three_runs(recovered_m=[3.0, 3.0, 3.0], loss_depth_m=[4.0], loss_length_m=[0.2], long_rule="scale")
    assert scaled.long_m == pytest.approx([0, 0.2, 0])
    assert scaled.depth_at(core_m=5.9999999) == pytest.approx(6.0)


def test_stubs_move_the_core_to_the_depth_where_it_was_cut():
    recovered = [2.7, 3.25, 3.0]
    stub = stub_balance(advance_m=[3, 3, 3], recovered_m=recovered).stub_m
    tie = three_runs(recovered_m=recovered, stub_m=stub)
    # Run 0 ends 0.25 m above its block; run 1 begins there. Only 0.05 m is lost, above the stub.
    assert tie.lost_stretches().from_m == pytest.approx([2.7])
    assert tie.lost_stretches().to_m == pytest.approx([2.75])
    assert tie.depth_at(core_m=[2.7001, 5.95]) == pytest.approx([2.7501, 6.0])
    assert tie.run_at(depth_m=2.8) == 1
    assert not tie.long_m.any()


def test_overlapping_blocks_give_the_shared_depth_to_the_first_run():
    tie = register(run_from_m=[0, 2.8], run_to_m=[3, 6], recovered_m=[3.0, 3.2])
    assert tie.run_at(depth_m=2.9) == 0
    assert tie.core_at(depth_m=2.9) == pytest.approx(2.9)
    assert tie.core_at(depth_m=3.1) == pytest.approx(3.3)
    assert tie.depth_at(core_m=3.1) == pytest.approx(2.9)
    assert tie.recovered_between(from_m=0, to_m=6) == pytest.approx(6.2)


def test_run_inside_another_and_out_of_order_keeps_all_its_core():
    tie = register(run_from_m=[0, 6, 3, 4], run_to_m=[3, 9, 6, 5], recovered_m=[3.0, 3.0, 3.0, 1.0])
    assert tie.run_at(depth_m=[1, 4.5, 7]).tolist() == [0, 2, 1]
    assert tie.recovered_between(from_m=0, to_m=9) == pytest.approx(10.0)
    assert tie.depth_at(core_m=9.5) == pytest.approx(4.5)


def test_block_belongs_to_the_run_below_and_the_last_one_to_the_run_above():
    assert three_runs().run_at(depth_m=[0, 3, 6, 9, 9.1, -0.1]).tolist() == [0, 1, 2, 2, -1, -1]


def test_off_the_core_is_nan():
    tie = three_runs()
    assert np.isnan(tie.depth_at(core_m=[-0.01, 8.51, np.nan])).all()
    assert np.isnan(tie.core_at(depth_m=[-0.01, 9.01, np.nan])).all()
    assert tie.depth_at(core_m=[0.0, 8.5]) == pytest.approx([0.0, 9.0])


def test_recovered_between_takes_columns_and_refuses_upside_down():
    tie = three_runs()
    assert tie.recovered_between(from_m=[0, 3, 5, -5], to_m=[3, 6, 6, 50]) == pytest.approx([3.0, 2.5, 0.5, 8.5])
    with pytest.raises(ImpossibleValue, match="above from_m"):
        tie.recovered_between(from_m=2.0, to_m=1.0)


@pytest.mark.parametrize(
    ("loss_depth_m", "loss_length_m", "why"),
    [
        ([9.5], [0.1], "no run holds"),
        ([5.8], [0.4], "its run ends"),
        ([4.0], [3.5], "its run ends"),
        ([4.0, 4.2], [0.3, 0.1], "overlap"),
        ([3.0], [3.0], "fill the whole run"),
        ([4.0], [0.0], "more than 0"),
        ([4.0, 5.0], [0.1], "do not go together"),
    ],
)
def test_losses_that_cannot_be_are_refused(loss_depth_m, loss_length_m, why):
    with pytest.raises(ImpossibleValue, match=why):
        three_runs(loss_depth_m=loss_depth_m, loss_length_m=loss_length_m)


def test_runs_stubs_and_rules_that_cannot_be_are_refused():
    with pytest.raises(ImpossibleValue, match="run, index 2"):
        three_runs(run_to_m=[3, 6, 6])
    with pytest.raises(ImpossibleValue, match="one stub more"):
        three_runs(stub_m=[0, 0, 0])
    with pytest.raises(ImpossibleValue, match="no stub is longer"):
        three_runs(stub_m=[0, 0, 0, 3.5])
    with pytest.raises(ImpossibleValue, match="loss_rule"):
        three_runs(loss_rule="middle")
    with pytest.raises(ImpossibleValue, match="long_rule"):
        three_runs(long_rule="cut")
    with pytest.raises(ImpossibleValue, match="recovered_m"):
        three_runs(recovered_m=[3.0, np.nan, 3.0])


def test_metre_marks_are_taped_from_the_top_of_their_own_run():
    marks = metre_marks(registration=three_runs(run_from_m=[0.4, 3, 6], recovered_m=[2.5, 2.5, 3.1]))
    assert marks.depth_m.tolist() == [1, 2, 3, 4, 5, 6, 7, 8, 9]
    assert marks.run_index.tolist() == [0, 0, 1, 1, 1, 2, 2, 2, 2]
    assert marks.offset_m == pytest.approx([0.6, 1.6, 0, 1, 2, 0, 1, 2, 3])
    assert marks.core_m == pytest.approx([0.6, 1.6, 2.5, 3.5, 4.5, 5, 6, 7, 8])
    assert marks.missing_depth_m.size == 0


def test_mark_in_a_loss_is_missing_not_moved():
    tie = three_runs(loss_depth_m=[3.8], loss_length_m=[0.5])
    marks = metre_marks(registration=tie)
    assert marks.missing_depth_m.tolist() == [4.0]
    assert 4.0 not in marks.depth_m
    assert marks.offset_m[marks.depth_m == 5.0] == pytest.approx([1.5])


def test_marks_every_five_feet():
    marks = metre_marks(registration=three_runs(recovered_m=[3, 3, 3]), step_m=1.524)
    assert marks.depth_m == pytest.approx([1.524, 3.048, 4.572, 6.096, 7.62])
    assert marks.offset_m == pytest.approx([1.524, 0.048, 1.572, 0.096, 1.62])
    with pytest.raises(ImpossibleValue, match="step_m"):
        metre_marks(registration=three_runs(), step_m=0.0)
