"""Depth and core position answer each other for any run table, with any losses, rules, stubs and overlaps."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from trayside.core.depth import LONG_RULES, LOSS_RULES, metre_marks, register
from trayside.core.recovery import stub_balance
from trayside.errors import ImpossibleValue

AWAY_M = 1e-6


@st.composite
def holes(draw, long_core=True, gaps=True):
    """Arguments for `register`: runs to the millimetre, known losses that fit, any rules."""
    depth, tops, bottoms, recovered, loss_depth, loss_length = draw(st.integers(0, 60_000)), [], [], [], [], []
    for _ in range(draw(st.integers(1, 8))):
        depth += draw(st.sampled_from([0, 0, 0, 250])) if gaps else 0
        advance = draw(st.integers(200, 6000))
        losses = []
        at = depth
        for _ in range(draw(st.integers(0, 2))):
            top = draw(st.integers(at, depth + advance))
            size = draw(st.integers(0, (depth + advance - top) // 3))
            if size:
                losses.append((top, size))
                at = top + size
        room = advance - sum(size for _, size in losses)
        most = room + 300 if long_core and room else room
        recovered.append(draw(st.one_of(st.integers(0, most), st.just(room))))
        loss_depth += [top for top, _ in losses]
        loss_length += [size for _, size in losses]
        tops.append(depth)
        depth += advance
        bottoms.append(depth)
    return {
        "run_from_m": np.array(tops) / 1000,
        "run_to_m": np.array(bottoms) / 1000,
        "recovered_m": np.array(recovered) / 1000,
        "loss_depth_m": np.array(loss_depth) / 1000,
        "loss_length_m": np.array(loss_length) / 1000,
        "loss_rule": draw(st.sampled_from(LOSS_RULES)),
        "long_rule": draw(st.sampled_from(LONG_RULES)),
    }


@st.composite
def shuffled_holes(draw):
    """Runs whose blocks overlap, nest and go up the hole."""
    tops = draw(st.lists(st.integers(0, 20_000), min_size=1, max_size=8))
    advance = [draw(st.integers(100, 6000)) for _ in tops]
    return {
        "run_from_m": np.array(tops) / 1000,
        "run_to_m": (np.array(tops) + advance) / 1000,
        "recovered_m": np.array([draw(st.integers(0, a + 200)) for a in advance]) / 1000,
        "loss_rule": draw(st.sampled_from(LOSS_RULES)),
        "long_rule": draw(st.sampled_from(LONG_RULES)),
    }


SHARES = st.lists(st.floats(0, 1), min_size=1, max_size=20)


def joints(tie):
    return np.concatenate((tie.piece_depth_from_m, tie.piece_depth_to_m))


def clear_of(points, edges):
    return np.abs(points[:, None] - edges[None, :]).min(axis=1, initial=np.inf) > AWAY_M


@given(st.one_of(holes(), shuffled_holes()), SHARES)
def test_depth_to_core_to_depth(hole, shares):
    tie = register(**hole)
    low, high = hole["run_from_m"].min() - 0.5, hole["run_to_m"].max() + 0.5
    depth = low + np.array(shares) * (high - low)
    depth = depth[clear_of(depth, joints(tie))]
    core = tie.core_at(depth_m=depth)
    found = ~np.isnan(core)
    assert tie.depth_at(core_m=core[found]) == pytest.approx(depth[found], abs=1e-7)


@given(st.one_of(holes(), shuffled_holes()), SHARES)
def test_core_to_depth_to_core_wherever_the_core_owns_its_depth(hole, shares):
    assume(hole["recovered_m"].any())
    tie = register(**hole)
    core = np.array(shares) * hole["recovered_m"].sum()
    core = core[clear_of(core, np.concatenate((tie.piece_core_from_m, tie.piece_core_to_m)))]
    depth = tie.depth_at(core_m=core)
    assert not np.isnan(depth).any()
    piece = np.searchsorted(tie.piece_core_to_m, core)
    owned = tie.piece_owned[piece] & clear_of(depth, joints(tie))
    assert tie.core_at(depth_m=depth[owned]) == pytest.approx(core[owned], abs=1e-7)


@given(st.one_of(holes(), shuffled_holes()))
def test_pieces_lie_end_to_end_along_all_the_core_and_depth_rises_in_each_run(hole):
    tie = register(**hole)
    total = hole["recovered_m"].sum()
    assert (tie.piece_core_to_m - tie.piece_core_from_m).sum() == pytest.approx(total, abs=1e-7)
    if tie.piece_run.size:
        assert tie.piece_core_from_m[0] == 0
        assert tie.piece_core_from_m[1:] == pytest.approx(tie.piece_core_to_m[:-1], abs=1e-9)
        same_run = np.diff(tie.piece_run) == 0
        assert (tie.piece_depth_from_m[1:][same_run] >= tie.piece_depth_to_m[:-1][same_run] - 1e-9).all()
    assert (tie.piece_depth_to_m > tie.piece_depth_from_m).all()


@given(st.one_of(holes(), shuffled_holes()), st.floats(0, 1), st.floats(0, 1))
def test_recovered_length_adds_up(hole, a, b):
    tie = register(**hole)
    low, high = hole["run_from_m"].min(), hole["run_to_m"].max() + 1.0
    first, second = sorted((low + a * (high - low), low + b * (high - low)))
    parts = tie.recovered_between(from_m=[low, first, second], to_m=[first, second, high])
    assert (parts >= -1e-9).all()
    assert parts.sum() == pytest.approx(hole["recovered_m"].sum(), abs=1e-7)


@given(holes(long_core=False))
def test_every_depth_of_a_run_is_core_or_lost_and_the_loss_is_what_is_missing(hole):
    tie = register(**hole)
    lost = tie.lost_stretches()
    advance = hole["run_to_m"] - hole["run_from_m"]
    missing = advance - hole["recovered_m"]
    if hole["loss_rule"] != "stretch":
        by_run = np.bincount(lost.run_index, weights=lost.to_m - lost.from_m, minlength=len(missing))
        assert by_run == pytest.approx(missing, abs=1e-7)
    middles = (lost.from_m + lost.to_m) / 2
    assert np.isnan(tie.core_at(depth_m=middles)).all()
    assert not tie.long_m.any()


@given(holes(long_core=False))
def test_known_losses_are_empty_and_stand_where_they_were_written(hole):
    tie = register(**hole)
    middle = hole["loss_depth_m"] + hole["loss_length_m"] / 2
    assert np.isnan(tie.core_at(depth_m=middle)).all()
    known = tie.lost_stretches().known
    assert known.sum() == len(middle)


@given(st.lists(st.tuples(st.integers(500, 6000), st.integers(0, 6200)), min_size=1, max_size=12))
def test_with_stubs_every_true_loss_is_placed_and_no_core_is_long(runs):
    advance = np.array([a for a, _ in runs]) / 1000
    recovered = np.array([r for _, r in runs]) / 1000
    balance = stub_balance(advance_m=advance, recovered_m=recovered)
    blocks = 10.0 + np.concatenate(([0.0], np.cumsum(advance)))
    top, bottom = blocks[:-1] - balance.stub_m[:-1], blocks[1:] - balance.stub_m[1:]
    if (bottom - top < 1e-9).any() or top[0] < 0:
        with pytest.raises(ImpossibleValue, match="stub"):  # a run that cut nothing of its own
            register(run_from_m=blocks[:-1], run_to_m=blocks[1:], recovered_m=recovered, stub_m=balance.stub_m)
        return
    tie = register(run_from_m=blocks[:-1], run_to_m=blocks[1:], recovered_m=recovered, stub_m=balance.stub_m)
    assert tie.unplaced_loss_m == pytest.approx(balance.loss_m, abs=1e-7)
    assert not (tie.long_m > 1e-7).any()


@given(holes(), st.sampled_from([0.5, 1.0, 1.524, 3.048]))
def test_marks_lie_on_their_own_run_at_their_own_depth(hole, step_m):
    tie = register(**hole)
    marks = metre_marks(registration=tie, step_m=step_m)
    assert tie.core_at(depth_m=marks.depth_m) == pytest.approx(marks.core_m, abs=1e-7)
    assert (marks.offset_m >= -1e-7).all()
    inside = marks.offset_m <= tie.recovered_m[marks.run_index] + 1e-7
    assert inside.all()
    assert np.isnan(tie.core_at(depth_m=marks.missing_depth_m)).all()
    every = np.sort(np.concatenate((marks.depth_m, marks.missing_depth_m)))
    assert np.diff(every) == pytest.approx(np.full(max(len(every) - 1, 0), step_m))
