"""Interval planning: hand-worked cases. All grounds and rules here are invented."""

import time

import numpy as np
import pytest

from trayside.core.intervals import (
    Ground,
    IntervalFault,
    IntervalRules,
    check_intervals,
    cost_of,
    plan_intervals,
)
from trayside.errors import ImpossibleValue

RULES = IntervalRules()
ROUGH = IntervalRules(step_m=0.1, minimum_m=0.2, off_round_cost=0.0)


def plan_of(stretches, rules=RULES, **ground):
    return plan_intervals(ground=Ground([a for a, _ in stretches], [b for _, b in stretches], **ground), rules=rules)


def cuts(plan):
    return list(zip(plan.from_m.tolist(), plan.to_m.tolist(), strict=True))


def reasons(plan):
    return list(zip(plan.top_reason.tolist(), plan.bottom_reason.tolist(), strict=True))


def told(plan):
    return [one.code for one in plan.unmet]


def test_free_ground_is_cut_at_whole_metres():
    plan = plan_of([(0.4, 10.4)])
    assert plan.to_m.tolist() == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.4]
    assert reasons(plan)[0] == ("start of stretch", "whole metre")
    assert reasons(plan)[-1] == ("whole metre", "end of stretch")
    # 0.6 m and 1.4 m each cost 0.4 squared; whole metres cost nothing
    assert plan.cost.tolist() == [0.16] + [0.0] * 8 + [0.16]
    assert plan.total_cost == 0.32
    assert plan.unmet == ()


def test_three_hundred_metres_without_a_contact_are_three_hundred_samples():
    plan = plan_of([(0, 300)])
    assert plan.to_m.tolist() == [float(metre) for metre in range(1, 301)]
    assert plan.total_cost == 0.0


def test_hard_contacts_off_the_step_keep_their_exact_depth():
    plan = plan_of([(2, 6)], hard_contact_m=[3.237, 4.001])
    assert 3.237 in plan.to_m.tolist()
    assert 4.001 in plan.from_m.tolist()
    assert ("hard contact", "hard contact") in reasons(plan)
    assert plan.unmet == ()


def test_equal_costs_take_the_shallower_last_boundary():
    # 0.8 + 1.0, 0.9 + 0.9 and 1.0 + 0.8 cost 0.04, 0.02, 0.04; 1.7 m has the tie 0.8 + 0.9 = 0.9 + 0.8
    assert cuts(plan_of([(0, 1.8)], ROUGH)) == [(0.0, 0.9), (0.9, 1.8)]
    assert cuts(plan_of([(0, 1.7)], ROUGH)) == [(0.0, 0.8), (0.8, 1.7)]


def test_of_equal_costs_one_sample_beats_two_above_a_forced_choice():
    # down to 1.5 m: one sample 0.25; 0.75 + 0.75 with its boundary 0.125 + 0.125; 1.0 + 0.5 on the metre 0.25
    rules = IntervalRules(step_m=0.05, off_round_cost=0.125)
    plan = plan_of([(0, 2.5)], rules, soft_contact_m=[1.5], soft_contact_cost=[100.0])
    assert cuts(plan) == [(0.0, 1.5), (1.5, 2.5)]
    for other in ([0.75, 1.5], [1.0, 1.5]):
        cost = cost_of(
            from_m=[0, *other],
            to_m=[*other, 2.5],
            ground=Ground([0], [2.5], soft_contact_m=[1.5], soft_contact_cost=[100.0]),
            rules=rules,
        )
        assert cost.cost == plan.total_cost


def test_a_soft_contact_is_honoured_when_that_is_cheap_and_crossed_when_it_is_not():
    near = plan_of([(0, 3)], soft_contact_m=[1.2])
    # 1.2 + 0.8 + 1.0 costs 0.08 with whole metre 2; crossing costs 0.5
    assert cuts(near) == [(0.0, 1.2), (1.2, 2.0), (2.0, 3.0)]
    assert near.bottom_reason.tolist() == ["soft contact", "whole metre", "end of stretch"]
    assert near.total_cost == pytest.approx(0.08, abs=1e-9)
    cheap = plan_of([(0, 3)], soft_contact_m=[1.2], soft_contact_cost=[0.05])
    assert cheap.to_m.tolist() == [1.0, 2.0, 3.0]
    assert cheap.total_cost == pytest.approx(0.05)


