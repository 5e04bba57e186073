"""Properties that must hold for every series of bags."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.identity_search import limit_test_power, search_identity, swap_power

MASS = st.floats(0.2, 10.0)


@st.composite
def series(draw):
    count = draw(st.integers(2, 20))
    masses = st.lists(MASS, min_size=count, max_size=count)
    return draw(masses), draw(masses), draw(st.floats(0.01, 0.3))


@given(MASS, st.lists(st.one_of(MASS, st.just(float("nan"))), min_size=2, max_size=20), st.floats(0.01, 0.3))
def test_equal_intervals_are_never_told_apart(predicted, measured, sd):
    search = search_identity(measured_kg=measured, predicted_kg=[predicted] * len(measured), relative_sd=sd)
    assert search.found == ()
    assert (search.interval_of_bag == np.arange(len(measured))).all()
    assert search.share_seen == 0.0


@settings(deadline=None)
@given(series())
def test_turning_the_series_round_turns_the_answer_round(bags):
    measured, predicted, sd = bags
    there = search_identity(measured_kg=measured, predicted_kg=predicted, relative_sd=sd)
    back = search_identity(measured_kg=measured[::-1], predicted_kg=predicted[::-1], relative_sd=sd)
    np.testing.assert_allclose(there.pairs.log_gain, back.pairs.log_gain[::-1], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(there.pairs.power, back.pairs.power[::-1], atol=0.002)


@given(series())
def test_what_is_found_is_within_the_series_apart_and_worth_saying(bags):
    measured, predicted, sd = bags
    search = search_identity(measured_kg=measured, predicted_kg=predicted, relative_sd=sd)
    after = -1
    for one in search.found:
        assert after < one.first < one.last < len(measured)
        assert one.odds >= 20.0
        assert one.first_earliest <= one.first <= one.first_latest
        assert one.last_earliest <= one.last <= one.last_latest
        after = one.last
    assert ((search.chance_wrong >= 0.0) & (search.chance_wrong <= 1.0 + 1e-12)).all()


@given(series(), st.floats(0.1, 10.0))
def test_the_unit_of_mass_does_not_matter(bags, scale):
    measured, predicted, sd = (np.array(part) for part in bags)
    one = search_identity(measured_kg=measured, predicted_kg=predicted, relative_sd=sd)
    other = search_identity(measured_kg=measured * scale, predicted_kg=predicted * scale, relative_sd=sd)
    np.testing.assert_allclose(one.pairs.log_gain, other.pairs.log_gain, rtol=1e-6, atol=1e-6)


@given(MASS, st.floats(1.0, 3.0), st.floats(1.0, 3.0), st.floats(0.01, 0.3))
def test_power_grows_with_the_difference(mass, small, more, sd):
    near, far = (
        swap_power(predicted_kg=[mass, mass * ratio], relative_sd=sd).share_seen for ratio in (small, small * more)
    )
    assert near <= far + 0.002
    assert 0.0 <= near <= 1.0


@given(st.floats(-2.0, 2.0), st.floats(0.01, 0.5), st.floats(0.5, 5.0))
def test_the_limit_test_does_not_care_which_bag_is_heavier(ratio, sd, limit):
    one = limit_test_power(log_ratio=ratio, relative_sd=sd, limit_sd=limit)
    assert one == pytest.approx(limit_test_power(log_ratio=-ratio, relative_sd=sd, limit_sd=limit))
    assert one >= limit_test_power(log_ratio=0.0, relative_sd=sd, limit_sd=limit) - 1e-12
