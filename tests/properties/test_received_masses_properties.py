"""Properties that must hold for every load."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.received_masses import NOT_RECEIVED, compare_received

BAGS = st.lists(
    st.tuples(st.floats(0.2, 20.0), st.one_of(st.just(float("nan")), st.floats(0.2, 20.0)), st.integers(0, 2)),
    min_size=1,
    max_size=20,
)


@given(BAGS)
def test_every_bag_gets_one_verdict_and_a_finite_expectation(bags):
    yard, laboratory, group = zip(*bags, strict=True)
    received = compare_received(yard_kg=yard, laboratory_kg=laboratory, group=group)
    assert len(received.verdict) == len(bags)
    assert np.isfinite(received.expected_kg).all()
    assert (received.relative_sd > 0.0).all()
    for verdict, mass in zip(received.verdict, laboratory, strict=True):
        assert (verdict == NOT_RECEIVED) == np.isnan(mass)
    assert sum(one.bags for one in received.groups) == sum(not np.isnan(mass) for mass in laboratory)


@given(BAGS, st.integers(0, 19), st.floats(0.2, 20.0))
def test_a_bag_never_judges_itself(bags, which, mass):
    which %= len(bags)
    changed = list(bags)
    changed[which] = (bags[which][0], mass, bags[which][2])
    if np.isnan(bags[which][1]):
        bags = changed
    one, other = (
        compare_received(yard_kg=yard, laboratory_kg=laboratory, group=group)
        for yard, laboratory, group in (zip(*rows, strict=True) for rows in (bags, changed))
    )
    assert one.expected_kg[which] == other.expected_kg[which]
    assert one.relative_sd[which] == other.relative_sd[which]