def test_a_soft_contact_off_the_step_is_honoured_by_the_step_beside_it():
    plan = plan_of([(0, 3)], soft_contact_m=[1.203])
    assert plan.to_m.tolist() == [1.2, 2.0, 3.0]
    assert plan.bottom_reason[0] == "soft contact"
    assert plan.total_cost == pytest.approx(0.08)


def test_soft_contact_without_a_cost_of_its_own_takes_the_rule():
    ground = Ground([0], [1], soft_contact_m=[0.5, 0.52], soft_contact_cost=[float("nan"), 0.25])
    assert cost_of(from_m=[0], to_m=[1], ground=ground, rules=RULES).cost == pytest.approx(0.75)


def test_a_long_loss_is_isolated_and_a_short_one_is_not():
    plan = plan_of([(0, 6)], loss_from_m=[2.1, 4.4], loss_to_m=[2.6, 4.6])
    assert "core loss" in plan.top_reason.tolist()
    assert "core loss" in plan.bottom_reason.tolist()
    assert not any(a < 2.6 and b > 2.1 for a, b in cuts(plan))
    assert any(a < 4.4 and b > 4.6 for a, b in cuts(plan))
    assert plan.unmet == ()


def test_a_loss_exactly_at_the_limit_is_isolated():
    plan = plan_of([(0, 4)], loss_from_m=[1.5], loss_to_m=[1.8])
    assert 1.5 in plan.to_m.tolist()
    assert 1.8 in plan.from_m.tolist()


def test_touching_losses_count_together():
    plan = plan_of([(0, 4)], loss_from_m=[2.0, 2.2], loss_to_m=[2.2, 2.4])
    assert 2.4 in plan.from_m.tolist()
    assert 2.0 in plan.to_m.tolist()
    assert not any(a < 2.4 and b > 2.0 for a, b in cuts(plan))


def test_no_boundary_is_put_inside_a_short_loss():
    plan = plan_of([(0, 3)], loss_from_m=[0.9], loss_to_m=[1.1])
    assert not any(0.9 < depth < 1.1 for depth in plan.to_m.tolist())
    assert plan.to_m.tolist()[-2:] == [2.0, 3.0]


def test_a_stretch_of_nothing_but_loss_has_no_sample_and_says_so():
    plan = plan_of([(0, 1), (2, 3)], loss_from_m=[0], loss_to_m=[1.5])
    assert cuts(plan) == [(2.0, 3.0)]
    assert told(plan) == ["no core in stretch"]
    assert plan.stretch.tolist() == [1]


def test_core_size_changes_are_boundaries():
    plan = plan_of([(0, 4)], core_size_change_m=[1.5])
    assert "core size" in plan.bottom_reason.tolist()
    assert 1.5 in plan.to_m.tolist()


def test_stretches_are_planned_apart():
    plan = plan_of([(5, 6.2), (0, 1.2)])
    assert cuts(plan) == [(0.0, 1.2), (5.0, 6.2)]
    assert plan.stretch.tolist() == [0, 1]
    touching = plan_of([(0, 1.3), (1.3, 2.3)])
    assert reasons(touching) == [("start of stretch", "end of stretch")] * 2


# ---------------------------------------------------------------- veins


def test_a_vein_thick_enough_is_a_sample_even_below_the_minimum():
    plan = plan_of([(0, 4)], vein_from_m=[1.5], vein_to_m=[1.65])
    assert (1.5, 1.65) in cuts(plan)
    at = cuts(plan).index((1.5, 1.65))
    assert reasons(plan)[at] == ("vein", "vein")
    assert [(one.code, one.found_m, one.limit_m) for one in plan.unmet] == [("vein below minimum length", 0.15, 0.3)]
    check = check_intervals(
        from_m=plan.from_m, to_m=plan.to_m, ground=Ground([0], [4], vein_from_m=[1.5], vein_to_m=[1.65]), rules=RULES
    )
    assert check == ()


