"""Blade life: intervals hold the middle, more confidence is wider, more rock cut leaves less."""

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from trayside.core.blade_life import blade_left, cut_since, learn_wear, starting_wear

WEAR = st.floats(0.05, 0.4)
STEPS = st.lists(st.floats(0.2, 6.0), min_size=1, max_size=8)


def learned(wear, steps, noise):
    start = starting_wear(rocks=["r"], new_height_mm=10, new_height_sd_mm=0.2, wear=0.2, wear_sd=0.08, scatter_mm=0.1)
    areas = np.cumsum(steps)
    heights = 10 - wear * areas + 0.1 * np.resize([1.0, -1.0], len(areas)) * noise
    assume((heights > 0).all())
    return learn_wear(belief=start, height_mm=heights, cut_m2=areas).belief


@given(WEAR, STEPS, st.floats(0.0, 2.0))
def test_the_interval_holds_the_middle_and_widens_with_confidence(wear, steps, noise):
    belief = learned(wear, steps, noise)
    narrow, wide = (
        blade_left(belief=belief, lowest_height_mm=1.0, core_diameter_mm=47.6, confidence=share)
        for share in (0.5, 0.95)
    )
    assert wide.low_m2 <= narrow.low_m2 <= narrow.area_m2 <= narrow.high_m2 <= wide.high_m2


@given(WEAR, STEPS, st.floats(0.0, 2.0), st.floats(0.0, 10.0))
def test_every_square_metre_cut_is_one_less(wear, steps, noise, more):
    belief = learned(wear, steps, noise)
    later = cut_since(belief=belief, area_m2=more)
    before, after = (blade_left(belief=one, lowest_height_mm=1.0, core_diameter_mm=47.6) for one in (belief, later))
    assert np.isclose(before.area_m2 - after.area_m2, more)
    assert np.isclose(before.low_m2 - after.low_m2, more)


@given(WEAR, STEPS, st.floats(0.0, 2.0))
def test_readings_only_sharpen_the_belief(wear, steps, noise):
    belief = learned(wear, steps, noise)
    assert np.linalg.eigvalsh(belief.covariance).min() > 0.0
    assert belief.covariance[0, 0] <= 0.2**2 + 1e-12
    assert belief.covariance[1, 1] <= 0.08**2 + 1e-12
