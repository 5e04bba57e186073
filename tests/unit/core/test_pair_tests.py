"""Tests of bias between the two results of a pair, and a verdict that may abstain."""

import numpy as np
import pytest
from scipy import stats

from trayside.core.pair_power import smallest_bias
from trayside.core.pair_tests import (
    bias_verdict,
    bland_altman,
    bland_altman_ratio,
    paired_t,
    sign_test,
    wilcoxon_test,
)
from trayside.errors import ImpossibleValue


def lognormal_pairs(seed, count, cv, bias=0.0):
    rng = np.random.default_rng(seed)
    sigma = np.sqrt(np.log1p(cv * cv))
    first, second = np.exp(rng.normal(1.0, sigma, (2, count)))
    return first, second * (1 + bias)


def test_sign_test_is_scipys_binomial_test():
    first, second = [5, 4, 3, 8, 9, 1, 7, 7], [1, 2, 4, 2, 3, 0, 7, 6]
    found = sign_test(first, second)
    assert (found.larger, found.smaller, found.equal) == (6, 1, 1)
    assert found.p_value == pytest.approx(stats.binomtest(6, 7).pvalue)
    assert sign_test([1.0], [1.0]).p_value == 1.0


def test_wilcoxon_is_exact_without_ties_and_counts_equal_pairs():
    first, second = np.array([5.0, 4.0, 3.0, 8.0, 9.0, 2.0]), np.array([1.0, 3.0, 5.0, 2.0, 4.0, 2.0])
    found = wilcoxon_test(first, second)
    assert (found.used, found.equal, found.exact) == (5, 1, True)
    # Differences 4 1 -2 6 5: the negative rank sum is 2; of the 32 sign patterns three have a sum of 2 or less (0, 1, 2).
    assert found.statistic == 2.0
    assert found.p_value == pytest.approx(2 * 3 / 32)
    tied = wilcoxon_test([1.0, 2.0, 3.0, 4.0], [0.0, 1.0, 4.0, 3.0])
    assert not tied.exact
    assert wilcoxon_test([2.0], [2.0]).p_value == 1.0


def test_wilcoxon_keeps_its_level():
    rng = np.random.default_rng(0)
    chances = [wilcoxon_test(*np.round(rng.normal(10, 1, (2, 30)), 1)).p_value for _ in range(800)]
    assert np.mean(np.array(chances) < 0.05) == pytest.approx(0.05, abs=0.025)


def test_paired_t_is_scipys():
    first, second = lognormal_pairs(1, 20, 0.3)
    found, wanted = paired_t(first, second), stats.ttest_rel(first, second)
    assert (found.t, found.p_value) == pytest.approx((wanted.statistic, wanted.pvalue))
    interval = wanted.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high))


def test_limits_of_agreement_hold_95_of_100_differences():
    rng = np.random.default_rng(3)
    found = bland_altman(rng.normal(100, 3, 20_000), rng.normal(98, 4, 20_000))
    assert found.mean == pytest.approx(2.0, abs=0.15)
    inside = (found.difference > found.lower) & (found.difference < found.upper)
    assert inside.mean() == pytest.approx(0.95, abs=0.005)
    assert found.lower_interval[0] < found.lower < found.lower_interval[1]


def test_error_of_the_limits_matches_repeats():
    rng = np.random.default_rng(4)
    hits = 0
    for _ in range(1500):
        interval = bland_altman(rng.normal(0, 1, 40), np.zeros(40)).upper_interval
        hits += interval[0] <= 1.96 <= interval[1]
    assert hits / 1500 == pytest.approx(0.95, abs=0.02)


def test_ratio_form_finds_the_ratio():
    first, second = lognormal_pairs(5, 5000, 0.2, bias=0.25)
    found = bland_altman_ratio(first, second)
    assert found.mean == pytest.approx(0.8, abs=0.01)
    assert found.lower * found.upper == pytest.approx(found.mean**2)
    assert found.difference == pytest.approx(first / second)
    assert found.centre == pytest.approx(np.sqrt(first * second))


def test_thirty_low_second_halves_of_coarse_gold_cannot_conclude():
    # Among many sets of 30 unbiased pairs, take those whose plain chance looks small and whose second halves are low.
    abstained = looked_significant = 0
    for seed in range(600):
        first, second = lognormal_pairs(seed, 30, 1.0)
        found = bias_verdict(first, second, bias_that_matters=0.10)
        if found.p_value < 0.05 and found.ratio < 1:
            looked_significant += 1
            abstained += found.verdict == "cannot conclude"
    assert looked_significant >= 8
    assert abstained / looked_significant > 0.6
    assert smallest_bias(pairs=30, pair_cv=1.0) > 0.8


def test_a_wrong_verdict_is_rare_at_the_edge():
    wrong = 0
    for seed in range(800):
        wrong += bias_verdict(*lognormal_pairs(seed, 30, 0.3, bias=0.0), bias_that_matters=0.10).verdict == "bias shown"
    assert wrong / 800 < 0.025


def test_a_large_bias_is_shown_and_many_good_pairs_clear_themselves():
    assert bias_verdict(*lognormal_pairs(1, 60, 0.2, bias=-0.4), bias_that_matters=0.10).verdict == "bias shown"
    found = bias_verdict(*lognormal_pairs(2, 3000, 0.2), bias_that_matters=0.05)
    assert found.verdict == "no bias that matters"
    assert found.pair_cv == pytest.approx(0.2, rel=0.05)


def test_verdict_does_not_depend_on_which_half_comes_first():
    first, second = lognormal_pairs(9, 40, 0.3, bias=0.3)
    one = bias_verdict(first, second, bias_that_matters=0.1)
    other = bias_verdict(second, first, bias_that_matters=0.1)
    assert one.verdict == other.verdict
    assert one.ratio == pytest.approx(1 / other.ratio)


def test_two_far_pairs_give_an_infinite_upper_limit_and_no_error():
    found = bias_verdict([1e-100, 1.0], [1e100, 1.0], bias_that_matters=0.1)
    assert found.high == np.inf
    assert found.verdict == "cannot conclude"


def test_identical_pairs():
    found = bias_verdict([1.0, 2.0], [1.0, 2.0], bias_that_matters=0.1)
    assert (found.verdict, found.p_value, found.pair_cv) == ("no bias that matters", 1.0, 0.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: sign_test([], []),
        lambda: sign_test([1.0], [1.0, 2.0]),
        lambda: paired_t([1.0, 2.0], [0.0, 1.0]),
        lambda: bland_altman([1.0], [1.0]),
        lambda: bland_altman([1.0, 2.0], [1.0, 2.0], width=0.0),
        lambda: bland_altman_ratio([0.0, 1.0], [1.0, 1.0]),
        lambda: bias_verdict([1.0, 2.0], [1.0, 2.0], bias_that_matters=0.0),
        lambda: bias_verdict([1.0, 2.0], [1.0, -2.0], bias_that_matters=0.1),
        lambda: bias_verdict([1.0], [1.0], bias_that_matters=0.1),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
