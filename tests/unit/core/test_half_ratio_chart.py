"""Saw alignment: signal, start and size of a shift; the sums against a plain reference; run lengths against chance."""

import numpy as np
import pytest

from trayside.core.control_chart import cusum
from trayside.core.cut_geometry import cut_pieces
from trayside.core.half_ratio_chart import alignment_run_length, half_ratio_chart
from trayside.errors import ImpossibleValue

CORE = {"core_diameter_mm": 63.5, "kerf_mm": 2.5}


def halves(offset, *, sd=0.0, seed=1):
    offset = np.asarray(offset, dtype=float)
    cut = cut_pieces(**CORE, offset_mm=offset)
    chance = np.random.default_rng(seed)
    kg = 2.7e-3 * chance.uniform(0.3, 1.5, offset.size)
    noise = np.exp(sd * chance.standard_normal(offset.size))
    return {"near_kg": cut.near_mm2 * kg * noise, "far_kg": cut.far_mm2 * kg}


@pytest.mark.parametrize(("shift", "toward"), [(2.5, "near half"), (-2.5, "far half")])
def test_a_saw_out_of_line_is_found_with_its_start_and_size(shift, toward):
    offset = np.full(80, 3.0)
    offset[40:] += shift
    chart = half_ratio_chart(**halves(offset, sd=0.04), **CORE, target_offset_mm=3.0, ratio_sd=0.04)
    first = chart.signals[0]
    assert 40 <= first.signal <= 43
    assert abs(first.start - 40) <= 1
    assert first.toward == toward
    assert first.offset_mm == pytest.approx(3.0 + shift, abs=4 * first.offset_standard_error_mm)
    assert first.shift_mm == pytest.approx(first.offset_mm - 3.0)


def test_without_noise_the_offset_is_exact():
    chart = half_ratio_chart(**halves([1.0, 1.0, 4.0, 4.0, 4.0]), **CORE, target_offset_mm=1.0)
    np.testing.assert_allclose(chart.offset_mm, [1.0, 1.0, 4.0, 4.0, 4.0], atol=1e-9)
    np.testing.assert_allclose(chart.z[:2], 0.0, atol=1e-10)
    signal = chart.signals[0]
    assert (signal.start, signal.toward) == (2, "near half")
    assert signal.offset_mm == pytest.approx(4.0)


def test_the_error_of_the_offset_is_that_of_chance():
    offset = np.full(2000, 4.0)
    case = halves(offset, sd=0.05, seed=6)
    chart = half_ratio_chart(**case, **CORE, target_offset_mm=4.0, ratio_sd=0.05, decision=1e9)
    one = half_ratio_chart(
        near_kg=case["near_kg"][:1] * 0.2, far_kg=case["far_kg"][:1], **CORE, target_offset_mm=4.0, ratio_sd=0.05
    ).signals[0]
    assert chart.signals == ()
    few = half_ratio_chart(**halves(np.full(10, 4.0)), **CORE, target_offset_mm=3.2, ratio_sd=0.05).signals[0]
    pairs = few.signal + 1 - few.start
    assert pairs > 1
    # The scatter of 2000 single offsets, 4 standard errors (1.6 % each).
    assert few.offset_standard_error_mm * np.sqrt(pairs) == pytest.approx(np.std(chart.offset_mm), rel=0.065)
    assert one.offset_standard_error_mm > 0.0


def test_sums_agree_with_a_plain_loop_and_with_the_control_chart_up_to_the_first_signal():
    case = halves(np.linspace(3.0, 4.0, 60), sd=0.05, seed=3)
    chart = half_ratio_chart(**case, **CORE, target_offset_mm=3.0)
    up = down = 0.0
    for t, z in enumerate(chart.z):
        up, down = max(0.0, up + z - 0.5), max(0.0, down - z - 0.5)
        assert (chart.high[t], chart.low[t]) == (up, down)
        if up > 5.0 or down > 5.0:
            break
    assert chart.signals[0].signal == t
    other = cusum(chart.z, target=0.0, k=0.5, h=5.0)
    np.testing.assert_allclose(chart.high[: t + 1], other.upper[: t + 1], atol=1e-12)
    np.testing.assert_allclose(chart.low[: t + 1], other.lower[: t + 1], atol=1e-12)


