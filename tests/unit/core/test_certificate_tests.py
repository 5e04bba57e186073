"""Results against a certificate: intervals that cover, tests that keep their level."""

import math

import numpy as np
import pytest
from scipy import stats

from trayside.core.certificate_tests import (
    agreement_test,
    certificate_bias,
    en_number,
    guide_33_test,
    power_of_standards,
    standards_needed,
    student_test,
    zeta_score,
)
from trayside.errors import ImpossibleValue


def test_without_other_uncertainty_the_bias_has_the_t_interval():
    values = np.random.default_rng(1).normal(5.2, 0.3, 12)
    found = certificate_bias(values, certified=5.0)
    wanted = stats.ttest_1samp(values, 5.0)
    interval = wanted.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((interval.low - 5.0, interval.high - 5.0))
    assert found.p_value == pytest.approx(wanted.pvalue)
    assert student_test(values, certified=5.0).t == pytest.approx(wanted.statistic)
    assert found.relative_bias == pytest.approx(found.bias / 5.0)
    assert found.relative_low == pytest.approx(found.low / 5.0)


def test_the_certificates_own_uncertainty_widens_the_interval():
    values = np.random.default_rng(2).normal(5.2, 0.1, 40)
    exact, honest = certificate_bias(values, certified=5.0), certificate_bias(values, certified=5.0, certified_u=0.15)
    assert exact.shown
    assert not honest.shown
    assert honest.standard_error == pytest.approx(math.hypot(exact.standard_error, 0.15))
    assert honest.degrees > 39


@pytest.mark.parametrize(("count", "u"), [(5, 0.0), (5, 0.1), (30, 0.3)])
def test_the_interval_covers_the_true_bias(count, u):
    rng, hits = np.random.default_rng(3), 0
    for _ in range(1500):
        stated = 10.0 + rng.normal(0, u)  # the certificate is off by its own uncertainty
        found = certificate_bias(rng.normal(10.4, 0.5, count), certified=stated, certified_u=u)
        hits += found.low <= 0.4 <= found.high
    assert hits / 1500 == pytest.approx(0.95, abs=0.022)


def test_results_that_move_with_their_batch_count_as_batches():
    rng, hits, naive = np.random.default_rng(4), 0, 0
    for _ in range(800):
        values = (rng.normal(0, 0.5, (6, 1)) + rng.normal(10, 0.2, (6, 8))).ravel()
        keys = {"between_sd": 0.5, "batches": 6}
        found = certificate_bias(values, certified=10.0, **keys)
        hits += found.shown
        naive += certificate_bias(values, certified=10.0).shown
    assert hits / 800 < 0.06
    assert naive / 800 > 0.3


def test_equal_results_lean_on_the_certificates_uncertainty():
    found = certificate_bias([5.2, 5.2], certified=5.0, certified_u=0.2)
    assert found.p_value == pytest.approx(2 * stats.norm.sf(1.0))
    assert found.degrees == math.inf


def test_precision_test_rejects_as_often_as_it_says():
    rng = np.random.default_rng(5)
    fails = sum(
        not guide_33_test(rng.normal(0, 1, 8), certified=0.0, within_sd=1.0, between_sd=0.1).precision_passes
        for _ in range(3000)
    )
    assert fails / 3000 == pytest.approx(0.05, abs=0.012)


def test_agreement_and_scores_share_one_difference():
    found = agreement_test(mean=5.3, mean_u=0.03, certified=5.2, certified_u=0.04)
    assert found.limit == pytest.approx(0.1)
    zeta = zeta_score(value=5.3, value_u=0.03, certified=5.2, certified_u=0.04)
    assert zeta == pytest.approx(2.0)
    assert en_number(value=5.3, value_expanded=0.06, certified=5.2, certified_expanded=0.08) == pytest.approx(1.0)
    assert not agreement_test(mean=5.31, mean_u=0.03, certified=5.2, certified_u=0.04).passes
    assert agreement_test(mean=5.29, mean_u=0.03, certified=5.2, certified_u=0.04).passes


def test_scores_of_many_laboratories_at_once():
    found = zeta_score(value=[1.0, 3.0], value_u=[0.3, 0.4], certified=2.0, certified_u=0.0)
    assert found == pytest.approx([-1 / 0.3, 1 / 0.4])


def test_power_by_simulation():
    rng = np.random.default_rng(6)
    means = rng.normal(0.7, 1, (20_000, 9)).mean(axis=1)
    assert power_of_standards(results=9, bias_in_sd=0.7) == pytest.approx(
        np.mean(np.abs(means) * 3 > 1.959964), abs=0.012
    )
    assert standards_needed(bias_in_sd=-0.5) == standards_needed(bias_in_sd=0.5)


@pytest.mark.parametrize(
    "call",
    [
        lambda: certificate_bias([1.0], certified=1.0),
        lambda: certificate_bias([1.0, 1.0], certified=1.0),
        lambda: certificate_bias([1.0, 2.0], certified=0.0),
        lambda: certificate_bias([1.0, 2.0], certified=1.0, certified_u=-0.1),
        lambda: certificate_bias([1.0, 2.0], certified=1.0, between_sd=0.1),
        lambda: student_test([1.0, 1.0], certified=1.0),
        lambda: guide_33_test([1.0, 2.0], certified=1.0, within_sd=0.0, between_sd=0.1),
        lambda: agreement_test(mean=1.0, mean_u=0.0, certified=1.0, certified_u=0.0),
        lambda: zeta_score(value=1.0, value_u=-0.1, certified=1.0, certified_u=0.1),
        lambda: en_number(value=1.0, value_expanded=0.0, certified=1.0, certified_expanded=0.0),
        lambda: standards_needed(bias_in_sd=0.0),
        lambda: standards_needed(bias_in_sd=0.5, power=0.01),
        lambda: power_of_standards(results=0, bias_in_sd=0.5),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
