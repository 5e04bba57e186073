"""Refusals name the argument, the entry and the limit; nothing is clipped."""

from decimal import Decimal

import numpy as np
import pytest

from trayside.core.refusals import numbers, plain, together
from trayside.errors import ImpossibleValue


def test_first_bad_entry_is_named_with_its_value_and_the_count():
    with pytest.raises(ImpossibleValue) as caught:
        numbers([1.0, -2.0, -3.0], "kerf_mm", at_least=0.0)
    assert str(caught.value).startswith("kerf_mm, entry 1: -2 must be at least 0 (2 entries in all)")


@pytest.mark.parametrize(
    "bad", [None, float("nan"), float("inf"), -float("inf"), "47.6", True, 1 + 2j, [[1.0], "x"], object()]
)
def test_what_is_no_finite_number_is_refused(bad):
    with pytest.raises(ImpossibleValue, match="kerf_mm"):
        numbers(bad, "kerf_mm")


def test_infinity_passes_only_where_it_is_asked_for():
    assert numbers(np.inf, "lot_mass_g", above=0.0, infinite_ok=True) == np.inf
    with pytest.raises(ImpossibleValue):
        numbers(-np.inf, "lot_mass_g", above=0.0, infinite_ok=True)


def test_limits_are_open_or_closed_as_named():
    assert numbers(0, "x", at_least=0.0) == 0.0
    assert numbers(1, "x", at_most=1.0) == 1.0
    for limit in ({"above": 0.0}, {"below": 0.0}):
        with pytest.raises(ImpossibleValue):
            numbers(0.0, "x", **limit)


def test_exact_decimals_are_numbers():
    assert numbers(Decimal("47.6"), "x") == 47.6


def test_arrays_that_do_not_go_together_are_refused_with_their_shapes():
    with pytest.raises(ImpossibleValue, match=r"a \(2,\), b \(3,\)"):
        together(a=np.zeros(2), b=np.zeros(3))


def test_single_numbers_come_back_as_plain_floats():
    assert type(plain(np.asarray(2.0))) is float
    assert isinstance(plain(np.asarray([2.0])), np.ndarray)
