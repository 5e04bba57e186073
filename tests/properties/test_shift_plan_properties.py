"""Whatever the shift: every piece once, no saw twice at one time, never dearer than first come, never below the bound."""

from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.shift_plan import Piece, Saw, ShiftSettings, plan_shift

PIECES = st.lists(
    st.tuples(
        st.integers(0, 3), st.integers(1, 300), st.integers(1, 40), st.integers(0, 2), st.integers(0, 9),
        st.sampled_from([1.0, 2.0, 5.0]), st.none() | st.integers(0, 200),
    ),
    min_size=1, max_size=12,
)  # fmt: skip
SAWS = st.lists(
    st.tuples(
        st.integers(0, 60), st.sampled_from([0.8, 1.0, 1.5]), st.sampled_from([None, "h0", "h1"]), st.none() | st.integers(0, 20)
    ),
    min_size=1, max_size=3,
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(PIECES, SAWS, st.integers(0, 5), st.integers(0, 20))
def test_a_plan_is_a_plan(pieces, saws, wash, change):
    listed = [
        Piece(f"p{k}", f"h{hole}", minutes / 10, metres / 10, grade, area / 100, priority, due)
        for k, (hole, minutes, metres, grade, area, priority, due) in enumerate(pieces)
    ]
    running = [
        Saw(f"s{k}", ready, pace, hole, 0, None if left is None else left / 100, 0.5)
        for k, (ready, pace, hole, left) in enumerate(saws)
    ]
    how = ShiftSettings(wash_min=wash, wash_down_min=wash + 2, hole_change_min=change, most_moves=3000)
    plan = plan_shift(pieces=listed, saws=running, settings=how)
    assert sorted(line.piece for line in plan.lines) == sorted(piece.name for piece in listed)
    for saw in running:
        clock = saw.ready_min
        for line in (one for one in plan.lines if one.saw == saw.name):
            assert abs(line.begin_min - clock) < 1e-6
            clock = line.end_min
    assert plan.figures.cost_min <= plan.first_come.cost_min * (1 + 1e-9)
    assert 0.0 <= plan.bound_min <= plan.figures.cost_min
    assert plan.gap >= 0.0
