"""Properties that must hold for every belief and bag."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.mass_learning import learn_from_bag, learn_from_bags, starting_belief

CORE = {"core_diameter_mm": 63.5, "kerf_mm": 2.5}
BAG = st.tuples(
    st.sampled_from("ab"), st.sampled_from("AB"), st.floats(0.5, 20.0), st.one_of(st.none(), st.floats(0.5, 20.0)),
    st.floats(0.2, 3.0),
)  # fmt: skip


def start():
    return starting_belief(
        rocks="ab", density_t_m3=[2.7, 3.5], density_sd_t_m3=[0.1, 0.3], saws="AB", offset_mm=3.0, offset_sd_mm=1.0
    )


@given(st.lists(BAG, min_size=1, max_size=10))
def test_every_bag_only_ever_makes_the_belief_surer(bags):
    belief = start()
    for rock, saw, near, far, length in bags:
        after = learn_from_bag(
            belief=belief, rock=rock, saw=saw, near_kg=near, far_kg=far, recovered_length_m=length, **CORE
        )
        less = belief.covariance - after.belief.covariance
        assert np.linalg.eigvalsh(less).min() > -1e-9
        assert np.linalg.eigvalsh(after.belief.covariance).min() > 0.0
        assert 0.0 < after.weight[0] <= 1.0
        belief = after.belief


@given(BAG)
def test_one_bag_with_full_weight_is_the_same_both_ways(bag):
    rock, saw, near, _, length = bag
    case = {"near_kg": near, "recovered_length_m": length, **CORE}
    single = learn_from_bag(belief=start(), rock=rock, saw=saw, **case)
    listed = learn_from_bags(belief=start(), rock=[rock], saw=[saw], **case)
    np.testing.assert_allclose(single.score, listed.score, rtol=1e-6)
    np.testing.assert_allclose(single.weight, listed.weight, rtol=1e-6)
    np.testing.assert_allclose(single.belief.mean, listed.belief.mean, rtol=1e-6)
