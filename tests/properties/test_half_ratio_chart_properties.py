"""Properties that must hold for every row of pairs."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.half_ratio_chart import half_ratio_chart

PAIRS = st.lists(st.tuples(st.floats(0.5, 5.0), st.floats(0.5, 5.0)), min_size=1, max_size=40)


def chart_of(near, far, target):
    return half_ratio_chart(near_kg=near, far_kg=far, core_diameter_mm=63.5, kerf_mm=2.5, target_offset_mm=target)


@given(PAIRS, st.floats(-5.0, 5.0))
def test_exchanging_the_halves_mirrors_the_chart(pairs, target):
    near, far = np.array(pairs).T
    one, other = chart_of(near, far, target), chart_of(far, near, -target)
    np.testing.assert_allclose(one.z, -other.z, atol=1e-9)
    np.testing.assert_allclose(one.offset_mm, -other.offset_mm, atol=1e-9)


@given(PAIRS, st.floats(0.1, 10.0))
def test_length_and_density_drop_out(pairs, scale):
    near, far = np.array(pairs).T
    np.testing.assert_allclose(chart_of(near * scale, far * scale, 3.0).z, chart_of(near, far, 3.0).z, atol=1e-9)


@given(PAIRS)
def test_signals_are_in_order_and_above_the_limit(pairs):
    chart = chart_of(*np.array(pairs).T, 3.0)
    assert (chart.high >= 0.0).all()
    assert (chart.low >= 0.0).all()
    after = -1
    for signal in chart.signals:
        assert after < signal.start <= signal.signal
        assert max(chart.high[signal.signal], chart.low[signal.signal]) > chart.decision
        assert (signal.shift_mm > 0.0) == (signal.toward == "near half")
        after = signal.signal
    said = {signal.signal for signal in chart.signals}
    assert all(
        max(h, lo) <= chart.decision
        for t, (h, lo) in enumerate(zip(chart.high, chart.low, strict=True))
        if t not in said
    )
