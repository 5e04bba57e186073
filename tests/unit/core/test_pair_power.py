"""What pairs can show: against simulation of the real test."""

import numpy as np
import pytest
from scipy import stats

from trayside.core.pair_power import (
    log_ratio_sd,
    more_pairs_needed,
    pairs_needed,
    power_of_pairs,
    sign_limit,
    sign_limit_short_form,
    smallest_bias,
)
from trayside.errors import ImpossibleValue


def simulated_power(pairs, cv, bias, series=6000):
    rng = np.random.default_rng(pairs)
    ratio = np.log1p(bias) + rng.normal(0, log_ratio_sd(pair_cv=cv), (series, pairs))
    return np.mean(stats.ttest_1samp(ratio, 0.0, axis=1).pvalue < 0.05)


@pytest.mark.parametrize(("pairs", "cv", "bias"), [(5, 0.2, 0.5), (12, 0.3, 0.3), (40, 0.3, -0.15), (150, 1.0, 0.3)])
def test_power_is_what_simulation_gives(pairs, cv, bias):
    found = power_of_pairs(pairs=pairs, pair_cv=cv, bias=bias)
    assert found == pytest.approx(simulated_power(pairs, cv, bias), abs=0.02)


def test_lognormal_results_scatter_as_said():
    rng = np.random.default_rng(2)
    first, second = np.exp(rng.normal(0, np.sqrt(np.log1p(0.36)), (2, 400_000)))
    assert first.std() / first.mean() == pytest.approx(0.6, rel=0.02)
    assert np.log(second / first).std() == pytest.approx(log_ratio_sd(pair_cv=0.6), rel=0.01)


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("pairs", [2, 3, 10, 30, 475, 5000])
def test_the_smallest_bias_has_just_the_wanted_power(pairs, known):
    bias = smallest_bias(pairs=pairs, pair_cv=0.1, sd_known=known)
    assert power_of_pairs(pairs=pairs, pair_cv=0.1, bias=bias, sd_known=known) == pytest.approx(0.8, abs=1e-3)
    down = 1 / (1 + bias) - 1
    assert power_of_pairs(pairs=pairs, pair_cv=0.1, bias=down, sd_known=known) == pytest.approx(0.8, abs=1e-3)


def test_an_estimated_scatter_asks_for_more():
    assert smallest_bias(pairs=5, pair_cv=0.3) > 1.2 * smallest_bias(pairs=5, pair_cv=0.3, sd_known=True)
    assert 0 < pairs_needed(pair_cv=0.3, bias=0.1) - pairs_needed(pair_cv=0.3, bias=0.1, sd_known=True) <= 3


@pytest.mark.parametrize("bias", [0.1, -0.1, 0.5])
def test_pairs_needed_is_the_smallest_count_that_will_do(bias):
    count = pairs_needed(pair_cv=0.4, bias=bias)
    assert power_of_pairs(pairs=count, pair_cv=0.4, bias=bias) >= 0.8
    assert power_of_pairs(pairs=count - 1, pair_cv=0.4, bias=bias) < 0.8


def test_a_downward_bias_of_ten_percent_needs_fewer_pairs():
    assert pairs_needed(pair_cv=0.3, bias=-0.1) < pairs_needed(pair_cv=0.3, bias=0.1)


def test_more_pairs_needed_never_goes_below_zero():
    needed = pairs_needed(pair_cv=0.3, bias=0.1)
    assert more_pairs_needed(pairs=30, pair_cv=0.3, bias=0.1) == needed - 30
    assert more_pairs_needed(pairs=needed + 5, pair_cv=0.3, bias=0.1) == 0


def test_power_at_no_bias_is_the_level():
    assert power_of_pairs(pairs=20, pair_cv=0.3, bias=0.0) == pytest.approx(0.05, abs=1e-6)
    assert power_of_pairs(pairs=20, pair_cv=0.3, bias=0.0, sd_known=True) == pytest.approx(0.05)


@pytest.mark.parametrize("pairs", [6, 7, 12, 33, 100, 1001])
def test_sign_limit_is_the_last_count_scipy_finds_significant(pairs):
    found = sign_limit(pairs=pairs)
    assert stats.binomtest(found.count, pairs).pvalue == pytest.approx(found.p_value)
    assert found.p_value <= 0.05 < stats.binomtest(found.count + 1, pairs).pvalue


def test_five_pairs_can_never_show_anything_by_sign():
    found = sign_limit(pairs=5)
    assert found.count is None
    assert found.next_p_value == pytest.approx(0.0625)


def test_the_short_form_is_at_most_one_off():
    differences = {sign_limit_short_form(pairs=n) - sign_limit(pairs=n).count for n in range(10, 500)}
    assert differences <= {-1, 0, 1}


@pytest.mark.parametrize(
    "call",
    [
        lambda: smallest_bias(pairs=1, pair_cv=0.3),
        lambda: smallest_bias(pairs=2.5, pair_cv=0.3),
        lambda: smallest_bias(pairs=30, pair_cv=0.0),
        lambda: smallest_bias(pairs=30, pair_cv=0.3, power=0.05),
        lambda: smallest_bias(pairs=2, pair_cv=1e300),
        lambda: pairs_needed(pair_cv=0.3, bias=0.0),
        lambda: pairs_needed(pair_cv=0.3, bias=-1.0),
        lambda: pairs_needed(pair_cv=0.3, bias=1e-9),
        lambda: power_of_pairs(pairs=1, pair_cv=0.3, bias=0.1),
        lambda: sign_limit(pairs=0),
        lambda: sign_limit_short_form(pairs=9),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
