"""Properties that must hold for every set of bags."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.mass_residuals import bag_causes, judge_by_others, mass_residuals

MASSES = st.lists(st.tuples(st.floats(0.1, 20.0), st.floats(0.1, 20.0), st.integers(0, 2)), min_size=1, max_size=25)


@given(MASSES, st.randoms(use_true_random=False))
def test_the_order_of_the_bags_does_not_matter(bags, shuffler):
    order = list(range(len(bags)))
    shuffler.shuffle(order)

    def scores(rows):
        measured, predicted, group = zip(*rows, strict=True)
        return mass_residuals(
            measured_kg=measured, predicted_kg=predicted, predicted_sd_kg=0.05 * np.array(predicted), group=group
        ).score

    np.testing.assert_allclose(scores([bags[i] for i in order]), scores(bags)[order], rtol=1e-9, atol=1e-9)


@given(MASSES, st.floats(0.1, 10.0))
def test_the_unit_of_mass_does_not_matter(bags, scale):
    measured, predicted, group = (np.array(column) for column in zip(*bags, strict=True))
    one, other = (
        mass_residuals(
            measured_kg=measured * by,
            predicted_kg=predicted * by,
            predicted_sd_kg=predicted * by / 20,
            group=list(group),
        )
        for by in (1.0, scale)
    )
    np.testing.assert_allclose(one.score, other.score, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(one.expected_kg * scale, other.expected_kg, rtol=1e-9)


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=20), st.data())
def test_a_value_never_judges_itself(values, data):
    which = data.draw(st.integers(0, len(values) - 1))
    changed = list(values)
    changed[which] = data.draw(st.floats(-1e6, 1e6))
    one, other = judge_by_others(values), judge_by_others(changed)
    assert (one.middle[which], one.spread[which]) == (other.middle[which], other.spread[which])
    assert (one.spread > 0.0).all()


@given(st.floats(0.001, 1000.0), st.floats(0.1, 10.0), st.floats(0.01, 0.5), st.floats(0.1, 10.0))
def test_shares_of_the_causes_add_up_to_one(measured, planned, sd, after):
    causes = bag_causes(
        measured_kg=measured, as_planned_kg=planned, relative_sd=sd, recovered_length_m=1.0, after_kg=after
    )
    assert causes.share.sum() == pytest.approx(1.0)
    assert (causes.share >= 0.0).all()
    ranked = causes.ranked(0, least_share=0.0)
    assert [one.share for one in ranked] == sorted((one.share for one in ranked), reverse=True)
