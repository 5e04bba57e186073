"""Ranges between passing controls: ends, bounding, sums, refusals."""

import math

import numpy as np
import pytest

from trayside.core.failed_range import BoundingRules, ReassayPrices, failed_ranges
from trayside.errors import ImpossibleValue

MARKS = {"s": (None, None), "S": ("standard", "pass"), "F": ("standard", "fail"), "N": ("standard", "not judged")}
MARKS |= {"B": ("blank", "pass"), "X": ("blank", "fail")}


def ranges(text, **more):
    kind, verdict = zip(*(MARKS[one] for one in text), strict=True)
    return failed_ranges(kind=kind, verdict=verdict, **more)


def test_range_lies_between_the_passes():
    found = ranges("ssSssFssSss").ranges
    assert len(found) == 1
    one = found[0]
    assert (one.first, one.last) == (3, 7)
    assert one.samples == (3, 4, 6, 7)
    assert one.controls == one.failed == (5,)
    assert (one.pass_before, one.pass_after) == (2, 8)
    assert one.bounded


def test_nothing_failed_asks_for_nothing():
    found = ranges("ssSssS", prices=ReassayPrices(per_result=10, per_order=50))
    assert found.ranges == ()
    assert found.cost == 0.0


def test_without_a_pass_the_range_reaches_the_end_and_says_so():
    one = ranges("ssFssSs").ranges[0]
    assert (one.first, one.last, one.pass_before, one.pass_after) == (0, 4, None, 5)
    assert not one.bounded


def test_a_blank_that_passes_does_not_bound_a_standard():
    assert ranges("SsBsFsBsS").ranges[0].samples == (1, 3, 5, 7)
    assert ranges("SsBsFsBsS").ranges[0].controls == (2, 4, 6)
    told = BoundingRules(bounds={"standard": ("standard", "blank")})
    assert ranges("SsBsFsBsS", rules=told).ranges[0].samples == (3, 5)


def test_what_was_not_judged_bounds_nothing():
    assert ranges("SsNsFsS").ranges[0].first == 1


def test_two_failures_without_a_pass_between_are_one_range():
    found = ranges("SsFssFsS").ranges
    assert len(found) == 1
    assert found[0].failed == (2, 5)
    assert (found[0].first, found[0].last) == (1, 6)


def test_failures_parted_by_a_pass_are_two_ranges():
    found = ranges("SsFsSsFsS").ranges
    assert [(one.first, one.last) for one in found] == [(1, 3), (5, 7)]


def test_ranges_of_two_kinds_that_overlap_are_one():
    found = ranges("BSssFsXsBsS").ranges
    assert len(found) == 1
    assert found[0].failed == (4, 6)
    assert (found[0].first, found[0].last, found[0].pass_after) == (1, 9, 10)


def test_two_passes_in_a_row_may_be_asked_for():
    one = ranges("SsSsSsFsSsSsS", rules=BoundingRules(passes=2)).ranges[0]
    assert (one.pass_before, one.pass_after) == (2, 10)
    assert (one.first, one.last) == (3, 9)


def test_mass_and_cost_add_up():
    mass = [np.nan if one in "SF" else 2.5 for one in "SssFsS"]
    mass[1] = np.nan
    found = ranges("SssFsS", mass_kg=mass, prices=ReassayPrices(per_result=40.0, per_kg=2.0, per_order=100.0))
    assert found.samples == 3
    assert found.controls == 1
    assert found.mass_kg == pytest.approx(5.0)
    assert found.not_weighed == 1
    assert found.cost == pytest.approx(100.0 + 4 * 40.0 + 5.0 * 2.0)


def test_without_prices_there_is_no_cost_and_without_masses_none_weighed():
    found = ranges("SsFsS")
    assert found.cost is None
    assert (found.mass_kg, found.not_weighed) == (0.0, 2)


@pytest.mark.parametrize(
    "call",
    [
        lambda: failed_ranges(kind=[None], verdict=["fail"]),
        lambda: failed_ranges(kind=["standard"], verdict=[None]),
        lambda: failed_ranges(kind=["standard"], verdict=["failed"]),
        lambda: failed_ranges(kind=["standard", None], verdict=["fail"]),
        lambda: ranges("sF", mass_kg=[1.0]),
        lambda: ranges("sF", mass_kg=[0.0, 1.0]),
        lambda: ranges("sF", mass_kg=[math.inf, 1.0]),
        lambda: ReassayPrices(per_kg=-1.0),
        lambda: BoundingRules(passes=0),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