def test_a_thin_vein_is_widened_to_the_minimum_half_on_each_side():
    plan = plan_of([(0, 4)], vein_from_m=[1.5], vein_to_m=[1.54])
    at = plan.top_reason.tolist().index("vein widened")
    assert cuts(plan)[at] == (1.37, 1.67)
    assert reasons(plan)[at] == ("vein widened", "vein widened")
    (note,) = plan.unmet
    assert (note.code, note.from_m, note.to_m, note.found_m, note.limit_m) == ("vein widened", 1.37, 1.67, 0.04, 0.3)


def test_a_thin_vein_off_the_step_is_widened_outward_to_the_step():
    # 12.34 to 12.39 lacks 0.25: 12.215 and 12.515 go out to 12.21 and 12.52
    plan = plan_of([(10, 14)], vein_from_m=[12.34], vein_to_m=[12.39])
    assert (12.21, 12.52) in cuts(plan)


def test_widening_stops_at_a_hard_contact_and_goes_the_other_way():
    plan = plan_of([(0, 4)], vein_from_m=[1.5], vein_to_m=[1.54], hard_contact_m=[1.5])
    at = plan.top_reason.tolist().index("hard contact")
    assert cuts(plan)[at] == (1.5, 1.8)
    assert reasons(plan)[at] == ("hard contact", "vein widened")


def test_widening_stopped_below_goes_upward():
    plan = plan_of([(0, 4)], vein_from_m=[1.5], vein_to_m=[1.54], hard_contact_m=[1.54])
    at = plan.bottom_reason.tolist().index("hard contact")
    assert cuts(plan)[at] == (1.24, 1.54)
    assert reasons(plan)[at] == ("vein widened", "hard contact")


def test_a_sliver_between_a_widened_vein_and_a_contact_is_taken_along():
    plan = plan_of([(0, 4)], vein_from_m=[1.5], vein_to_m=[1.54], hard_contact_m=[1.3])
    assert (1.3, 1.67) in cuts(plan)
    assert told(plan) == ["vein widened"]


def test_a_thin_vein_between_two_hard_contacts_is_a_short_sample_and_reported():
    plan = plan_of([(0, 4)], vein_from_m=[1.5], vein_to_m=[1.54], hard_contact_m=[1.5, 1.54])
    assert (1.5, 1.54) in cuts(plan)
    assert [(one.code, one.found_m, one.limit_m) for one in plan.unmet] == [("segment too short", 0.04, 0.3)]


def test_veins_closer_than_the_minimum_are_sampled_together_and_reported():
    plan = plan_of([(0, 4)], vein_from_m=[1.5, 1.85], vein_to_m=[1.7, 2.05])
    assert (1.5, 2.05) in cuts(plan)
    (note,) = plan.unmet
    assert (note.code, note.from_m, note.to_m, note.found_m) == ("veins joined", 1.5, 2.05, 0.15)


def test_touching_thick_veins_stay_apart():
    plan = plan_of([(0, 4)], vein_from_m=[1.5, 1.9], vein_to_m=[1.9, 2.4])
    assert (1.5, 1.9) in cuts(plan)
    assert (1.9, 2.4) in cuts(plan)
    assert plan.unmet == ()


def test_a_vein_outside_the_sampled_ground_is_reported():
    plan = plan_of([(0, 2)], vein_from_m=[5.0], vein_to_m=[5.4])
    assert told(plan) == ["vein outside sampled core"]
    assert plan.to_m.tolist() == [1.0, 2.0]


# ---------------------------------------------------------------- shoulders and bags


def test_shoulder_ground_is_not_mixed_with_wanted_ground():
    plan = plan_of([(8, 14.3)], shoulder_from_m=[8, 12.3], shoulder_to_m=[10.4, 14.3])
    assert 10.4 in plan.to_m.tolist()
    assert 12.3 in plan.to_m.tolist()
    assert plan.bottom_reason[plan.to_m.tolist().index(10.4)] == "shoulder"
    assert plan.is_shoulder.tolist() == [(b <= 10.4 or a >= 12.3) for a, b in cuts(plan)]


