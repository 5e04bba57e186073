"""Tray map: places worked by hand, rows, spacers, blocks, overfull trays, measured row ends, refusals."""

import numpy as np
import pytest

from trayside.core.depth import register
from trayside.core.tray_map import tray_map
from trayside.errors import ImpossibleValue


def tie(**more):
    return register(**({"run_from_m": [0, 3], "run_to_m": [3, 6], "recovered_m": [2.8, 3.0]} | more))


def trays(registration=None, **more):
    settings = {"tray_from_m": [0, 3], "tray_to_m": [3, 6], "rows": 3, "row_length_m": 1.0}
    return tray_map(registration=registration or tie(), **(settings | more))


def place(found, depth_m):
    at = found.place_at(depth_m=depth_m)
    return at.tray_index, at.row, pytest.approx(at.left_cm, nan_ok=True), at.in_loss


def test_core_reads_like_a_page():
    found = trays()
    assert place(found, 0.0) == (0, 1, 0.0, False)
    assert place(found, 1.25) == (0, 2, 25.0, False)
    assert place(found, 2.9) == (0, 3, 90.0, True)
    assert place(found, 3.0) == (1, 1, 0.0, False)
    assert place(found, 6.0) == (1, 3, 100.0, False)
    assert found.laid_m == pytest.approx([3.0, 3.0])
    assert not found.overfull_m.any()


def test_depth_outside_every_tray_has_no_place():
    at = trays().place_at(depth_m=[-0.5, 6.5, np.nan])
    assert at.tray_index.tolist() == [-1, -1, -1]
    assert at.row.tolist() == [0, 0, 0]
    assert np.isnan(at.left_cm).all()
    assert not at.in_loss.any()


def test_to_and_fro_turns_every_second_row():
    found = trays(direction="boustrophedon")
    assert place(found, 0.25) == (0, 1, 25.0, False)
    assert place(found, 1.0) == (0, 2, 100.0, False)
    assert place(found, 1.25) == (0, 2, 75.0, False)
    assert place(found, 2.25) == (0, 3, 25.0, False)
    assert found.depth_at(tray_index=0, row=2, left_cm=75.0) == pytest.approx(1.25)
    drawn = found.pieces()
    second = (drawn.tray_index == 0) & (drawn.row == 2)
    assert drawn.left_from_cm[second] == pytest.approx([0.0])
    assert drawn.left_to_cm[second] == pytest.approx([100.0])
    assert drawn.depth_from_m[second] == pytest.approx([1.0])


def test_clicked_place_gives_the_depth_or_nan():
    found = trays()
    depth = found.depth_at(tray_index=[0, 0, 0, 1, 1], row=[1, 3, 3, 2, 1], left_cm=[50, 79, 90, 0, 100.5])
    assert depth == pytest.approx([0.5, 2.79, np.nan, 4.0, np.nan], nan_ok=True)
    nowhere = found.depth_at(tray_index=[-1, 2, 0, 0, 0], row=[1, 1, 0, 4, 1], left_cm=[5, 5, 5, 5, -1])
    assert np.isnan(nowhere).all()


def test_short_spacer_moves_what_lies_after_it():
    long_loss = tie(recovered_m=[2.8, 2.0], loss_depth_m=[4.0], loss_length_m=[1.0])
    fixed = trays(long_loss, loss_spacer="fixed", fixed_spacer_m=0.1)
    assert fixed.laid_m == pytest.approx([2.9, 2.1])
    assert place(fixed, 3.9) == (1, 1, 90.0, False)
    assert place(fixed, 4.5) == (1, 2, 5.0, True)
    assert place(fixed, 5.5) == (1, 2, 60.0, False)
    full = trays(long_loss)
    assert place(full, 4.5) == (1, 2, 50.0, True)
    assert place(full, 5.5) == (1, 3, 50.0, False)


