"""Learning times: beliefs stay beliefs, and every entry pulls toward itself."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.cutting_time import TimeLog, learn_times, minutes_per_metre, starting_times

LOGS = st.lists(
    st.tuples(
        st.sampled_from(["a", "b"]), st.sampled_from([47.6, 63.5]), st.floats(0.5, 30.0), st.floats(1.0, 40.0), st.booleans()
    ),
    min_size=1, max_size=12,
)  # fmt: skip


def entry(rock, size, metres, rate, total):
    minutes = metres * rate
    return TimeLog(rock, size, metres, **({"total_min": minutes} if total else {"cutting_min": minutes}))


@given(LOGS)
def test_the_covariance_shrinks_and_stays_positive(rows):
    start = starting_times(rocks=["a", "b"], core_diameter_mm=[47.6, 63.5])
    found = learn_times(belief=start, logs=[entry(*row) for row in rows]).belief
    assert np.linalg.eigvalsh(found.covariance).min() > 0.0
    assert (np.diag(found.covariance) <= np.diag(start.covariance) + 1e-12).all()
    assert found.logs == len(rows)


@given(LOGS)
def test_an_entry_never_pushes_the_belief_away_from_itself(rows):
    belief = starting_times(rocks=["a", "b"], core_diameter_mm=[47.6, 63.5])
    for rock, size, metres, rate, total in rows:
        where = dict(rock=rock, core_diameter_mm=size)
        before = minutes_per_metre(belief=belief, **where)
        belief = learn_times(belief=belief, logs=[entry(rock, size, metres, rate, total)]).belief
        after = minutes_per_metre(belief=belief, **where)
        was, now = (one.minutes if total else one.cutting for one in (before, after))
        assert abs(math.log(now / rate)) <= abs(math.log(was / rate)) + 1e-6
        assert after.low <= after.minutes <= after.high