def test_bags_are_kept_inside_the_tier_and_the_moved_boundaries_say_why():
    # 4.5 kg per metre: one metre is 4.5 kg, above 4 kg; 0.75 m is 3.375 kg
    rules = IntervalRules(tier_limit_kg=4.0)
    plan = plan_of([(0, 3)], rules, mass_break_m=[0, 10], mass_kg_per_m=[4.5])
    assert (plan.expected_kg <= 4.0).all()
    assert plan.expected_kg.sum() == pytest.approx(13.5)
    assert "bag mass" in plan.bottom_reason.tolist()
    assert plan.unmet == ()


@pytest.mark.parametrize(("top", "bottom"), [(20.0, 21.2), (0.0, 10.0), (3.2, 9.1), (0.0, 0.6)])
def test_no_bag_stays_above_the_tier_where_shorter_samples_fit(top, bottom):
    # 85 mm core, half, density 2.7: 6.69 kg per metre, so 0.44 m is inside 3 kg and no metre is
    rules = IntervalRules(tier_limit_kg=3.0, minimum_bag_kg=0.5)
    plan = plan_of([(top, bottom)], rules, mass_break_m=[0, 30], mass_kg_per_m=[6.69])
    assert plan.expected_kg.max() <= 3.0
    assert plan.bags_outside == 0
    assert plan.unmet == ()
    if (top, bottom) == (20.0, 21.2):
        assert plan.to_m.tolist() == [20.4, 20.8, 21.2]


def test_one_bag_that_cannot_fit_does_not_make_its_neighbours_heavy():
    rules = IntervalRules(tier_limit_kg=3.0)
    plan = plan_of([(0, 10)], rules, mass_break_m=[0, 30], mass_kg_per_m=[6.69], hard_contact_m=[4.0, 4.5])
    assert [round(kg, 2) for kg in plan.expected_kg.tolist() if kg > 3.0] == [3.35]
    assert plan.bags_outside == 1


def test_a_tier_no_allowed_length_can_keep_makes_samples_short_not_long():
    # 15.3 kg per metre and 0.3 m at least: 4.6 kg. Counting bags above the tier would favour a few of 1.5 m.
    rules = IntervalRules(tier_limit_kg=3.0)
    ground = Ground([0], [6], mass_break_m=[0, 30], mass_kg_per_m=[15.3])
    plan = plan_intervals(ground=ground, rules=rules)
    assert plan.expected_kg.max() < 8
    assert plan.bags_outside == 0
    assert told(plan) == ["bag over tier"] * len(plan.to_m)
    long = cost_of(from_m=[0, 1.5, 3, 4.5], to_m=[1.5, 3, 4.5, 6], ground=ground, rules=rules)
    assert long.cost > plan.total_cost


def test_light_bags_are_avoided_before_anything_else():
    # 0.5 kg per metre: a bag of 0.6 kg needs 1.2 m, off every whole metre
    rules = IntervalRules(minimum_bag_kg=0.6)
    plan = plan_of([(0, 6)], rules, mass_break_m=[0, 30], mass_kg_per_m=[0.5])
    assert plan.to_m.tolist() == [1.2, 2.4, 3.6, 4.8, 6.0]
    assert plan.bags_outside == 0
    poor = plan_of([(0, 4)], rules, mass_break_m=[0, 30], mass_kg_per_m=[0.3])
    assert poor.expected_kg.max() < 0.6  # out of reach even at 1.5 m
    assert poor.bags_outside == 0
    assert told(poor) == ["bag too light"] * len(poor.to_m)


def test_of_two_bags_above_the_tier_the_heavier_costs_more():
    rules = IntervalRules(tier_limit_kg=3.0, length_cost=0.0, off_round_cost=0.0)
    ground = Ground([0], [3], mass_break_m=[0, 30], mass_kg_per_m=[6.0])
    costs = [cost_of(from_m=[0], to_m=[bottom], ground=ground, rules=rules) for bottom in (0.5, 0.6, 1.0, 1.5)]
    assert [one.bags_outside for one in costs] == [0, 1, 1, 1]
    assert [one.cost for one in costs] == [0.0, 0.2, 1.0, 2.0]
    assert costs == sorted(costs)


