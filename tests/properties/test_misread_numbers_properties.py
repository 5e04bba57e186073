"""Properties that must hold for every two lists of numbers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.misread_numbers import DEFAULT_COSTS, misread_distance, suggest_numbers

NUMBER = st.text(alphabet="V01O7-", min_size=1, max_size=6)


@given(NUMBER, NUMBER)
def test_distance_is_the_same_both_ways_and_nothing_only_for_equals(one, other):
    there = misread_distance(one=one, other=other)
    assert there == pytest.approx(misread_distance(one=other, other=one))
    assert (there == 0.0) == (one == other)
    assert there <= DEFAULT_COSTS.one_too_many * (len(one) + len(other))


@given(st.sets(NUMBER, max_size=6), st.sets(NUMBER, max_size=6))
def test_no_number_is_suggested_twice_nor_beyond_the_limit(unknown, missing):
    unknown, missing = sorted(unknown - missing), sorted(missing)
    found = suggest_numbers(unknown=unknown, missing=missing)
    assert [one.unknown for one in found] == unknown
    given_out = [one.suggestion for one in found if one.suggestion is not None]
    assert len(set(given_out)) == len(given_out)
    for one in found:
        if one.suggestion is None:
            assert not one.clear
        else:
            assert one.suggestion in missing
            assert one.distance == pytest.approx(misread_distance(one=one.unknown, other=one.suggestion))
            assert one.distance <= DEFAULT_COSTS.farthest
            assert one.suggestion not in one.rivals


@given(st.lists(st.integers(0, 99999), min_size=1, max_size=8, unique=True), st.randoms(use_true_random=False))
def test_one_misread_number_among_distant_ones_is_found(serials, chance):
    missing = [f"V{serial * 1000:08d}" for serial in serials]
    which = chance.randrange(len(missing))
    misread = missing[which].replace("0", "O", 1)
    (one,) = suggest_numbers(unknown=[misread], missing=missing)
    assert one.suggestion == missing[which]
    assert one.distance == pytest.approx(DEFAULT_COSTS.look_alike)
