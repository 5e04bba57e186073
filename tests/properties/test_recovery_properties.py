"""The stub balance explains the lengths, with the smallest stubs, for any run table."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from trayside.core.recovery import rqd, run_table, stub_balance

RUNS = st.lists(st.tuples(st.integers(100, 6000), st.integers(0, 6500)), min_size=1, max_size=30)


def lengths(runs):
    return np.array([a for a, _ in runs]) / 1000, np.array([r for _, r in runs]) / 1000


@given(RUNS)
def test_balance_holds_and_nothing_is_negative(runs):
    advance, recovered = lengths(runs)
    found = stub_balance(advance_m=advance, recovered_m=recovered)
    assert found.loss_m == pytest.approx(advance - recovered + found.stub_m[:-1] - found.stub_m[1:], abs=1e-9)
    assert (found.loss_m >= 0).all()
    assert (found.stub_m >= 0).all()
    assert found.stub_m[-1] == 0


@given(RUNS)
def test_a_run_never_loses_core_and_picks_up_a_stub_at_once(runs):
    # Smallest stubs: where core was lost for good, nothing was standing before it that a smaller stub could not explain.
    advance, recovered = lengths(runs)
    found = stub_balance(advance_m=advance, recovered_m=recovered)
    assert np.minimum(found.loss_m, found.stub_m[:-1]) == pytest.approx(np.zeros(len(runs)), abs=1e-9)


@given(RUNS)
def test_hole_recovery_is_unchanged_when_nothing_stood_before_the_first_run(runs):
    advance, recovered = lengths(runs)
    found = stub_balance(advance_m=advance, recovered_m=recovered)
    assume(found.stub_m[0] == 0)
    corrected = (found.corrected_recovery * advance).sum() / advance.sum()
    assert corrected == pytest.approx(recovered.sum() / advance.sum(), abs=1e-9)


@given(RUNS)
def test_closure_ends_at_all_recovered_less_all_drilled(runs):
    advance, recovered = lengths(runs)
    blocks = np.concatenate(([0.0], np.cumsum(advance)))
    table = run_table(from_m=blocks[:-1], to_m=blocks[1:], recovered_m=recovered)
    assert table.closure_m[-1] == pytest.approx(recovered.sum() - advance.sum(), abs=1e-6)
    assert table.gain_m - table.loss_m == pytest.approx(recovered - advance, abs=1e-6)


@given(st.lists(st.integers(1, 800), max_size=20), st.integers(0, 500))
def test_rqd_equals_the_sum_of_counted_pieces(pieces_mm, threshold_mm):
    run_mm = max(1, sum(pieces_mm))
    found = rqd(piece_m=np.array(pieces_mm) / 1000, run_m=run_mm / 1000, threshold_m=threshold_mm / 1000)
    assert found == pytest.approx(sum(p for p in pieces_mm if p >= threshold_mm) / run_mm, abs=1e-12)
