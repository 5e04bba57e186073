"""Composites, intercepts, gap rules, recovery against grade."""

import math

import numpy as np
import pytest

from trayside.core.composite import AS_GRADE, LEAVE_OUT, GapRule, composites, even_stretches, intercepts, recovery_grade
from trayside.errors import ImpossibleValue

LEAVE = GapRule(LEAVE_OUT)
nan = float("nan")


def one(grade, stretch=(0.0, 4.0), gaps=None, **more):
    more.setdefault("from_m", [0.0, 1.0, 2.0, 3.0])
    more.setdefault("to_m", [1.0, 2.0, 3.0, 4.0])
    rule = {} if gaps is None else {"gaps": gaps}
    return composites(grade=grade, stretch_from_m=[stretch[0]], stretch_to_m=[stretch[1]], **rule, **more)


def test_samples_count_with_the_length_they_share():
    assert one([1, 2, 3, 4], (0.5, 2.25)).grade[0] == pytest.approx((0.5 * 1 + 2 + 0.25 * 3) / 1.75)


def test_missing_is_not_zero():
    strict = one([2.0, nan, 4.0, 6.0])
    assert np.isnan(strict.grade[0])
    assert strict.why == ("1 m without a result",)
    left = one([2.0, nan, 4.0, 6.0], gaps=LEAVE)
    assert left.grade[0] == pytest.approx(4.0)
    assert (left.sampled_m[0], left.gap_m[0], left.longest_gap_m[0]) == (3.0, 1.0, 1.0)
    stated = one([2.0, nan, 4.0, 6.0], gaps=GapRule(AS_GRADE, grade=0.0))
    assert stated.grade[0] == pytest.approx(3.0)


def test_a_gap_that_was_never_sampled_is_like_one_without_a_result():
    never = composites(
        from_m=[0, 2, 3], to_m=[1, 3, 4], grade=[2, 4, 6], stretch_from_m=[0], stretch_to_m=[4], gaps=LEAVE
    )
    assert never.grade[0] == pytest.approx(one([2.0, nan, 4.0, 6.0], gaps=LEAVE).grade[0])
    assert never.longest_gap_m[0] == 1.0


def test_limits_on_gaps_leave_no_grade_and_say_why():
    grade = [2.0, nan, nan, 6.0]
    assert one(grade, gaps=GapRule(LEAVE_OUT, longest_gap_m=1.5)).why == ("a gap of 2 m, more than 1.5 m",)
    assert one(grade, gaps=GapRule(LEAVE_OUT, least_covered=0.6)).why == ("50% of the length has a result, 60% needed",)
    assert one(grade, gaps=GapRule(LEAVE_OUT, least_covered=0.5, longest_gap_m=2.0)).grade[0] == pytest.approx(4.0)
    assert np.isnan(one([nan] * 4, gaps=LEAVE).grade[0])


def test_a_stretch_off_the_samples_has_no_result():
    found = one([1, 2, 3, 4], (10.0, 12.0), gaps=LEAVE)
    assert np.isnan(found.grade[0])
    assert found.why == ("no result in this length",)
    assert found.longest_gap_m[0] == 2.0


def test_by_mass_needs_a_density_of_every_sample_with_a_result():
    dense = [2.7, nan, 3.0, 3.0]
    assert np.isnan(one([1, 2, 3, 4], density_t_m3=dense).grade_by_mass[0])
    assert one([1, 2, 3, 4], density_t_m3=dense).grade[0] == pytest.approx(2.5)
    assert one([1, nan, 3, 4], gaps=LEAVE, density_t_m3=dense).grade_by_mass[0] == pytest.approx((2.7 + 9 + 12) / 8.7)


def test_a_stated_gap_grade_needs_its_density_for_the_grade_by_mass():
    dense = [2.0, 2.0, 2.0, 2.0]
    grade = [2.0, nan, 4.0, 6.0]
    assert np.isnan(one(grade, gaps=GapRule(AS_GRADE, grade=1.0), density_t_m3=dense).grade_by_mass[0])
    stated = one(grade, gaps=GapRule(AS_GRADE, grade=1.0, density_t_m3=4.0), density_t_m3=dense)
    assert stated.grade_by_mass[0] == pytest.approx((24.0 + 4.0) / 10.0)


def test_binary_noise_at_the_ends_is_no_gap():
    found = composites(
        from_m=[100.1, 101.3], to_m=[101.3, 103.2], grade=[1, 3], stretch_from_m=[100.1], stretch_to_m=[103.2]
    )
    assert found.why == ("",)
    assert found.gap_m[0] == 0.0


@pytest.mark.parametrize(("short_end", "bottoms"), [("keep", [2, 4, 4.5]), ("join", [2, 4.5]), ("leave out", [2, 4])])
def test_short_ends(short_end, bottoms):
    tops, found = even_stretches(from_m=0, to_m=4.5, length_m=2, short_end=short_end)
    assert found.tolist() == bottoms
    assert tops.tolist() == [0, 2, 4][: len(bottoms)]