def test_losses_of_one_run_that_touch_get_one_spacer():
    touching = register(run_from_m=[0], run_to_m=[3], recovered_m=[1.0], loss_depth_m=[2.0], loss_length_m=[0.5])
    found = tray_map(
        tray_from_m=[0], tray_to_m=[3], rows=3, row_length_m=1.0, registration=touching, loss_spacer="fixed"
    )
    assert found.laid_m == pytest.approx([1.1])


def test_blocks_take_their_width_at_the_end_of_each_run():
    found = trays(tie(recovered_m=[2.8, 2.8]), block_m=0.05, rows=[4, 4], loss_spacer="fixed")
    assert found.laid_m == pytest.approx([2.95, 2.95])
    assert place(found, 3.0) == (1, 1, 0.0, False)
    assert np.isnan(found.depth_at(tray_index=0, row=3, left_cm=93.0))
    drawn = found.pieces()
    block = drawn.kind == "block"
    assert drawn.tray_index[block].tolist() == [0, 1]
    assert drawn.left_from_cm[block] == pytest.approx([90.0, 90.0])
    assert drawn.left_to_cm[block] == pytest.approx([95.0, 95.0])
    assert drawn.depth_from_m[block].tolist() == [3.0, 6.0]


def test_run_that_begins_with_a_loss_starts_in_its_own_tray():
    hung = tie(recovered_m=[3.0, 2.5], loss_rule="start_of_run")
    found = trays(hung, block_m=0.05, rows=4)
    assert place(found, 3.0) == (1, 1, 0.0, True)
    assert place(found, 3.5) == (1, 1, 50.0, False)


def test_block_without_width_is_drawn_once_where_its_run_ends():
    drawn = trays(tray_from_m=[0, 2], tray_to_m=[2, 6], rows=4).pieces()
    block = drawn.kind == "block"
    assert drawn.tray_index[block].tolist() == [1, 1]
    assert drawn.row[block].tolist() == [1, 4]
    assert drawn.left_from_cm[block] == pytest.approx([100.0, 100.0])


def test_overfull_tray_is_told_and_shared_over_its_rows():
    found = trays(row_length_m=0.9)
    assert found.overfull_m == pytest.approx([0.3, 0.3])
    assert place(found, 1.5) == (0, 2, 50.0, False)
    assert place(found, 3.0 - 1e-6)[1] == 3
    assert trays(row_length_m=[1.0, 0.9]).overfull_m == pytest.approx([0.0, 0.3])


def test_tray_with_room_left_stops_before_its_last_row():
    found = trays(rows=5)
    assert place(found, 6.0) == (1, 3, 100.0, False)
    assert np.isnan(found.depth_at(tray_index=1, row=4, left_cm=0.5))
    assert set(found.pieces().row) == {1, 2, 3}


def test_measured_row_ends_decide():
    found = trays(row_end_m=[[0.95, 1.9, 3.0], None])
    assert place(found, 0.96) == (0, 2, 1.0, False)
    assert place(found, 1.0 + 2.0) == (1, 1, 0.0, False)
    assert found.overfull_m == pytest.approx([0.1, 0.0])
    assert place(trays(row_end_m=[[0.95, 1.9], None]), 2.0) == (0, 3, 10.0, False)


@pytest.mark.parametrize(
    ("ends", "why"),
    [
        ([0.9, 0.8, 3.0], "do not rise"),
        ([0.9, 1.9, 3.5], "do not rise"),
        ([0.0, 1.9, 3.0], "do not rise"),
        ([0.9, 1.9, 2.5], "the last row ends"),
        ([0.9, 1.9, 2.5, 3.0], "4 row ends for 3 rows"),
        ([], "0 row ends"),
    ],
)
def test_row_ends_that_do_not_fit_are_refused(ends, why):
    with pytest.raises(ImpossibleValue, match=why):
        trays(row_end_m=[ends, None])


