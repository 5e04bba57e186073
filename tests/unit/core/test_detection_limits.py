"""Detection limits: what they mean, tried by their own definitions."""

import numpy as np
import pytest
from scipy import stats

from trayside.core.detection_limits import (
    blank_detection_limit,
    limits_estimated_sd,
    limits_known_sd,
    limits_of_counts,
    method_detection_limit,
    pooled_detection_limit,
    t_factor,
)
from trayside.errors import ImpossibleValue


def test_a_blank_passes_the_critical_value_with_chance_alpha_and_the_limit_is_missed_with_beta():
    found = limits_known_sd(blank_sd=0.3, alpha=0.01, beta=0.2)
    assert stats.norm.sf(found.critical, 0.0, 0.3) == pytest.approx(0.01)
    assert stats.norm.cdf(found.critical, found.detection, 0.3) == pytest.approx(0.2)


def test_quantification_follows_the_relative_sd_asked_for():
    assert limits_known_sd(blank_sd=0.3, quantified_rsd=0.05).quantification == pytest.approx(6.0)


@pytest.mark.parametrize("degrees", [1, 4, 20])
def test_estimated_sd_misses_its_limit_with_chance_beta(degrees):
    rng = np.random.default_rng(5)
    found = limits_estimated_sd(blank_sd=1.0, degrees_of_freedom=degrees, beta=0.1)
    estimate = np.sqrt(rng.chisquare(degrees, 200_000) / degrees)
    missed = np.mean(found.detection + rng.standard_normal(200_000) <= found.critical * estimate)
    assert missed == pytest.approx(0.1, abs=0.004)


def test_many_blanks_make_the_estimated_sd_a_known_one():
    few, known = limits_estimated_sd(blank_sd=2.0, degrees_of_freedom=10**6), limits_known_sd(blank_sd=2.0)
    assert few.detection == pytest.approx(known.detection, rel=1e-5)


def test_pooling_one_run_is_that_run():
    values = [1.0, 1.4, 0.9, 1.2]
    one = method_detection_limit(spiked=values)
    pooled = pooled_detection_limit(standard_deviations=[np.std(values, ddof=1)], degrees_of_freedom=[3])
    assert pooled.limit == pytest.approx(one.limit)


def test_blanks_count_their_mean_only_when_it_is_above_zero():
    up, down = np.array([0.1, 0.2, 0.3]), np.array([-0.3, -0.2, -0.1])
    above, below = blank_detection_limit(blanks=up), blank_detection_limit(blanks=down)
    assert above.limit == pytest.approx(0.2 + t_factor(degrees_of_freedom=2) * 0.1)
    assert below.limit == pytest.approx(t_factor(degrees_of_freedom=2) * 0.1)


def test_results_without_scatter_make_no_limit():
    with pytest.raises(ImpossibleValue, match="all results are equal"):
        method_detection_limit(spiked=[0.005] * 7)


@pytest.mark.parametrize(
    "call",
    [
        lambda: limits_known_sd(blank_sd=0.0),
        lambda: limits_known_sd(blank_sd=1.0, alpha=0.0),
        lambda: limits_estimated_sd(blank_sd=1.0, degrees_of_freedom=0),
        lambda: limits_of_counts(blank_counts=-1),
        lambda: t_factor(degrees_of_freedom=0),
        lambda: method_detection_limit(spiked=[1.0]),
        lambda: pooled_detection_limit(standard_deviations=[1.0, 2.0], degrees_of_freedom=[6]),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