def test_even_stretches_that_come_out_even():
    tops, bottoms = even_stretches(from_m=0.3, to_m=0.9, length_m=0.1)
    assert len(tops) == 6
    assert bottoms[-1] == 0.9
    assert (tops[1:] == bottoms[:-1]).all()


def test_intercepts_are_runs_at_or_above_the_cutoff():
    found = intercepts(from_m=range(6), to_m=range(1, 7), grade=[0, 1, 2, 0.5, 1, 0], cutoff=1)
    assert [(i.from_m, i.to_m, i.grade) for i in found] == [(1, 3, 1.5), (4, 5, 1.0)]
    assert found[1].top_metal_share == 1.0
    assert np.isnan(found[1].grade_without_top)


def test_waste_inside_is_carried_while_the_average_holds():
    more = {"from_m": range(5), "to_m": range(1, 6), "cutoff": 1.0}
    (joined,) = intercepts(grade=[3, 0.2, 2, 0, 0], longest_waste_m=1.0, **more)
    assert (joined.from_m, joined.to_m, joined.below_cutoff_m) == (0, 3, 1.0)
    assert len(intercepts(grade=[3, 0.2, 2, 0, 0], longest_waste_m=0.5, **more)) == 2
    assert len(intercepts(grade=[1.1, 0.2, 1.1, 0, 0], longest_waste_m=1.0, **more)) == 2


def test_a_gap_parts_an_intercept_unless_allowed():
    more = {"from_m": [0, 1, 2], "to_m": [1, 2, 3], "grade": [5, nan, 5], "cutoff": 1.0, "longest_waste_m": 2.0}
    assert len(intercepts(**more)) == 2
    (left,) = intercepts(gaps=LEAVE, **more)
    assert (left.grade, left.gap_m, left.samples) == (5.0, 1.0, (0, 2))
    (counted,) = intercepts(gaps=GapRule(AS_GRADE, grade=0.0), **more)
    assert counted.grade == pytest.approx(10 / 3)
    assert counted.top_length_share == pytest.approx(1 / 3)
    assert counted.grade_without_top == pytest.approx(2.5)


def test_one_rich_sample_is_shown_for_what_it_is():
    grade = [0.5] * 40
    grade[20] = 900.0
    (found,) = intercepts(from_m=range(40), to_m=range(1, 41), grade=grade, cutoff=0.4)
    assert found.grade == pytest.approx((900 + 39 * 0.5) / 40)
    assert found.top_metal_share > 0.97
    assert found.grade_without_top == pytest.approx(0.5)


def test_short_intercepts_are_left_out():
    assert intercepts(from_m=[0], to_m=[0.5], grade=[5], cutoff=1, least_length_m=1.0) == ()
    assert len(intercepts(from_m=[0], to_m=[1.0], grade=[5], cutoff=1, least_length_m=1.0)) == 1


def test_recovery_against_grade_is_found_with_its_direction():
    rng = np.random.default_rng(1)
    recovery = rng.uniform(0.5, 1.0, 80)
    found = recovery_grade(recovery=recovery, grade=np.exp(3 * recovery + 0.3 * rng.standard_normal(80)))
    assert found.p_value < 0.001
    assert "poorer" in found.verdict
    assert found.class_count.sum() == 80
    assert found.class_mean[0] < found.class_mean[-1]


def test_few_samples_say_what_could_hide():
    found = recovery_grade(recovery=[0.9, 0.8, 1.0, 0.95, 0.85], grade=[1, 2, 1.5, 1.2, 1.1])
    assert found.smallest_seen == pytest.approx(math.tanh(2.8015852 / math.sqrt(2)), abs=1e-6)
    assert "would not show" in found.verdict
    assert np.isnan(found.class_mean[0])


def test_one_recovery_for_all_concludes_nothing():
    assert "cannot conclude" in recovery_grade(recovery=[1.0] * 5, grade=[1, 2, 3, 4, 5]).verdict


@pytest.mark.parametrize(
    "call",
    [
        lambda: one([1, 2, 3]),
        lambda: one([1, 2, 3, -4]),
        lambda: one([1, 2, 3, math.inf]),
        lambda: one([1, 2, 3, 4], (2.0, 2.0)),
        lambda: one([1, 2], from_m=[0, 0.5], to_m=[1, 2]),
        lambda: one([1, 2, 3, 4], density_t_m3=[0, 1, 1, 1]),
        lambda: GapRule("zero"),
        lambda: GapRule(AS_GRADE),
        lambda: GapRule(LEAVE_OUT, grade=0.0),
        lambda: intercepts(from_m=[1, 0], to_m=[2, 1], grade=[1, 1], cutoff=1),
        lambda: intercepts(from_m=[0], to_m=[1], grade=[1], cutoff=0),
        lambda: even_stretches(from_m=0, to_m=1, length_m=0),
        lambda: even_stretches(from_m=0, to_m=1, length_m=1, short_end="drop"),
        lambda: recovery_grade(recovery=[1, 1, 1], grade=[1, 1, 1]),
        lambda: recovery_grade(recovery=[1, 1, 1, 1], grade=[1, 1, 1, 1], class_edges=[0.9, 0.8]),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
