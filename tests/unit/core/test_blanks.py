"""Blanks: verdicts, carry-over, its two places, dirty lots."""

import math

import numpy as np
import pytest

from trayside.core.blanks import (
    CANNOT_CONCLUDE,
    CARRIED,
    CARRY_OVER,
    CLEAN,
    DIRTY,
    FAILS,
    NO_CARRY_OVER,
    PASSES,
    BlankSettings,
    blanks_for_claim,
    carry_over,
    failure_rate,
    judge_blanks,
    lot_backgrounds,
    split_carry_over,
)
from trayside.errors import ImpossibleValue


def test_limits_are_times_the_detection_limit_by_kind_of_blank():
    found = judge_blanks(blank=[0.024, 0.026, 0.016], detection_limit=0.005, pulp=[False, False, True])
    assert found.limit == pytest.approx([0.025, 0.025, 0.015])
    assert found.verdict == (PASSES, FAILS, FAILS)


def test_a_result_on_the_limit_passes():
    assert judge_blanks(blank=[0.025], detection_limit=0.005).verdict == (PASSES,)


def test_carry_over_within_the_allowed_share_is_said_and_still_above():
    found = judge_blanks(blank=[0.54, 0.54], detection_limit=0.005, previous=[90.0, 20.0])
    assert found.above.all()
    assert found.share_of_previous == pytest.approx([0.006, 0.027])
    assert found.verdict == (CARRIED, FAILS)


def test_an_unknown_sample_before_excuses_nothing():
    assert judge_blanks(blank=[0.54], detection_limit=0.005, previous=[np.nan]).verdict == (FAILS,)


def test_factors_are_settings():
    strict = BlankSettings(coarse_factor=1.0)
    assert judge_blanks(blank=[0.006], detection_limit=0.005, settings=strict).verdict == (FAILS,)
    with pytest.raises(ImpossibleValue):
        BlankSettings(coarse_factor=0.0)


def test_all_and_no_failures_have_closed_intervals():
    assert failure_rate(failures=0, blanks=10).low == 0.0
    assert failure_rate(failures=10, blanks=10).high == 1.0
    assert failure_rate(failures=10, blanks=10).low == pytest.approx(0.025**0.1)
    with pytest.raises(ImpossibleValue, match="11 failures"):
        failure_rate(failures=11, blanks=10)


@pytest.mark.parametrize("rate", [0.02, 0.1, 0.3])
def test_one_blank_fewer_would_not_do_for_the_claim(rate):
    n = blanks_for_claim(rate=rate)
    assert (1 - rate) ** n <= 0.05 < (1 - rate) ** (n - 1)


def _series(rate, seed=1, n=30):
    rng = np.random.default_rng(seed)
    before = rng.lognormal(0.0, 2.0, n)
    return 0.004 + rate * before + rng.normal(0.0, 0.002, n), before


def test_carry_over_that_is_there_is_found_with_its_size():
    blank, before = _series(0.006)
    found = carry_over(blank=blank, previous=before)
    assert found.verdict == CARRY_OVER
    assert found.low < 0.006 < found.high
    assert found.background_low < 0.004 < found.background_high
    assert found.rank_p_value < 0.001
    assert 0.0 < found.largest_leverage <= 1.0


def test_clean_blanks_behind_rich_samples_clear_the_laboratory():
    blank, before = _series(0.0)
    found = carry_over(blank=blank, previous=before)
    assert found.p_value > 0.05
    assert found.smallest_seen < 0.01
    assert found.verdict == NO_CARRY_OVER


def test_blanks_behind_poor_samples_conclude_nothing():
    rng = np.random.default_rng(4)
    before = rng.uniform(0.01, 0.05, 20)
    found = carry_over(blank=0.004 + rng.normal(0.0, 0.002, 20), previous=before)
    assert found.smallest_seen > 0.01
    assert found.verdict == CANNOT_CONCLUDE


def test_smallest_seen_is_seen_in_eight_of_ten():
    rng = np.random.default_rng(9)
    before = np.linspace(1.0, 10.0, 12)
    one = carry_over(blank=0.01 + rng.normal(0.0, 0.005, 12), previous=before)
    true_error = 0.005 / math.sqrt(float(((before - before.mean()) ** 2).sum()))
    rate = one.smallest_seen / one.standard_error * true_error
    hits = sum(
        carry_over(blank=rate * before + rng.normal(0.0, 0.005, 12), previous=before).p_value <= 0.05
        for _ in range(700)
    )
    assert hits / 700 == pytest.approx(0.8, abs=0.05)


def test_blanks_that_all_read_the_same_are_judged_by_the_richest_sample():
    rich = carry_over(blank=[0.005] * 5, previous=[1.0, 2.0, 90.0, 3.0, 1.0])
    assert rich.verdict == NO_CARRY_OVER
    assert rich.smallest_seen == pytest.approx(0.005 / 90)
    poor = carry_over(blank=[0.005] * 5, previous=[0.1, 0.2, 0.1, 0.3, 0.1])
    assert poor.verdict == CANNOT_CONCLUDE


def test_short_lists_count_out_all_orders():
    assert carry_over(blank=[1, 2, 3, 4.0], previous=[1, 2, 3, 4.0]).rank_p_value == pytest.approx(1 / 24)
    assert carry_over(blank=[4, 3, 2, 1.0], previous=[1, 2, 3, 4.0]).rank_p_value == pytest.approx(1.0)


