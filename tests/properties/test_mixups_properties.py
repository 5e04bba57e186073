"""What must hold of the search for mix-ups, whatever the results."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.mixups import OUTSIDE, Expectations, Reports, search_mix_ups

ROWS = st.lists(
    st.tuples(st.floats(0.01, 100.0), st.floats(-3.0, 3.0), st.floats(0.5, 5.0), st.floats(0.5, 5.0), st.booleans()),
    min_size=1,
    max_size=25,
)


def search(rows, unit=1.0):
    value, mean, mass, expected, control = (np.array(one) for one in zip(*rows, strict=True))
    return search_mix_ups(
        reports=Reports(unit * value[:, None], None, mass),
        expected=Expectations(mean[:, None] + np.log(unit), np.full((len(rows), 1), 0.5), expected, 0.1),
        control=["A" if k % 2 else "B" if flag else None for k, flag in enumerate(control)],
        rack=[k // 6 for k in range(len(rows))],
    )


@given(ROWS)
def test_stories_do_not_overlap_and_have_their_odds(rows):
    found = search(rows)
    numbers = [number for one in found.found for number in one.numbers]
    assert len(numbers) == len(set(numbers))
    assert [one.log_odds for one in found.found] == sorted((one.log_odds for one in found.found), reverse=True)
    for one in found.found:
        assert one.log_odds >= np.log(100.0) - 1e-9
        assert one.log_gain > one.log_odds
        assert all(place == OUTSIDE or 0 <= place < len(rows) for place in one.holds)
        assert found.sample_of_number[list(one.numbers)].tolist() == list(one.holds)
        assert set(one.settlement.places) <= set(one.holds)


@given(ROWS)
def test_the_unit_of_the_element_does_not_matter(rows):
    one, other = search(rows), search(rows, unit=1000.0)
    assert [each.numbers for each in one.found] == [each.numbers for each in other.found]
    assert [each.log_gain for each in one.found] == pytest.approx([each.log_gain for each in other.found], abs=1e-6)