def test_first_tray_that_holds_a_depth_answers():
    found = trays(tray_from_m=[0, 2.5], tray_to_m=[3, 6], rows=4)
    assert place(found, 2.7) == (0, 3, 70.0, False)
    assert found.depth_at(tray_index=1, row=1, left_cm=20.0) == pytest.approx(2.7)
    swapped = trays(tray_from_m=[3, 0], tray_to_m=[6, 3])
    assert place(swapped, 0.5) == (1, 1, 50.0, False)
    doubled = trays(tray_from_m=[0, 0], tray_to_m=[3, 3])
    assert place(doubled, 0.5) == (0, 1, 50.0, False)
    assert doubled.depth_at(tray_index=1, row=1, left_cm=50.0) == pytest.approx(0.5)


def test_depth_between_trays_and_between_runs_has_no_place():
    found = trays(tray_from_m=[0, 3.5], tray_to_m=[3, 6])
    assert found.place_at(depth_m=3.2).tray_index == -1
    gap = register(run_from_m=[0, 3.5], run_to_m=[3, 6], recovered_m=[3.0, 2.5])
    found = trays(gap)
    assert found.place_at(depth_m=3.2).tray_index == -1
    assert found.laid_m == pytest.approx([3.0, 2.5])
    assert place(found, 3.5) == (1, 1, 0.0, False)


def test_core_that_overlaps_the_next_run_lies_before_the_block():
    long_core = tie(recovered_m=[3.2, 3.0])
    found = trays(long_core, rows=4, block_m=0.05)
    assert found.laid_m == pytest.approx([3.25, 3.05])
    assert found.depth_at(tray_index=0, row=4, left_cm=10.0) == pytest.approx(3.1)
    assert place(found, 3.1) == (1, 1, 10.0, False)


def test_overlapping_blocks_are_laid_run_by_run():
    overlapping = register(run_from_m=[0, 2.8], run_to_m=[3, 6], recovered_m=[3.0, 3.2])
    found = trays(overlapping, rows=4)
    assert found.laid_m == pytest.approx([3.0, 3.2])
    assert place(found, 3.0) == (1, 1, 20.0, False)
    assert found.depth_at(tray_index=1, row=1, left_cm=10.0) == pytest.approx(2.9)


def test_empty_tray_list_and_empty_hole():
    empty = trays(tray_from_m=[], tray_to_m=[], rows=np.zeros(0), row_length_m=np.zeros(0))
    assert empty.place_at(depth_m=1.0).tray_index == -1
    assert np.isnan(empty.depth_at(tray_index=0, row=1, left_cm=1.0))
    assert empty.pieces().kind.size == 0
    no_runs = trays(register(run_from_m=[], run_to_m=[], recovered_m=[]))
    assert no_runs.place_at(depth_m=[1.0]).tray_index.tolist() == [-1]
    assert np.isnan(no_runs.depth_at(tray_index=0, row=1, left_cm=1.0))
    assert no_runs.laid_m.tolist() == [0.0, 0.0]
    assert no_runs.pieces().kind.size == 0


@pytest.mark.parametrize(
    ("bad", "why"),
    [
        ({"tray_to_m": [3, 3]}, "tray_to_m, entry 1"),
        ({"rows": 0}, "rows"),
        ({"rows": 2.5}, "rows"),
        ({"rows": [3]}, "1 values of rows for 2 trays"),
        ({"row_length_m": 0.0}, "row_length_m"),
        ({"direction": "right_to_left"}, "direction"),
        ({"loss_spacer": "none"}, "loss_spacer"),
        ({"fixed_spacer_m": 0.0}, "fixed_spacer_m"),
        ({"block_m": -0.1}, "block_m"),
        ({"row_end_m": [None]}, "1 of 2 trays"),
    ],
)
def test_settings_that_cannot_be_are_refused(bad, why):
    with pytest.raises(ImpossibleValue, match=why):
        trays(**bad)
