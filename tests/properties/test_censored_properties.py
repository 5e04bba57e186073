"""What must hold of results below limits, whatever they are."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.censored import below_curve

LISTS = st.lists(st.tuples(st.floats(0.01, 100.0), st.booleans()), min_size=1, max_size=40).filter(
    lambda rows: not all(below for _, below in rows)
)


@given(LISTS)
def test_the_curve_rises_to_one_and_its_bounds_hold_the_naive_ones(rows):
    values, below = np.array([v for v, _ in rows]), np.array([b for _, b in rows])
    curve = below_curve(values=values, censored=below)
    assert (np.diff(curve.share_at_or_below) >= -1e-12).all()
    assert curve.share_at_or_below[-1] == pytest.approx(1.0)
    # Nothing can be lower than zero in place of every limit, nor higher than the limit itself.
    assert curve.mean_low >= np.where(below, 0.0, values).mean() - 1e-9
    assert curve.mean_low <= curve.mean_high + 1e-12
    assert curve.mean_high <= max(values) + 1e-9


@given(LISTS, st.randoms())
def test_order_of_the_results_does_not_matter(rows, chance):
    turned = list(rows)
    chance.shuffle(turned)
    one, other = (below_curve(values=[v for v, _ in each], censored=[b for _, b in each]) for each in (rows, turned))
    assert one.mean_low == pytest.approx(other.mean_low)
    assert one.share_at_or_below == pytest.approx(other.share_at_or_below)
