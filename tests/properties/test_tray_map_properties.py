"""Depth and place in the trays answer each other for any hole, any trays and every way of laying them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.depth import LONG_RULES, LOSS_RULES, register
from trayside.core.tray_map import DIRECTIONS, SPACERS, tray_map

SHARES = st.lists(st.floats(0, 1), min_size=1, max_size=25)


@st.composite
def laid_holes(draw, tidy=False):
    """A registration and the arguments of its tray map; unless tidy, blocks overlap and trays gap, overlap and swap."""
    count = draw(st.integers(1, 7))
    advance = np.array([draw(st.integers(200, 4000)) for _ in range(count)])
    shift = np.array([0 if tidy else draw(st.sampled_from([0, 0, 0, -150, 200, -5000])) for _ in range(count)])
    top = np.maximum(5000 + np.cumsum(advance) - advance + shift, 0)
    recovered = np.array([draw(st.integers(0, int(a) + (0 if tidy else 200))) for a in advance])
    tie = register(
        run_from_m=top / 1000,
        run_to_m=(top + advance) / 1000,
        recovered_m=recovered / 1000,
        loss_rule=draw(st.sampled_from(LOSS_RULES[:2] if tidy else LOSS_RULES)),
        long_rule=draw(st.sampled_from(LONG_RULES)),
    )
    low, high = int(top.min()), int((top + advance).max())
    cuts = sorted({low, high, *draw(st.lists(st.integers(low + 1, high), max_size=6))})
    jitter = [0 if tidy else draw(st.sampled_from([0, 0, 40, -40])) for _ in cuts[:-1]]
    trays = [(a + j, b) for a, b, j in zip(cuts, cuts[1:], jitter, strict=False) if b > a + j >= 0]
    trays = trays or [(low, high)]
    if not tidy:
        trays = draw(st.permutations(trays))
    arguments = {
        "tray_from_m": np.array([a for a, _ in trays]) / 1000,
        "tray_to_m": np.array([b for _, b in trays]) / 1000,
        "rows": [draw(st.integers(1, 6)) for _ in trays],
        "row_length_m": draw(st.sampled_from([0.7, 1.0, 1.5])),
        "direction": draw(st.sampled_from(DIRECTIONS)),
        "loss_spacer": "full_length" if tidy else draw(st.sampled_from(SPACERS)),
        "block_m": 0.0 if tidy else draw(st.sampled_from([0.0, 0.04])),
    }
    return tie, tray_map(registration=tie, **arguments)


def clear_of(points, edges, away=1e-6):
    return np.abs(points[:, None] - edges[None, :]).min(axis=1, initial=np.inf) > away


@given(laid_holes(), SHARES)
def test_depth_to_place_to_depth(laid, shares):
    tie, trays = laid
    low, high = tie.run_from_m.min() - 0.3, tie.run_to_m.max() + 0.3
    depth = low + np.array(shares) * (high - low)
    depth = depth[clear_of(depth, np.concatenate((tie.piece_depth_from_m, tie.piece_depth_to_m)))]
    at = trays.place_at(depth_m=depth)
    back = trays.depth_at(tray_index=at.tray_index, row=at.row, left_cm=at.left_cm)
    placed = (at.tray_index >= 0) & ~at.in_loss
    assert back[placed] == pytest.approx(depth[placed], abs=1e-7)
    assert np.isnan(back[~placed]).all()
    # Core has a place exactly where a tray holds its depth; a spacer stands only where no core is.
    held = (depth[:, None] > trays.tray_from_m + 1e-9) & (depth[:, None] < trays.tray_to_m - 1e-9)
    core = ~np.isnan(tie.core_at(depth_m=depth))
    inside = held.any(axis=1)
    assert (placed[inside] == core[inside]).all()
    assert not core[at.in_loss].any()


@given(laid_holes(tidy=True), st.data())
def test_place_to_depth_to_place(laid, data):
    _, trays = laid
    row = np.array(data.draw(st.lists(st.integers(0, len(trays.row_tray) - 1), min_size=1, max_size=20)))
    share = np.array([data.draw(st.floats(0.001, 0.999)) for _ in row])
    length = trays.row_laid_to_m[row] - trays.row_laid_from_m[row]
    row, share = row[length > 1e-3], share[length > 1e-3]
    along = share * (trays.row_laid_to_m - trays.row_laid_from_m)[row]
    left_cm = np.where(trays.row_backward[row], trays.row_width_m[row] - along, along) * 100
    depth = trays.depth_at(tray_index=trays.row_tray[row], row=trays.row_number[row], left_cm=left_cm)
    core = ~np.isnan(depth)
    at = trays.place_at(depth_m=depth[core])
    assert (at.tray_index == trays.row_tray[row][core]).all()
    assert (at.row == trays.row_number[row][core]).all()
    assert at.left_cm == pytest.approx(left_cm[core], abs=1e-4)


@given(laid_holes())
def test_places_lie_inside_their_row_and_what_is_too_much_is_told(laid):
    tie, trays = laid
    at = trays.place_at(depth_m=np.linspace(tie.run_from_m.min(), tie.run_to_m.max(), 60))
    found = at.tray_index >= 0
    row = trays.first_row[at.tray_index[found]] + at.row[found] - 1
    assert (at.left_cm[found] >= -1e-6).all()
    assert (at.left_cm[found] <= trays.row_width_m[row] * 100 + 1e-6).all()
    assert trays.overfull_m == pytest.approx(np.maximum(trays.laid_m - trays.rows * trays.row_length_m, 0), abs=1e-7)


@given(laid_holes())
def test_drawn_pieces_fill_each_tray_and_say_what_place_at_says(laid):
    _, trays = laid
    drawn = trays.pieces()
    width = drawn.left_to_cm - drawn.left_from_cm
    assert (width >= -1e-9).all()
    per_tray = np.bincount(drawn.tray_index, weights=width, minlength=len(trays.rows)) / 100
    assert per_tray == pytest.approx(trays.laid_m, abs=1e-6)
    core = (drawn.kind == "core") & (width > 0.01)
    middle_cm = (drawn.left_from_cm + drawn.left_to_cm)[core] / 2
    depth = trays.depth_at(tray_index=drawn.tray_index[core], row=drawn.row[core], left_cm=middle_cm)
    assert depth == pytest.approx((drawn.depth_from_m + drawn.depth_to_m)[core] / 2, abs=1e-7)


@given(laid_holes(tidy=True))
def test_trays_that_follow_each_other_hold_all_the_core_once(laid):
    tie, trays = laid
    drawn = trays.pieces()
    core = drawn.kind == "core"
    assert (drawn.left_to_cm - drawn.left_from_cm)[core].sum() / 100 == pytest.approx(tie.recovered_m.sum(), abs=1e-6)
    assert (drawn.kind == "block").sum() == len(tie.run_to_m)
