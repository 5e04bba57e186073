"""Robust split of variance: the classical one when all is normal, unmoved when something is wild."""

import numpy as np
import pytest

from trayside.core.variance import nested_components
from trayside.core.variance_robust import nested_components_robust
from trayside.errors import ImpossibleValue


def drawn(seed, targets=200, samples=2, analyses=2):
    rng = np.random.default_rng(seed)
    return (
        100
        + rng.normal(0, 3, (targets, 1, 1))
        + rng.normal(0, 2, (targets, samples, 1))
        + rng.normal(0, 1, (targets, samples, analyses))
    )


@pytest.mark.parametrize("shape", [(2, 2), (3, 2), (2, 4), (3, 3)])
def test_normal_results_give_the_components_put_in(shape):
    found = [nested_components_robust(drawn(seed, 200, *shape)) for seed in range(25)]
    assert np.mean([one.target for one in found]) == pytest.approx(9.0, rel=0.08)
    assert np.mean([one.sampling for one in found]) == pytest.approx(4.0, rel=0.08)
    assert np.mean([one.analysis for one in found]) == pytest.approx(1.0, rel=0.05)


def test_a_few_wild_analyses_hardly_move_it():
    values = drawn(1)
    calm = nested_components_robust(values)
    values[::20, 0, 0] += 500.0
    wild, classical = nested_components_robust(values), nested_components(values)
    assert wild.analysis < 2.0 * calm.analysis
    assert wild.sampling < 2.0 * calm.sampling
    assert classical.analysis > 1000 * calm.analysis


def test_level_and_scale_carry_through():
    values = drawn(2, 20)
    plain, moved = nested_components_robust(values), nested_components_robust(10 * values - 70)
    assert moved.mean == pytest.approx(10 * plain.mean - 70)
    assert moved.sampling == pytest.approx(100 * plain.sampling, rel=1e-9)


def test_results_that_do_not_scatter_have_no_variance():
    found = nested_components_robust(np.full((4, 2, 2), 7.0))
    assert (found.mean, found.target, found.sampling, found.analysis) == (7.0, 0.0, 0.0, 0.0)


def test_rounded_analyses_without_a_mad_still_have_a_variance():
    values = drawn(3, 30)
    values[:, :, 1] = values[:, :, 0]
    values[0, 0, 1] += 0.5
    assert nested_components_robust(values).analysis == 0.0  # one in sixty differs: the spread dies away
    values[:, 0, 1] += 0.5
    assert nested_components_robust(values).analysis > 0.0


@pytest.mark.parametrize("bad", [np.ones((3, 2)), np.ones((1, 2, 2)), np.full((3, 2, 2), np.inf)])
def test_impossible_input_is_refused(bad):
    with pytest.raises(ImpossibleValue):
        nested_components_robust(bad)


def test_negative_components_are_named():
    values = np.array(
        [[[1.0, 1.3], [3.0, 3.1]], [[3.0, 2.8], [1.0, 1.1]], [[1.1, 1.0], [3.2, 3.1]], [[3, 3.1], [1.2, 1]]]
    )
    found = nested_components_robust(values)
    assert found.target < 0
    assert "target" in found.negative