def test_three_hundred_metres_of_heavy_core_are_planned_in_tens_of_milliseconds():
    rules = IntervalRules(tier_limit_kg=3.0, minimum_bag_kg=0.5)
    ground = Ground([0], [300], mass_break_m=[0, 301], mass_kg_per_m=[6.69])
    spent = []
    for _ in range(3):
        began = time.process_time()
        plan_intervals(ground=ground, rules=rules)
        spent.append(time.process_time() - began)
    assert min(spent) < 0.3  # takes about 0.05 s


def test_costs_too_large_to_add_up_exactly_are_refused():
    with pytest.raises(ImpossibleValue, match="counted exactly"):
        plan_of([(0, 20_000)], IntervalRules(length_cost=1e4, maximum_m=100.0))


def test_a_bag_exactly_at_the_tier_is_inside_it():
    rules = IntervalRules(tier_limit_kg=4.1)
    plan = plan_of([(0, 3)], rules, mass_break_m=[0, 10], mass_kg_per_m=[4.1])
    assert plan.to_m.tolist() == [1.0, 2.0, 3.0]
    assert plan.total_cost == 0.0


def test_a_bag_that_cannot_be_made_lighter_is_reported():
    rules = IntervalRules(tier_limit_kg=1.0)
    plan = plan_of([(0, 0.5)], rules, mass_break_m=[0, 10], mass_kg_per_m=[4.0])
    (note,) = plan.unmet
    assert (note.code, note.found_kg, note.limit_kg) == ("bag over tier", 2.0, 1.0)
    light = plan_of([(0, 0.5)], IntervalRules(minimum_bag_kg=3.0), mass_break_m=[0, 10], mass_kg_per_m=[4.0])
    assert told(light) == ["bag too light"]


def test_masses_follow_the_profile_and_are_unknown_without_one():
    plan = plan_of([(0, 2)], mass_break_m=[0, 0.4, 0.6, 5], mass_kg_per_m=[2.0, 0.0, 3.0])
    assert plan.expected_kg.tolist() == [pytest.approx(2.0), pytest.approx(3.0)]
    assert np.isnan(plan_of([(0, 2)]).expected_kg).all()


# ---------------------------------------------------------------- what cannot be met


def test_ground_between_contacts_closer_than_the_minimum_is_one_short_sample():
    plan = plan_of([(0, 4)], hard_contact_m=[2.0, 2.2])
    assert (2.0, 2.2) in cuts(plan)
    (note,) = plan.unmet
    assert (note.code, note.from_m, note.to_m, note.found_m, note.limit_m) == ("segment too short", 2.0, 2.2, 0.2, 0.3)


def test_a_length_no_allowed_samples_fill_bends_the_nearer_limit_and_says_so():
    rules = IntervalRules(minimum_m=0.9, maximum_m=1.0)
    # 1.7 m: two of 0.85 bend the minimum by 6 %, one of 1.7 bends the maximum by 70 %
    plan = plan_of([(0, 1.7)], rules)
    assert len(plan.to_m) == 2
    (note,) = plan.unmet
    assert (note.code, note.from_m, note.to_m, note.limit_m) == ("segment not divisible", 0.0, 1.7, 0.9)
    assert note.found_m == pytest.approx(np.diff([0, *plan.to_m]).min())
    # 1.05 m: one of 1.05 bends the maximum by 5 %, two of 0.525 bend the minimum by 42 %
    plan = plan_of([(0, 1.05)], rules)
    assert cuts(plan) == [(0.0, 1.05)]
    assert (plan.unmet[0].found_m, plan.unmet[0].limit_m) == (1.05, 1.0)


def test_equal_minimum_and_maximum_off_the_step_bend_by_a_step():
    rules = IntervalRules(minimum_m=1.0, maximum_m=1.0)
    plan = plan_of([(0.005, 2.005)], rules)
    assert len(plan.to_m) == 2
    assert told(plan) == ["segment not divisible"]
    assert np.abs(plan.to_m - plan.from_m - 1).max() <= 0.0100001


