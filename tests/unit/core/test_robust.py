"""Robust centres: what moves them, what does not, and what is refused."""

import math

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from trayside.core.robust import (
    algorithm_a,
    algorithm_s,
    huber_beta,
    huber_location,
    huber_proposal_2,
    mad,
    mandel_paule,
    spread_constants,
    weights_of,
)
from trayside.errors import ImpossibleValue

CLEAN = np.random.default_rng(4).normal(50.0, 2.0, 400)


def test_beta_is_the_variance_of_a_censored_normal():
    for k in (0.5, 1.0, 1.5, 3.0):
        area = integrate.quad(lambda z, k=k: min(abs(z), k) ** 2 * stats.norm.pdf(z), -12, 12, points=[-k, 0, k])[0]
        assert huber_beta(k=k) == pytest.approx(area, abs=1e-9)
    assert huber_beta(k=1.5) == pytest.approx(0.7784652, abs=5e-8)


def test_proposal_2_solves_its_two_equations():
    # Independent route: scipy finds the root of the two equations.
    values = [*CLEAN[:40], 90.0, 91.0]
    n, k, beta = len(values), 1.5, huber_beta(k=1.5)

    def equations(both):
        z = np.clip((np.array(values) - both[0]) / both[1], -k, k)
        return [z.mean(), (z**2).sum() - (n - 1) * beta]

    mean, sd = optimize.fsolve(equations, [50.0, 2.0], xtol=1e-13)
    found = huber_proposal_2(values, tolerance=1e-13)
    assert found.mean == pytest.approx(mean, rel=1e-9)
    assert found.sd == pytest.approx(sd, rel=1e-9)


def test_wild_results_hardly_move_the_robust_mean():
    wild = [*CLEAN, *[5000.0] * 12]
    assert huber_proposal_2(wild).mean == pytest.approx(np.mean(CLEAN), abs=0.25)
    assert np.mean(wild) > 190
    assert huber_proposal_2(wild).pulled_in >= 12


def test_without_wild_results_the_sd_is_that_of_the_normal():
    sds = [huber_proposal_2(np.random.default_rng(seed).normal(0, 1, 2000)).sd for seed in range(20)]
    assert np.mean(sds) == pytest.approx(1.0, abs=0.01)


def test_a_very_large_k_gives_the_plain_mean_and_sd():
    found = huber_proposal_2(CLEAN, k=12.0)
    assert found.mean == pytest.approx(CLEAN.mean(), rel=1e-12)
    assert found.sd == pytest.approx(CLEAN.std(ddof=1), rel=1e-9)


def test_equal_results_have_no_spread_and_say_so():
    found = huber_proposal_2([3.0, 3.0, 3.0])
    assert (found.mean, found.sd, found.tied) == (3.0, 0.0, True)


def test_tied_results_start_from_the_plain_sd_and_are_flagged():
    found = huber_proposal_2([0.0] * 6 + [1.0] * 4)
    assert found.tied
    assert found.mean == pytest.approx(0.4)
    assert found.sd == pytest.approx(np.std([0.0] * 6 + [1.0] * 4, ddof=1) / math.sqrt(huber_beta(k=1.5)))
    assert huber_proposal_2([0.0] * 9 + [1.0]).sd == 0.0


def test_huge_and_tiny_numbers_do_not_overflow():
    for scale in (1e-150, 1e150):
        found = huber_proposal_2(CLEAN * scale)
        assert found.sd / scale == pytest.approx(huber_proposal_2(CLEAN).sd, rel=1e-9)


def test_algorithm_a_and_proposal_2_differ_only_by_rounded_constants():
    assert algorithm_a(CLEAN).sd == pytest.approx(huber_proposal_2(CLEAN).sd, rel=2e-3)


def test_standard_error_of_the_robust_mean():
    found = algorithm_a(CLEAN)
    assert found.standard_error == pytest.approx(1.25 * found.sd / 20.0)


def test_location_refuses_results_without_a_mad():
    with pytest.raises(ImpossibleValue, match="huber_proposal_2"):
        huber_location([1.0, 1.0, 1.0, 5.0])


def test_weights_show_who_was_held_back():
    values = [*CLEAN[:30], 100.0]
    centre = huber_proposal_2(values)
    weights = weights_of(values, centre)
    assert weights[-1] == pytest.approx(1.5 * centre.sd / (100.0 - centre.mean))
    assert weights.max() == 1.0
    # The weighted mean is the robust mean: one more reading of the same equation.
    assert np.average(values, weights=weights) == pytest.approx(centre.mean, abs=1e-5 * centre.sd)


def test_mad_by_hand():
    assert mad([1.0, 2.0, 4.0, 9.0]) == 1.5
    assert mad([1.0, 2.0, 4.0, 9.0], factor=2.0) == 3.0


@pytest.mark.parametrize("degrees", [1, 2, 7])
def test_constants_of_algorithm_s_by_simulation(degrees):
    eta, xi = spread_constants(degrees_of_freedom=degrees)
    spreads = np.sqrt(np.random.default_rng(degrees).chisquare(degrees, 400_000) / degrees)
    assert np.mean(spreads > eta) == pytest.approx(0.1, abs=0.002)
    assert xi * np.sqrt(np.mean(np.minimum(spreads, eta) ** 2)) == pytest.approx(1.0, abs=0.003)


def test_algorithm_s_is_not_moved_by_one_wild_range():
    spreads = np.abs(np.random.default_rng(0).normal(0, 1, 300))
    calm = algorithm_s(spreads).pooled
    assert algorithm_s([*spreads, 500.0]).pooled == pytest.approx(calm, rel=0.02)
    with pytest.raises(ImpossibleValue, match="rounded"):
        algorithm_s([0.0, 0.0, 0.0, 1.0])


def test_mandel_paule_meets_its_own_condition():
    means, variances = np.array([3.0, 3.4, 2.2, 4.1]), np.array([0.01, 0.02, 0.01, 0.05])
    found = mandel_paule(means, variances)
    weighted = ((means - found.mean) ** 2 / (variances + found.between_variance)).sum()
    assert weighted == pytest.approx(3.0, rel=1e-9)
    assert not found.homogeneous


def test_mandel_paule_of_agreeing_results_is_the_weighted_mean():
    found = mandel_paule([3.0, 3.01], [0.04, 0.01])
    assert found.homogeneous
    assert found.between_variance == 0.0
    assert found.mean == pytest.approx((3.0 / 0.04 + 3.01 / 0.01) / 125)
    assert found.standard_error == pytest.approx(math.sqrt(1 / 125))


@pytest.mark.parametrize(
    "call",
    [
        lambda: huber_proposal_2([1.0]),
        lambda: huber_proposal_2([1.0, float("nan"), 2.0]),
        lambda: huber_proposal_2([1.0, 2.0], k=0.0),
        lambda: huber_proposal_2([[1.0, 2.0], [3.0, 4.0]]),
        lambda: huber_proposal_2(["1", "2"]),
        lambda: huber_proposal_2([1.0, 2.0], tolerance=0.0),
        lambda: algorithm_a([1.0, 2.0], rounds=0),
        lambda: algorithm_s([-1.0, 2.0]),
        lambda: mandel_paule([1.0, 2.0], [0.1]),
        lambda: mandel_paule([1.0, 2.0], [0.1, 0.0]),
        lambda: mad([]),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
