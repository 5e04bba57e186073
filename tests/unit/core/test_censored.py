"""Averages with results below limits: complete lists, limits, refusals."""

import numpy as np
import pytest
from scipy import special

from trayside.core.censored import below_curve, lognormal_fit, order_fit
from trayside.errors import ImpossibleValue


def test_a_complete_list_gives_the_plain_averages():
    values = [1.0, 2.0, 4.0, 9.0]
    none = [False] * 4
    logs = np.log(values)
    fit = lognormal_fit(values=values, censored=none)
    assert (fit.log_mean, fit.log_sd) == pytest.approx((logs.mean(), logs.std()))
    assert fit.log_mean_se == pytest.approx(logs.std() / 2.0)
    curve = below_curve(values=values, censored=none)
    assert curve.mean == pytest.approx(4.0)
    assert curve.share_at_or_below == pytest.approx([0.25, 0.5, 0.75, 1.0])
    assert curve.median == 2.0
    assert order_fit(values=values, censored=none).mean == pytest.approx(4.0)


def test_the_summit_is_one():
    rng = np.random.default_rng(2)
    truth = np.exp(0.3 + 0.8 * rng.standard_normal(200))
    limit = rng.choice([0.5, 1.0, 2.0], 200)
    below = truth < limit
    values = np.where(below, limit, truth)
    fit = lognormal_fit(values=values, censored=below)

    def height(mu, sigma):
        z = (np.log(values) - mu) / sigma
        return float(np.where(below, special.log_ndtr(z), -0.5 * z * z - np.log(sigma)).sum())

    top = height(fit.log_mean, fit.log_sd)
    for d_mu, d_sigma in ((1e-3, 0), (-1e-3, 0), (0, 1e-3), (0, -1e-3)):
        assert height(fit.log_mean + d_mu, fit.log_sd + d_sigma) < top
    assert fit.log_mean == pytest.approx(0.3, abs=3 * fit.log_mean_se)
    assert fit.mean_low < fit.mean < fit.mean_high


def test_interval_of_the_mean_holds_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(7)
    true_mean, inside = np.exp(0.5 * 0.6**2), 0
    for _ in range(300):
        truth = np.exp(0.6 * rng.standard_normal(80))
        below = truth < 0.7
        fit = lognormal_fit(values=np.where(below, 0.7, truth), censored=below)
        inside += fit.mean_low <= true_mean <= fit.mean_high
    assert 0.91 <= inside / 300 <= 0.98


def test_what_lies_below_the_smallest_detected_stays_unplaced():
    curve = below_curve(values=[0.1, 0.1, 1.0, 3.0], censored=[True, True, False, False])
    assert curve.unplaced == pytest.approx(0.5)
    assert np.isnan(curve.mean)
    assert (curve.mean_low, curve.mean_high) == pytest.approx((1.0, 1.05))
    assert np.isnan(curve.median)


def test_a_result_below_equal_to_a_detected_one_counts_below_it():
    curve = below_curve(values=[1.0, 1.0], censored=[True, False])
    assert curve.unplaced == pytest.approx(0.5)


def test_scale_of_the_unit_does_not_matter():
    values, below = [0.5, 0.2, 0.7, 1.5, 0.2], [False, True, False, False, True]
    for fit in (lognormal_fit, order_fit):
        one, thousand = fit(values=values, censored=below), fit(values=np.array(values) * 1000, censored=below)
        assert thousand.mean == pytest.approx(1000 * one.mean)
        assert thousand.sd == pytest.approx(1000 * one.sd)


def test_a_limit_above_every_detected_result_is_borne():
    fit = order_fit(values=[1.0, 2.0, 5.0, 0.8], censored=[False, False, True, True])
    assert np.isfinite(fit.mean)


@pytest.mark.parametrize("fit", [lognormal_fit, order_fit])
def test_one_detected_result_is_too_few_for_a_line(fit):
    with pytest.raises(ImpossibleValue, match="1 different detected"):
        fit(values=[1.0, 1.0, 0.5], censored=[False, False, True])


@pytest.mark.parametrize("fit", [lognormal_fit, below_curve, order_fit])
def test_zero_and_missing_flags_are_refused(fit):
    with pytest.raises(ImpossibleValue, match="more than 0"):
        fit(values=[0.0, 1.0, 2.0], censored=[False] * 3)
    with pytest.raises(ImpossibleValue, match="censored"):
        fit(values=[1.0, 2.0], censored=[False])
    with pytest.raises(ImpossibleValue):
        fit(values=[1.0, 2.0], censored=[0, 1])


def test_nothing_detected_has_no_curve():
    with pytest.raises(ImpossibleValue, match="nothing was detected"):
        below_curve(values=[1.0, 2.0], censored=[True, True])