def test_feet_are_planned_in_tenths_of_a_foot():
    rules = IntervalRules(
        step_m=0.03048, nominal_m=1.524, minimum_m=0.3048, maximum_m=2.1336, round_to_m=1.524, off_round_cost=0.1
    )
    plan = plan_of([(30.48, 45.72)], rules)  # 100 ft to 150 ft
    assert (plan.to_m / 0.3048).tolist() == [pytest.approx(feet) for feet in range(105, 151, 5)]
    off = plan_of([(30.5, 45.72)], rules)
    assert off.from_m[0] == 30.5
    assert (off.to_m / 0.3048).tolist() == [pytest.approx(feet) for feet in range(105, 151, 5)]


def test_nothing_to_sample_gives_an_empty_plan():
    plan = plan_of([])
    assert len(plan.from_m) == 0
    assert plan.total_cost == 0.0
    assert plan.unmet == ()


@pytest.mark.parametrize(
    ("rules", "word"),
    [
        ({"minimum_m": 0.01}, "two steps"),
        ({"minimum_m": 1.2}, "out of order"),
        ({"maximum_m": 0.9}, "out of order"),
        ({"step_m": 0.0}, "step_m"),
        ({"step_m": 0.0000015}, "micrometres"),
        ({"step_m": float("nan")}, "step_m"),
        ({"maximum_m": 200.0}, "hundred times"),
        ({"soft_crossing_cost": -1.0}, "soft_crossing_cost"),
        ({"tier_limit_kg": 0.0}, "tier_limit_kg"),
        ({"tier_limit_kg": 3.0}, "masses are not known"),
        ({"tier_limit_kg": 3.0, "minimum_bag_kg": 4.0}, "minimum_bag_kg"),
        ({"isolate_loss_m": -0.1}, "isolate_loss_m"),
    ],
)
def test_rules_that_contradict_themselves_are_refused(rules, word):
    with pytest.raises(ImpossibleValue, match=word):
        plan_of([(0, 5)], IntervalRules(**rules))


@pytest.mark.parametrize(
    ("ground", "word"),
    [
        ({"hard_contact_m": [-1]}, "hard_contact_m"),
        ({"soft_contact_m": [1, 2], "soft_contact_cost": [1]}, "2 soft contacts and 1 costs"),
        ({"loss_from_m": [2], "loss_to_m": [2]}, "core loss"),
        ({"vein_from_m": [2], "vein_to_m": [float("inf")]}, "vein"),
        ({"mass_break_m": [0, 3], "mass_kg_per_m": [2.0]}, "covers 0 to 3 m only"),
        ({"mass_break_m": [0, 3, 2], "mass_kg_per_m": [2.0, 2.0]}, "increasing depths"),
        ({"mass_break_m": [0, 9], "mass_kg_per_m": [-2.0]}, "mass_kg_per_m"),
    ],
)
def test_ground_that_cannot_be_is_refused(ground, word):
    with pytest.raises(ImpossibleValue, match=word):
        plan_of([(0, 5)], **ground)


def test_overlapping_stretches_are_refused():
    with pytest.raises(ImpossibleValue, match="overlap at 4 m"):
        plan_of([(0, 5), (4, 6)])


# ---------------------------------------------------------------- hand-edited plans

GROUND = Ground(
    [0.0],
    [10.0],
    hard_contact_m=[3.0],
    core_size_change_m=[5.0],
    loss_from_m=[7.0],
    loss_to_m=[7.5],
    vein_from_m=[8.2],
    vein_to_m=[8.6],
    mass_break_m=[0, 20],
    mass_kg_per_m=[4.0],
)
GOOD = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 6), (6, 7), (7.5, 8.2), (8.2, 8.6), (8.6, 10)]


def faults(intervals, rules=RULES, ground=GROUND):
    return check_intervals(from_m=[a for a, _ in intervals], to_m=[b for _, b in intervals], ground=ground, rules=rules)


def test_a_plan_without_fault_has_none():
    assert faults(GOOD) == ()


def edited(old, *new):
    return [one for one in GOOD if one not in old] + list(new)


