"""Properties that must hold for every load of sacks."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.sack_packing import WAYS, pack_sacks

LOADS = st.tuples(
    st.lists(st.tuples(st.floats(0.1, 9.0), st.integers(0, 3)), min_size=1, max_size=40),
    st.floats(9.0, 30.0),
    st.integers(1, 12),
    st.sampled_from(WAYS),
)


@given(LOADS)
def test_every_bag_is_in_one_sack_in_order_within_both_limits(load):
    bags, most_kg, most_bags, way = load
    mass, group = zip(*bags, strict=True)
    plan = pack_sacks(mass_kg=mass, most_kg=most_kg, most_bags=most_bags, way=way, group=group)
    assert [bag for sack in plan.sacks for bag in range(sack.first, sack.last + 1)] == list(range(len(mass)))
    for sack in plan.sacks:
        assert sack.bags == sack.last - sack.first + 1 <= most_bags
        assert sack.mass_kg <= most_kg + 1e-6
        assert sack.mass_kg == pytest.approx(sum(mass[sack.first : sack.last + 1]), abs=1e-4)
    assert plan.least_sacks_any_order <= plan.fewest_sacks <= len(plan.sacks)


@given(LOADS)
def test_each_way_keeps_its_promise_against_filling_in_turn(load):
    bags, most_kg, most_bags, _ = load
    mass, group = zip(*bags, strict=True)
    case = {"mass_kg": mass, "most_kg": most_kg, "most_bags": most_bags, "group": group}
    turn, even, together = (pack_sacks(**case, way=way) for way in WAYS)
    assert len(even.sacks) == len(turn.sacks)
    assert even.heaviest_kg <= turn.heaviest_kg
    assert together.torn_groups <= min(turn.torn_groups, even.torn_groups)
