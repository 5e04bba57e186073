"""Sacks in ticket order: against an enumerator of every way to cut the row, limits, what greedy gives away."""

import itertools

import numpy as np
import pytest

from trayside.core.sack_packing import WAYS, pack_sacks
from trayside.errors import ImpossibleValue


def every_plan(mass, most_kg, most_bags):
    """All ways to cut the row into sacks within the limits, as lists of (first, end)."""
    count = len(mass)
    for cuts in itertools.product([False, True], repeat=count - 1):
        ends = [k + 1 for k, cut in enumerate(cuts) if cut] + [count]
        sacks = list(zip([0, *ends[:-1]], ends, strict=True))
        if all(sum(mass[a:b]) <= most_kg + 1e-9 and b - a <= most_bags for a, b in sacks):
            yield sacks


def marks_of(sacks, mass, group):
    loads = [round(sum(mass[a:b]), 9) for a, b in sacks]
    torn = sum(a > 0 and group[a] == group[a - 1] for a, _ in sacks)
    return len(sacks), torn, max(loads), sum(load**2 for load in loads)


@pytest.mark.parametrize("seed", range(40))
def test_every_way_is_as_good_as_the_best_of_all_plans(seed):
    chance = np.random.default_rng(seed)
    count = int(chance.integers(1, 11))
    mass = np.round(chance.uniform(0.5, 6.0, count), 2).tolist()
    group = np.sort(chance.integers(0, 4, count)).tolist()
    most_kg, most_bags = float(chance.uniform(6.0, 14.0)), int(chance.integers(1, 6))
    marks = [marks_of(plan, mass, group) for plan in every_plan(mass, most_kg, most_bags)]
    plans = {way: pack_sacks(mass_kg=mass, most_kg=most_kg, most_bags=most_bags, way=way, group=group) for way in WAYS}
    got = {
        way: marks_of([(sack.first, sack.last + 1) for sack in plan.sacks], mass, group) for way, plan in plans.items()
    }
    assert got["fewest"][0] == min(sacks for sacks, *_ in marks) == plans["balanced"].fewest_sacks
    best = min((sacks, heaviest, squares) for sacks, _, heaviest, squares in marks)
    assert (got["balanced"][0], *got["balanced"][2:]) == pytest.approx(best)
    best = min((torn, sacks, heaviest, squares) for sacks, torn, heaviest, squares in marks)
    sacks, torn, heaviest, squares = got["together"]
    assert (torn, sacks, heaviest, squares) == pytest.approx(best)
    for way, plan in plans.items():
        assert (plan.torn_groups, plan.heaviest_kg) == (got[way][1], pytest.approx(got[way][2]))
        assert plan.heaviest_when_fewest_kg == pytest.approx(got["fewest"][2])
        assert plan.torn_when_fewest == got["fewest"][1]


def test_filling_in_turn_is_worse_in_lifting_and_says_so():
    mass = [5.0] * 5
    in_turn, even = (pack_sacks(mass_kg=mass, most_kg=20.0, way=way) for way in ("fewest", "balanced"))
    assert [sack.mass_kg for sack in in_turn.sacks] == [20.0, 5.0]
    assert sorted(sack.mass_kg for sack in even.sacks) == [10.0, 15.0]
    assert even.says == "2 sacks, heaviest 15.00 kg; filled in turn: 2, heaviest 20.00 kg"
    assert in_turn.says == "2 sacks, heaviest 20.00 kg; no way in ticket order needs fewer"


def test_ticket_order_can_cost_a_sack_and_that_is_said():
    plan = pack_sacks(mass_kg=[6.0, 6.0, 4.0, 4.0], most_kg=10.0)
    assert [sack.mass_kg for sack in plan.sacks] == [6.0, 10.0, 4.0]
    assert (plan.fewest_sacks, plan.least_sacks_any_order) == (3, 2)
    assert "out of ticket order perhaps 2" in plan.says


def test_a_hole_is_kept_together_where_it_fits():
    plan = pack_sacks(mass_kg=[8.0, 8.0, 3.0, 8.0, 8.0], most_kg=20.0, way="together", group=list("AABBB"))
    assert [(sack.first, sack.last) for sack in plan.sacks] == [(0, 1), (2, 4)]
    assert plan.torn_groups == 0
    assert plan.torn_when_fewest == 1


def test_a_hole_is_kept_together_even_for_one_more_and_a_heavier_sack():
    case = {"mass_kg": [6.0, 10.0, 10.0, 6.0], "most_kg": 20.0, "group": list("ABBC")}
    plan = pack_sacks(**case, way="together")
    assert [sack.mass_kg for sack in plan.sacks] == [6.0, 20.0, 6.0]
    assert (plan.torn_groups, plan.torn_when_fewest, plan.fewest_sacks) == (0, 1, 2)


def test_a_full_sack_is_full_to_the_gram():
    plan = pack_sacks(mass_kg=[0.1] * 300, most_kg=10.0, most_bags=1000)
    assert [sack.bags for sack in plan.sacks] == [100, 100, 100]
    assert [sack.mass_kg for sack in plan.sacks] == [10.0] * 3


def test_the_count_limit_holds():
    plan = pack_sacks(mass_kg=[0.5] * 7, most_kg=20.0, most_bags=3)
    assert [sack.bags for sack in plan.sacks] == [3, 3, 1]
    assert plan.least_sacks_any_order == 3


def test_a_bag_above_the_limit_is_named_and_refused():
    with pytest.raises(
        ImpossibleValue, match=r"mass_kg, entry 1.*23\.4 kg in one bag is above the sack limit of 20 kg"
    ):
        pack_sacks(mass_kg=[5.0, 23.4, 2.0], most_kg=20.0)


def test_a_bag_of_exactly_the_limit_goes_alone():
    assert [sack.bags for sack in pack_sacks(mass_kg=[20.0, 20.0], most_kg=20.0, way="balanced").sacks] == [1, 1]


def test_no_bags_no_sacks():
    assert pack_sacks(mass_kg=[]).sacks == ()


@pytest.mark.parametrize(
    "change",
    [
        {"mass_kg": [1.0, 0.0]},
        {"mass_kg": [1.0, np.nan]},
        {"most_kg": 0.0},
        {"most_bags": 0},
        {"most_bags": 2.5},
        {"way": "heaviest first"},
        {"way": "together"},
        {"group": ["A"]},
    ],
)
def test_impossible_loads_are_refused(change):
    with pytest.raises(ImpossibleValue):
        pack_sacks(**{"mass_kg": [1.0, 2.0]} | change)