@pytest.mark.parametrize(
    ("intervals", "code", "from_m", "to_m"),
    [
        (edited([(0, 1)], (0, 1.2)), IntervalFault.OVERLAP, 1.0, 1.2),
        (edited([(0, 1)], (0, 0.8)), IntervalFault.GAP, 0.8, 1.0),
        (edited([(2, 3), (3, 4)], (2, 2.7), (2.7, 4)), IntervalFault.CROSSES_HARD_CONTACT, 3.0, 3.0),
        (edited([(4, 5), (5, 6)], (4, 4.6), (4.6, 6)), IntervalFault.CROSSES_CORE_SIZE, 5.0, 5.0),
        (edited([(6, 7)], (6, 7.2)), IntervalFault.CROSSES_CORE_LOSS, 7.0, 7.2),
        (edited([(0, 1)], (0, 0.2), (0.2, 1)), IntervalFault.TOO_SHORT, 0.0, 0.2),
        (edited([(0, 1), (1, 2)], (0, 2)), IntervalFault.TOO_LONG, 0.0, 2.0),
        (edited([(8.6, 10)], (8.6, 10.05)), IntervalFault.UNSAMPLED_GROUND, 10.0, 10.05),
        (edited([(7.5, 8.2), (8.2, 8.6)], (7.5, 8.3), (8.3, 8.6)), IntervalFault.VEIN_NOT_ISOLATED, 8.2, 8.3),
    ],
)
def test_each_fault_is_found_alone_with_its_ground(intervals, code, from_m, to_m):
    (problem,) = faults(intervals)
    assert (problem.code, problem.from_m, problem.to_m) == (code, from_m, to_m)
    if code != IntervalFault.GAP:
        a, b = intervals[problem.row]
        assert a <= to_m
        assert b >= from_m


def test_bag_faults_carry_their_masses():
    found = faults(GOOD, IntervalRules(tier_limit_kg=4.5, minimum_bag_kg=2.0))
    assert [(one.code, one.found_kg, one.limit_kg) for one in found] == [
        (IntervalFault.BAG_TOO_LIGHT, pytest.approx(1.6), 2.0),
        (IntervalFault.BAG_OVER_TIER, pytest.approx(5.6), 4.5),
    ]


def test_overlap_names_both_rows_of_the_list_as_given():
    (problem,) = faults(list(reversed(edited([(0, 1)], (0, 1.2)))))
    listed = list(reversed(edited([(0, 1)], (0, 1.2))))
    assert {listed[problem.row], listed[problem.other_row]} == {(0, 1.2), (1, 2)}


def test_an_interval_inside_another_shares_all_of_itself():
    problem, *_ = faults([*GOOD, (0.2, 0.6)])
    assert (problem.code, problem.from_m, problem.to_m, problem.found_m) == (IntervalFault.OVERLAP, 0.2, 0.6, 0.4)
    assert (problem.row, problem.other_row) == (10, 0)


def test_numbers_of_the_faults_never_change():
    assert {one.name: one.value for one in IntervalFault} == {
        "OVERLAP": 1,
        "GAP": 2,
        "CROSSES_HARD_CONTACT": 3,
        "CROSSES_CORE_LOSS": 4,
        "CROSSES_CORE_SIZE": 5,
        "TOO_SHORT": 6,
        "TOO_LONG": 7,
        "BAG_OVER_TIER": 8,
        "BAG_TOO_LIGHT": 9,
        "UNSAMPLED_GROUND": 10,
        "VEIN_NOT_ISOLATED": 11,
    }


def test_cost_of_a_hand_edited_plan_is_the_sum_read_off_the_rules():
    # 1.2, 0.8 and 1.0 m: 0.04 + 0.04 + 0; boundary at 1.2 costs 0.1, at 2 nothing
    ground = Ground([0], [3])
    assert cost_of(from_m=[0, 1.2, 2], to_m=[1.2, 2, 3], ground=ground, rules=RULES).cost == pytest.approx(0.18)
    # half metre: 0.25 + 0.25 + 0, boundary 1.5 costs half of 0.1; 1.5 + 1.5
    assert cost_of(from_m=[0, 1.5], to_m=[1.5, 3], ground=ground, rules=RULES).cost == pytest.approx(0.55)
