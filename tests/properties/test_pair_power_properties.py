"""Power of pairs moves the way it must."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.pair_power import pairs_needed, power_of_pairs, smallest_bias

CV = st.floats(0.02, 1.5)
KNOWN = st.booleans()


@settings(deadline=None)
@given(st.integers(2, 1500), CV, KNOWN)
def test_more_pairs_show_a_smaller_bias(pairs, cv, known):
    one = smallest_bias(pairs=pairs, pair_cv=cv, sd_known=known)
    assert smallest_bias(pairs=pairs + 1, pair_cv=cv, sd_known=known) < one
    assert smallest_bias(pairs=pairs, pair_cv=cv * 1.1, sd_known=known) > one


@settings(deadline=None)
@given(CV, st.floats(0.05, 1.0), KNOWN)
def test_pairs_needed_and_smallest_bias_answer_each_other(cv, bias, known):
    count = pairs_needed(pair_cv=cv, bias=bias, sd_known=known)
    if count >= 2:
        assert smallest_bias(pairs=count, pair_cv=cv, sd_known=known) <= bias * (1 + 1e-6)
    if count > 2:
        assert smallest_bias(pairs=count - 1, pair_cv=cv, sd_known=known) > bias * (1 - 1e-6)


@settings(deadline=None)
@given(st.integers(2, 400), CV, st.floats(-0.6, 2.0), KNOWN)
def test_power_lies_between_the_level_and_one_and_is_even_in_the_logarithm(pairs, cv, bias, known):
    power = power_of_pairs(pairs=pairs, pair_cv=cv, bias=bias, sd_known=known)
    assert 0.05 - 1e-6 <= power <= 1.0 + 1e-9
    turned = power_of_pairs(pairs=pairs, pair_cv=cv, bias=1 / (1 + bias) - 1, sd_known=known)
    assert turned == pytest.approx(power, abs=1e-6)