def test_same_sample_before_every_blank_is_refused():
    with pytest.raises(ImpossibleValue, match="read the same"):
        carry_over(blank=[1.0, 2.0, 3.0], previous=[5.0, 5.0, 5.0])
    with pytest.raises(ImpossibleValue, match="at least 0"):
        carry_over(blank=[1.0, 2.0, 3.0], previous=[5.0, -5.0, 5.0])


def test_saw_and_laboratory_are_parted_where_the_orders_differ():
    rng = np.random.default_rng(3)
    saw, bench = rng.lognormal(0.0, 1.5, 40), rng.lognormal(0.0, 1.5, 40)
    found = split_carry_over(
        blank=0.004 + 0.008 * saw + rng.normal(0.0, 0.003, 40), previous_on_saw=saw, previous_in_laboratory=bench
    )
    assert found.saw.low < 0.008 < found.saw.high
    assert found.saw.p_value < 0.001
    assert found.laboratory.p_value > 0.05
    assert found.differ == 40
    assert "saw 0.8" in found.why


def test_both_intervals_of_the_split_hold_the_truth_as_often_as_they_say():
    rng = np.random.default_rng(3)
    saw, bench = rng.lognormal(0.0, 1.0, 20), rng.lognormal(0.0, 1.0, 20)
    held = np.zeros(2)
    for _ in range(600):
        blank = 0.004 + 0.008 * saw + 0.002 * bench + rng.normal(0.0, 0.003, 20)
        one = split_carry_over(blank=blank, previous_on_saw=saw, previous_in_laboratory=bench)
        held += [one.saw.low < 0.008 < one.saw.high, one.laboratory.low < 0.002 < one.laboratory.high]
    assert held / 600 == pytest.approx([0.95, 0.95], abs=0.03)


def test_equal_or_nearly_equal_orders_are_not_parted():
    blank, before = _series(0.006)
    same = split_carry_over(blank=blank, previous_on_saw=before, previous_in_laboratory=before)
    assert same.saw is None
    assert "same sample" in same.why
    nearly = before.copy()
    nearly[0] *= 1.01
    found = split_carry_over(blank=blank, previous_on_saw=before, previous_in_laboratory=nearly)
    assert found.laboratory is None
    assert "too alike" in found.why
    flat = split_carry_over(blank=blank, previous_on_saw=np.zeros(30), previous_in_laboratory=before)
    assert flat.saw is None


def test_grades_of_any_size_are_split_alike():
    rng = np.random.default_rng(6)
    saw, bench = rng.lognormal(0.0, 1.0, 20), rng.lognormal(0.0, 1.0, 20)
    blank = 0.01 * saw + 0.002 * bench + rng.normal(0.0, 0.002, 20)
    one = split_carry_over(blank=blank, previous_on_saw=saw, previous_in_laboratory=bench)
    big = split_carry_over(blank=blank * 1e6, previous_on_saw=saw * 1e6, previous_in_laboratory=bench * 1e6)
    assert (big.saw.rate, big.laboratory.p_value) == pytest.approx((one.saw.rate, one.laboratory.p_value))


def test_a_dirty_lot_stands_out_whatever_came_before():
    blank, before = _series(0.006)
    lot = ["A"] * 20 + ["B"] * 10
    clean = lot_backgrounds(blank=blank, lot=lot, previous=before)
    assert [one.verdict for one in clean] == [CLEAN, CLEAN]
    blank[20:] += 0.02
    found = lot_backgrounds(blank=blank, lot=lot, previous=before)
    assert [one.verdict for one in found] == [CLEAN, DIRTY]
    assert found[1].low < 0.024 < found[1].high


def test_rich_samples_before_one_lot_do_not_make_it_dirty():
    rng = np.random.default_rng(8)
    before = np.concatenate([rng.uniform(0.5, 3.0, 20), rng.uniform(10.0, 40.0, 20)])
    blank = 0.004 + 0.006 * before + rng.normal(0.0, 0.002, 40)
    lot = ["A"] * 20 + ["B"] * 20
    assert lot_backgrounds(blank=blank, lot=lot)[1].verdict == DIRTY
    assert lot_backgrounds(blank=blank, lot=lot, previous=before)[1].verdict == CLEAN


def test_the_only_lot_is_held_against_the_limit():
    over = lot_backgrounds(blank=[0.03] * 8 + [0.01], lot=["A"] * 9, limit=0.025)
    assert over[0].verdict == DIRTY
    assert over[0].p_value == pytest.approx(10 / 512)
    under = lot_backgrounds(blank=[0.01] * 9, lot=["A"] * 9, limit=0.025)
    assert under[0].verdict == CLEAN
    unknown = lot_backgrounds(blank=[0.01] * 3, lot=["A"] * 3)
    assert math.isnan(unknown[0].p_value)
    assert unknown[0].verdict == CLEAN


def test_median_interval_of_ten_is_second_to_ninth():
    found = lot_backgrounds(blank=np.arange(1.0, 11.0), lot=["A"] * 10)
    assert (found[0].low, found[0].high) == (2.0, 9.0)
    assert lot_backgrounds(blank=[1.0, 2.0], lot=["A"] * 2)[0].high == math.inf
