from math import comb

import numpy as np
import pytest

from trayside.core.side_counts import side_test
from trayside.errors import ImpossibleValue


def by_counting(a: int, b: int, c: int, d: int) -> float:
    """Two-sided chance of a table by adding up hypergeometric chances one by one."""
    ways = {
        x: comb(a + c, x) * comb(b + d, a + b - x) for x in range(a + b + 1) if 0 <= a + b - x <= b + d and x <= a + c
    }
    total = sum(ways.values())
    return sum(way for way in ways.values() if way <= ways[a] * (1 + 1e-9)) / total


@pytest.mark.parametrize(
    ("asked", "other"), [([178, 200], [22, 0]), ([9, 7], [1, 3]), ([5, 5], [0, 0]), ([3, 40], [2, 1])]
)
def test_two_operators_get_the_chance_of_the_counted_arrangements(asked, other):
    found = side_test(asked_count=asked, other_count=other)
    expected = by_counting(asked[0], other[0], asked[1], other[1])
    assert found.p_value == pytest.approx([expected, expected], rel=1e-9)


def test_the_operator_who_bags_the_other_half_is_told_and_nobody_else():
    found = side_test(asked_count=[310, 290, 98, 205], other_count=[1, 0, 22, 1])
    assert found.differs.tolist() == [False, False, True, False]
    assert found.other_share[2] == pytest.approx(22 / 120)
    alone = side_test(asked_count=[100, 100, 100], other_count=[1, 0, 1])
    assert not alone.differs.any()
    assert alone.p_value.min() > 0.4


def test_many_looks_are_paid_for():
    few = side_test(asked_count=[20, 200], other_count=[3, 4])
    many = side_test(asked_count=[20, 50, 50, 50, 50], other_count=[3, 1, 1, 1, 1])
    assert many.p_value[0] == pytest.approx(few.p_value[0], rel=1e-9)
    assert many.adjusted_p[0] == pytest.approx(5 * many.p_value[0])
    assert (np.diff(np.sort(many.adjusted_p)) >= 0).all()


def test_one_operator_or_no_bags_say_nothing():
    assert side_test(asked_count=[40], other_count=[10]).p_value.tolist() == [1.0]
    empty = side_test(asked_count=[40, 0], other_count=[10, 0])
    assert np.isnan(empty.other_share[1])
    assert not empty.differs.any()


@pytest.mark.parametrize("bad", [dict(asked_count=[-1.0]), dict(other_count=[0.5]), dict(chance_limit=0.0)])
def test_counts_that_cannot_be_are_refused(bad):
    with pytest.raises(ImpossibleValue):
        side_test(**dict(asked_count=[4.0], other_count=[1.0]) | bad)
