"""Precision against grade, and the cautions that go with it."""

import numpy as np
import pytest

from trayside.core.thompson_howarth import CAUTIONS, difference_line, thompson_howarth_long, thompson_howarth_short
from trayside.errors import ImpossibleValue


def pairs(seed, count, s0, k):
    rng = np.random.default_rng(seed)
    grade = rng.uniform(1, 100, count)
    return grade + (s0 + k * grade) * rng.standard_normal((2, count))


def test_the_line_put_in_is_found():
    found = [thompson_howarth_long(*np.abs(pairs(seed, 1100, 1.0, 0.05))) for seed in range(40)]
    # The median of 11 normal differences sits about one percent above the quartile: a known bias of the method.
    assert np.mean([one.s0 for one in found]) == pytest.approx(1.0, abs=0.1)
    assert np.mean([one.k for one in found]) == pytest.approx(0.05, abs=0.003)
    assert found[0].cautions == CAUTIONS


def test_a_negative_line_says_from_where_it_can_be_used():
    grade = np.repeat(np.arange(10.0, 60.0, 10.0), 11)
    spread = 0.2 * (grade - 10.0) + 0.01
    found = thompson_howarth_long(grade - spread / 2, grade + spread / 2)
    assert found.s0 < 0
    assert found.usable_above == pytest.approx(-found.s0 / found.k)
    assert found.usable_above == pytest.approx(9.95, abs=1e-6)
    assert "below zero" in found.cautions[-1]


def test_a_falling_line_is_flagged():
    grade = np.repeat(np.arange(10.0, 60.0, 10.0), 11)
    spread = 8.0 - 0.1 * grade
    found = thompson_howarth_long(grade - spread / 2, grade + spread / 2)
    assert found.k < 0
    assert any("falls with grade" in caution for caution in found.cautions)


def test_left_over_pairs_are_the_richest_and_are_counted():
    grade = np.arange(1.0, 41.0)
    found = thompson_howarth_long(grade, grade + 1.0)
    assert (found.pairs_used, found.pairs_left_over) == (33, 7)
    assert found.group_mean == pytest.approx([6.5, 17.5, 28.5])


def test_share_above_the_lines_is_ten_and_one_percent():
    first, second = pairs(5, 40_000, 0.0, 0.05)
    found = thompson_howarth_short(first, second, precision=0.10)
    assert found.above_90 / 40_000 == pytest.approx(0.10, abs=0.006)
    assert found.above_99 / 40_000 == pytest.approx(0.01, abs=0.002)


def test_the_sd_near_zero_lifts_the_lines():
    found = thompson_howarth_short([0.0, 100.0], [1.0, 100.0], precision=0.1, detection_sd=2.0)
    assert found.line_90 == pytest.approx(difference_line(sd=np.array([2.025, 7.0]), share=0.9))
    assert (found.above_90, found.chance_90) == (0, 1.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: thompson_howarth_long(np.ones(20), np.ones(20)),
        lambda: thompson_howarth_long(np.ones(40), np.ones(40)),
        lambda: thompson_howarth_long(-np.ones(40), np.ones(40)),
        lambda: thompson_howarth_short([], [], precision=0.1),
        lambda: thompson_howarth_short([1.0], [1.0], precision=0.0),
        lambda: difference_line(sd=-1.0, share=0.9),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
