"""Run table, stub balance and rock quality: rules at the edges."""

import numpy as np
import pytest

from trayside.core.recovery import (
    fracture_frequency,
    rqd,
    rqd_class,
    rqd_from_fracture_frequency,
    rqd_of_length,
    run_table,
    solid_core_recovery,
    stub_balance,
    total_core_recovery,
)
from trayside.errors import ImpossibleValue


def test_run_table_adds_up():
    table = run_table(from_m=[0, 3, 6], to_m=[3, 6, 9], recovered_m=[2.7, 3.25, 3.0])
    assert table.advance_m.tolist() == [3, 3, 3]
    assert table.loss_m == pytest.approx([0.3, 0, 0])
    assert table.gain_m == pytest.approx([0, 0.25, 0])
    assert table.raw_recovery == pytest.approx([0.9, 3.25 / 3, 1.0])
    assert table.true_loss_m == pytest.approx([0.05, 0, 0])
    assert table.stub_m == pytest.approx([0, 0.25, 0, 0])
    assert table.closure_m == pytest.approx([-0.3, -0.05, -0.05])
    assert table.hole_recovery == pytest.approx(8.95 / 9)


def test_unmeasured_run_is_missing_not_zero_and_parts_the_balance():
    table = run_table(from_m=[0, 3, 6, 9], to_m=[3, 6, 9, 12], recovered_m=[2.9, np.nan, 2.8, 3.2])
    assert np.isnan(table.loss_m[1])
    assert np.isnan(table.raw_recovery[1])
    assert np.isnan(table.true_loss_m[1])
    assert np.isnan(table.closure_m[1])
    assert table.true_loss_m[[0, 2, 3]] == pytest.approx([0.1, 0, 0])
    assert table.stub_m[2:] == pytest.approx([0, 0.2, 0])
    assert table.hole_recovery == pytest.approx(8.9 / 9)


def test_nothing_measured_has_no_hole_recovery():
    assert np.isnan(run_table(from_m=[0], to_m=[3], recovered_m=[np.nan]).hole_recovery)


def test_hole_without_runs_is_an_empty_table():
    table = run_table(from_m=[], to_m=[], recovered_m=[])
    assert table.stub_m.tolist() == [0.0]
    assert table.loss_m.size == 0


def test_binary_noise_in_block_depths_makes_no_stub():
    # 103.2 - 100.1 is not 3.1 in binary; no stub must be seen in it.
    table = run_table(from_m=[100.1], to_m=[103.2], recovered_m=[3.1])
    assert table.stub_m.tolist() == [0.0, 0.0]
    assert table.gain_m.tolist() == [0.0]


@pytest.mark.parametrize("to_m", [[3.0, 3.0], [3.0, 2.0]])
def test_run_that_ends_above_its_start_is_refused_with_its_index(to_m):
    with pytest.raises(ImpossibleValue, match="run, index 1"):
        run_table(from_m=[0.0, 3.0], to_m=to_m, recovered_m=[3.0, 1.0])


def test_negative_core_and_unequal_columns_are_refused():
    with pytest.raises(ImpossibleValue, match="recovered_m"):
        run_table(from_m=[0], to_m=[3], recovered_m=[-0.1])
    with pytest.raises(ImpossibleValue, match="do not go together"):
        run_table(from_m=[0, 3], to_m=[3, 6], recovered_m=[3.0])
    with pytest.raises(ImpossibleValue, match="do not go together"):
        stub_balance(advance_m=[3.0], recovered_m=[3.0, 3.0])
    with pytest.raises(ImpossibleValue, match="advance_m"):
        stub_balance(advance_m=[0.0], recovered_m=[0.0])


def test_stub_before_the_first_run_stays_visible():
    assert stub_balance(advance_m=[3.0], recovered_m=[3.3]).stub_m == pytest.approx([0.3, 0.0])


def test_piece_of_exactly_the_threshold_counts_unless_told_otherwise():
    assert rqd(piece_m=[0.1, 0.3 - 0.2, 0.05], run_m=1.0) == pytest.approx(0.2)
    assert rqd(piece_m=[0.1, 0.3 - 0.2, 0.15], run_m=1.0, inclusive=False) == pytest.approx(0.15)
    assert rqd(piece_m=[0.1, 0.25], run_m=1.0, threshold_m=0.2) == pytest.approx(0.25)


def test_rqd_of_no_pieces_is_zero_and_of_a_whole_run_is_one():
    assert rqd(piece_m=[], run_m=1.5) == 0.0
    assert rqd(piece_m=[0.1] * 30, run_m=3.0) == 1.0


def test_rqd_tolerance_lets_a_tape_error_show_without_cutting_it_off():
    with pytest.raises(ImpossibleValue, match="sum to"):
        rqd(piece_m=[3.01], run_m=3.0)
    assert rqd(piece_m=[3.01], run_m=3.0, tolerance_m=0.02) == pytest.approx(3.01 / 3.0)


@pytest.mark.parametrize(("piece", "run"), [([-0.1], 1.0), ([0.1], 0.0), ([np.nan], 1.0), ([0.1], -1.0)])
def test_rqd_refuses_impossible_lengths(piece, run):
    with pytest.raises(ImpossibleValue):
        rqd(piece_m=piece, run_m=run)


def test_shares_of_the_run_work_on_columns():
    assert solid_core_recovery(solid_m=[1.5, 3.0], run_m=3.0).tolist() == [0.5, 1.0]
    assert rqd_of_length(sound_m=[0.0, 1.2], run_m=[1.5, 1.5]) == pytest.approx([0.0, 0.8])
    assert total_core_recovery(recovered_m=3.3, run_m=3.0) == pytest.approx(1.1)
    with pytest.raises(ImpossibleValue, match="solid_m, entry 1"):
        solid_core_recovery(solid_m=[1.0, 3.1], run_m=3.0)


def test_class_holds_its_lower_edge():
    assert rqd_class(rqd_fraction=[0.2499, 0.25, 0.5, 0.75, 0.9]).tolist() == [
        "very poor",
        "poor",
        "fair",
        "good",
        "excellent",
    ]
    assert rqd_class(rqd_fraction=0.1 * 9) == "excellent"


def test_class_edges_are_a_setting_and_missing_stays_missing():
    assert rqd_class(rqd_fraction=[0.4, 0.6, np.nan], edges=(0.5,), names=("low", "high")).tolist() == [
        "low",
        "high",
        "",
    ]
    with pytest.raises(ImpossibleValue, match="edges"):
        rqd_class(rqd_fraction=0.5, edges=(0.5, 0.4), names=("a", "b", "c"))
    with pytest.raises(ImpossibleValue, match="percentage"):
        rqd_class(rqd_fraction=53.0)


def test_fractures_not_countable_stay_nan():
    assert fracture_frequency(fractures=[6, 0], length_m=[3.0, 1.5]).tolist() == [2.0, 0.0]
    assert np.isnan(fracture_frequency(fractures=np.nan, length_m=1.0))
    assert np.isnan(rqd_from_fracture_frequency(fractures_per_metre=np.nan))
    with pytest.raises(ImpossibleValue, match="whole"):
        fracture_frequency(fractures=2.5, length_m=1.0)
    with pytest.raises(ImpossibleValue):
        fracture_frequency(fractures=-1, length_m=1.0)
    with pytest.raises(ImpossibleValue):
        rqd_from_fracture_frequency(fractures_per_metre=-1.0)