@pytest.mark.parametrize("seed", range(10))
def test_a_change_starts_after_the_sum_was_last_nothing(seed):
    case = halves(np.linspace(2.8, 3.9, 100), sd=0.05, seed=seed)
    chart = half_ratio_chart(**case, **CORE, target_offset_mm=3.0)
    first = chart.signals[0]
    side = chart.low if first.toward == "near half" else chart.high
    zeros = np.flatnonzero(side[: first.signal] == 0.0)
    assert first.start == (zeros[-1] + 1 if len(zeros) else 0)


def test_a_sum_that_is_barely_above_nothing_already_counts():
    cut = cut_pieces(**CORE, offset_mm=3.0)
    z = np.array([0.0, 0.55, 0.6, 6.0])
    near = cut.near_mm2 * np.exp(0.05 * z)
    chart = half_ratio_chart(near_kg=near, far_kg=np.full(4, cut.far_mm2), **CORE, target_offset_mm=3.0, ratio_sd=0.05)
    np.testing.assert_allclose(chart.high, [0.0, 0.05, 0.15, 5.65], atol=1e-9)
    assert [(signal.start, signal.signal) for signal in chart.signals] == [(1, 3)]


def test_after_a_signal_the_sums_start_anew():
    chart = half_ratio_chart(**halves(np.full(40, 6.0)), **CORE, target_offset_mm=3.0, ratio_sd=0.05)
    assert len(chart.signals) > 5
    for one, after in zip(chart.signals[:-1], chart.signals[1:], strict=True):
        assert after.start == one.signal + 1


def test_a_saw_in_line_is_left_alone_and_core_size_may_change_on_the_way():
    diameter = np.repeat([47.6, 63.5, 85.0], 20)
    chance = np.random.default_rng(4)
    cut = cut_pieces(core_diameter_mm=diameter, kerf_mm=2.5, offset_mm=3.0)
    chart = half_ratio_chart(
        near_kg=cut.near_mm2 * np.exp(0.02 * chance.standard_normal(60)), far_kg=cut.far_mm2,
        core_diameter_mm=diameter, kerf_mm=2.5, target_offset_mm=3.0, ratio_sd=0.02,
    )  # fmt: skip
    assert chart.signals == ()


def test_run_length_agrees_with_simulation():
    stated = alignment_run_length(**CORE, target_offset_mm=3.0, shift_mm=[0.5, 1.0, -1.0], ratio_sd=0.05)
    chance = np.random.default_rng(5)
    for k, shift in enumerate([0.5, 1.0, -1.0]):
        lengths = []
        cut = cut_pieces(**CORE, offset_mm=3.0 + shift)
        for _ in range(300):
            near = cut.near_mm2 * np.exp(0.05 * chance.standard_normal(120))
            chart = half_ratio_chart(
                near_kg=near, far_kg=np.full(120, cut.far_mm2), **CORE, target_offset_mm=3.0, ratio_sd=0.05
            )
            lengths.append(chart.signals[0].signal + 1)
        error = np.std(lengths) / np.sqrt(300)
        assert stated.pairs_to_signal[k] == pytest.approx(np.mean(lengths), abs=4 * error)
    assert stated.pairs_to_false_alarm > 100


def test_the_smaller_the_shift_the_longer_the_wait():
    wait = alignment_run_length(**CORE, target_offset_mm=3.0, shift_mm=[0.0, 0.3, 1.0, 3.0]).pairs_to_signal
    assert (np.diff(wait) < 0.0).all()


PAIRS = {"near_kg": [2.0, 2.1], "far_kg": [2.4, 2.5], "target_offset_mm": 3.0} | CORE


@pytest.mark.parametrize(
    "change",
    [
        {"near_kg": [0.0, 2.0]},
        {"far_kg": [np.nan, 2.0]},
        {"near_kg": 2.0, "far_kg": 2.0},
        {"kerf_mm": 70.0},
        {"target_offset_mm": 31.0},
        {"target_offset_mm": 40.0},
        {"ratio_sd": 0.0},
        {"decision": 0.0},
        {"allowance": -0.1},
        {"near_kg": [1.0, 2.0, 3.0]},
    ],
)
def test_impossible_pairs_are_refused(change):
    with pytest.raises(ImpossibleValue):
        half_ratio_chart(**PAIRS | change)


def test_a_shift_that_leaves_nothing_is_refused():
    with pytest.raises(ImpossibleValue):
        alignment_run_length(**CORE, target_offset_mm=3.0, shift_mm=28.0)
