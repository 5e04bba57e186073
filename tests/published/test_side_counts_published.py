"""Fisher's tea-tasting table: the oldest published worked example of the exact test.

R. A. Fisher, The Design of Experiments (1935), chapter 2: eight cups, four of each kind; three of four told rightly
comes about by chance in 17 of 70 ways one-sided, 34 of 70 two-sided; all four in 1 of 70, 2 of 70 two-sided
(from memory).
"""

import pytest

from trayside.core.side_counts import side_test


@pytest.mark.parametrize(("right", "ways_of_70"), [(4, 2), (3, 34)])
def test_the_tea_tasting_chances(right, ways_of_70):
    found = side_test(asked_count=[right, 4 - right], other_count=[4 - right, right])
    assert found.p_value[0] == pytest.approx(ways_of_70 / 70, abs=5e-10)
