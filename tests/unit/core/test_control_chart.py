"""Charts against plain loops, and what is refused."""

import numpy as np
import pytest
from scipy import stats

from trayside.core import control_chart, run_length
from trayside.core.control_chart import cusum, drift, ewma, individuals_limits, z_scores
from trayside.errors import ImpossibleValue


def looped_cusum(values, target, k, h, start):
    upper, lower, up, down = [], [], start, start
    for x in values:
        up, down = max(0.0, up + x - target - k), max(0.0, down + target - x - k)
        upper.append(up)
        lower.append(down)
    return np.array(upper), np.array(lower)


@pytest.mark.parametrize("start", [0.0, 2.0])
def test_cusum_is_the_loop(start):
    values = np.random.default_rng(1).normal(10.3, 1, 300)
    found = cusum(values, target=10.0, k=0.5, h=4.0, head_start=start)
    upper, lower = looped_cusum(values, 10.0, 0.5, 4.0, start)
    assert found.upper == pytest.approx(upper, abs=1e-9)
    assert found.lower == pytest.approx(lower, abs=1e-9)
    assert (found.signal_upper == (upper > 4.0)).all()
    runs, expected = 0, []
    for value in upper:
        runs = runs + 1 if value > 1e-12 else 0
        expected.append(runs)
    assert found.count_upper.tolist() == expected


def test_cusum_says_when_and_how_far_the_mean_went_down():
    values = np.concatenate((np.full(20, 10.0), np.full(10, 8.0)))
    found = cusum(values, target=10.0, k=0.5, h=4.0)
    assert found.first_signal == 22  # 1.5, 3.0, 4.5
    assert found.shift_began == 20
    assert found.shifted_mean == pytest.approx(8.0)
    assert found.signal_lower[22]
    assert not found.signal_upper.any()


def test_a_head_start_is_no_evidence_of_the_shifted_mean():
    found = cusum(np.full(10, 12.0), target=10.0, k=0.5, h=4.0, head_start=2.0)
    assert found.first_signal == 1
    assert found.shifted_mean == pytest.approx(12.0)


def test_a_quiet_cusum_has_no_shift():
    found = cusum([10.0, 10.0], target=10.0, k=0.5, h=4.0)
    assert (found.first_signal, found.shift_began, found.shifted_mean) == (None, None, None)


def test_ewma_is_the_loop_with_its_limits():
    values = np.random.default_rng(2).normal(5, 2, 60)
    found = ewma(values, target=5.0, sd=2.0, weight=0.2, limit=2.7)
    average = 5.0
    for i, x in enumerate(values):
        average = 0.2 * x + 0.8 * average
        reach = 2.7 * 2.0 * (0.2 / 1.8 * (1 - 0.8 ** (2 * (i + 1)))) ** 0.5
        assert found.average[i] == pytest.approx(average)
        assert (found.low[i], found.high[i]) == pytest.approx((5 - reach, 5 + reach))
        assert found.signal[i] == (abs(average - 5.0) > reach)


def test_ewma_with_full_weight_is_the_results():
    values = [1.0, 5.0, 2.0]
    found = ewma(values, target=3.0, sd=1.0, weight=1.0, limit=2.5)
    assert found.average == pytest.approx(values)
    assert found.high == pytest.approx([5.5] * 3)
    assert ewma([4.0], target=3.0, sd=1.0, weight=0.5, start=5.0).average == pytest.approx([4.5])


def test_sd_from_ranges_is_the_sd_of_normal_results():
    values = np.random.default_rng(3).normal(0, 2, 20_000)
    assert individuals_limits(values).sd == pytest.approx(2.0, rel=0.02)


def test_scores():
    assert z_scores([1.1, 0.9], target=1.0, sd=0.05) == pytest.approx([2.0, -2.0])


def test_drift_is_found_with_its_interval_and_is_not_found_in_noise():
    rng = np.random.default_rng(4)
    steady, moving = rng.normal(2, 0.05, 80), rng.normal(2, 0.05, 80) + 0.001 * np.arange(80)
    found = drift(moving)
    wanted = stats.linregress(np.arange(80), moving)
    assert (found.slope, found.p_value) == pytest.approx((wanted.slope, wanted.pvalue))
    assert found.low < 0.001 < found.high
    assert found.change == pytest.approx(79 * found.slope)
    assert found.kendall_p < 0.01
    calm = drift(steady)
    assert calm.low < 0 < calm.high
    assert drift([2.0] * 5).p_value == 1.0


def test_drift_per_day_is_not_drift_per_place():
    values = np.random.default_rng(6).normal(0, 1, 20)
    assert drift(values, at=7.0 * np.arange(20)).slope == pytest.approx(drift(values).slope / 7)


def test_empty_series_are_no_error_for_charts():
    assert len(cusum([], target=0.0, k=0.5, h=4.0).upper) == 0
    assert len(ewma([], target=0.0, sd=1.0).average) == 0
    assert len(z_scores([], target=0.0, sd=1.0)) == 0


def test_run_lengths_can_be_had_from_here():
    assert control_chart.cusum_arl is run_length.cusum_arl
    assert control_chart.ewma_arl is run_length.ewma_arl


@pytest.mark.parametrize(
    "call",
    [
        lambda: z_scores([1.0], target=1.0, sd=0.0),
        lambda: individuals_limits([1.0]),
        lambda: cusum([1.0], target=1.0, k=-0.1, h=4.0),
        lambda: cusum([1.0], target=1.0, k=0.5, h=0.0),
        lambda: cusum([1.0], target=1.0, k=0.5, h=4.0, head_start=4.0),
        lambda: cusum([float("nan")], target=1.0, k=0.5, h=4.0),
        lambda: ewma([1.0], target=1.0, sd=1.0, weight=0.0),
        lambda: ewma([1.0], target=1.0, sd=1.0, weight=1.1),
        lambda: ewma([1.0], target=1.0, sd=0.0),
        lambda: drift([1.0, 2.0, 3.0]),
        lambda: drift([1.0, 2.0, 3.0, 4.0], at=[1, 1, 1, 1]),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
