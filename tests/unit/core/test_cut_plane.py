"""Best cut planes against brute force; the cost curve, its tolerance, the cost of the line, verdicts and speed."""

from time import perf_counter

import numpy as np
import pytest

from trayside.core.cut_plane import (
    absolute_cut,
    best_cut_deg,
    cost_curve,
    cost_of_cut,
    cut_verdict,
    direction_chance,
    free_turn_deg,
    squares_cut,
    vein_weight,
)
from trayside.errors import ImpossibleValue


def some_veins(seed, count=40):
    chance = np.random.default_rng(seed)
    return chance.uniform(-400, 800, count), chance.exponential(2.0, count)


def brute(beta, weight, cut, power):
    """Sum over the veins, written out."""
    sines = np.abs(np.sin(np.radians(np.asarray(cut)[..., None] - beta)))
    return (weight * sines**power).sum(axis=-1)


@pytest.mark.parametrize("seed", range(12))
def test_squares_optimum_beats_every_angle_tried(seed):
    beta, weight = some_veins(seed)
    fine = np.arange(0, 180, 0.01)
    costs = brute(beta, weight, fine, 2)
    best = squares_cut(beta_deg=beta, weight=weight)
    assert best.least_cost <= costs.min() + 1e-9
    assert best.least_cost == pytest.approx(costs.min(), rel=1e-6)
    assert best.largest_cost == pytest.approx(costs.max(), rel=1e-6)
    away = abs((best.cut_deg - fine[costs.argmin()] + 90) % 180 - 90)
    assert away < 0.011
    assert best_cut_deg(beta_deg=beta, weight=weight) == best.cut_deg
    assert 0 <= best.cut_deg < 180


@pytest.mark.parametrize("seed", range(12))
def test_absolute_optimum_beats_every_angle_tried(seed):
    beta, weight = some_veins(seed)
    tried = np.concatenate((np.arange(0, 180, 0.01), np.mod(beta, 180)))
    costs = brute(beta, weight, tried, 1)
    best = absolute_cut(beta_deg=beta, weight=weight)
    assert best.least_cost == pytest.approx(costs.min(), rel=1e-9)
    assert brute(beta, weight, best.cut_deg, 1) == pytest.approx(best.least_cost, rel=1e-9)
    assert np.abs((best.cut_deg - beta + 90) % 180 - 90).min() < 1e-9


@pytest.mark.parametrize(("measure", "power"), [("squares", 2), ("absolute", 1)])
def test_cost_curve_is_the_sum_written_out(measure, power):
    beta, weight = some_veins(3)
    cut = np.linspace(-200, 500, 333)
    got = cost_curve(beta_deg=beta, weight=weight, cut_deg=cut, measure=measure)
    assert got == pytest.approx(brute(beta, weight, cut, power), rel=1e-10)
    assert isinstance(cost_curve(beta_deg=beta, weight=weight, cut_deg=10, measure=measure), float)


def test_veins_without_weight_are_not_candidates():
    best = absolute_cut(beta_deg=[10, 50, 90], weight=[1, 1, 0])
    assert best.tied_deg == pytest.approx([10, 50])


def test_a_plane_is_never_called_180():
    for beta in (-1e-20, 180.0, 360.0, -180.0, 179.99999999999999):
        assert 0 <= absolute_cut(beta_deg=[beta], weight=1).cut_deg < 180
        assert 0 <= best_cut_deg(beta_deg=[beta], weight=1) < 180


def test_groups_are_solved_each_for_itself():
    beta, weight = some_veins(5)
    group = np.arange(beta.size) % 3
    together = squares_cut(beta_deg=beta, weight=weight, group=group)
    for number in range(3):
        alone = squares_cut(beta_deg=beta[group == number], weight=weight[group == number])
        assert together.cut_deg[number] == pytest.approx(alone.cut_deg)
        assert together.least_cost[number] == pytest.approx(alone.least_cost)


def test_no_plane_is_best_for_veins_that_cancel():
    assert np.isnan(best_cut_deg(beta_deg=[0, 90], weight=1))
    assert np.isnan(best_cut_deg(beta_deg=[0, 60, 120], weight=2))
    assert cost_of_cut(beta_deg=[0, 90], weight=1).times_best == 1


def test_cost_of_following_the_line():
    beta, weight = some_veins(8)
    got = cost_of_cut(beta_deg=beta, weight=weight)
    costs = brute(beta, weight, np.arange(0, 180, 0.01), 2) / weight.sum()
    assert got.cost == pytest.approx(brute(beta, weight, 0.0, 2) / weight.sum())
    assert (got.least_cost, got.largest_cost) == pytest.approx((costs.min(), costs.max()), rel=1e-6)
    assert got.times_best == pytest.approx(np.sqrt(got.cost / costs.min()), rel=1e-6)
    # Derived: a turn t from the best plane adds R sin^2 t.
    spread = got.largest_cost - got.least_cost
    assert got.cost == pytest.approx(got.least_cost + spread * np.sin(np.radians(got.turn_deg)) ** 2)
    alike = cost_of_cut(beta_deg=[35, 215], weight=1)
    assert alike.turn_deg == pytest.approx(35)
    assert alike.times_best == np.inf


@pytest.mark.parametrize("alignment", [0.02, 0.1, 0.5, 1.0])
def test_free_turn_is_where_the_cost_has_risen_by_the_allowance(alignment):
    half = np.degrees(np.arccos(alignment)) / 2  # two veins this far to both sides have that alignment
    beta = np.array([70 - half, 70 + half])
    assert squares_cut(beta_deg=beta, weight=1).alignment == pytest.approx(alignment)
    turn = free_turn_deg(alignment=alignment, allowed_rise=0.03)
    rise = (brute(beta, 1, 70 + turn, 2) - brute(beta, 1, 70.0, 2)) / 2
    assert rise == pytest.approx(min(0.03, alignment), abs=1e-9)
    assert (turn == 90) == (alignment <= 0.03)


def test_free_turn_of_one_direction_is_ten_degrees_by_default():
    assert free_turn_deg(alignment=1.0) == pytest.approx(10, abs=0.05)


def test_weight_is_metal_squared_times_chance_of_a_clip():
    got = vein_weight(alpha_deg=[30, 90], thickness_mm=4, grade=[3, 3])
    assert got == pytest.approx([(3 * 4 / 0.5) ** 2 * np.sqrt(3), 0])


def test_chance_of_an_alignment_agrees_with_random_veins():
    chance = np.random.default_rng(2)
    for weight in (np.ones(30), chance.exponential(1, 30)):
        values = np.array([direction_chance(beta_deg=chance.uniform(0, 360, 30), weight=weight) for _ in range(4000)])
        assert np.mean(values <= 0.05) == pytest.approx(0.05, abs=0.015)
        assert np.mean(values <= 0.5) == pytest.approx(0.5, abs=0.04)


def test_one_heavy_vein_does_not_make_a_direction():
    assert direction_chance(beta_deg=[20, 100, 150], weight=[1000, 1, 1]) > 0.3


SIDES = {"best_imbalance": 0.02, "worst_imbalance": 0.08, "line_imbalance": 0.06}
FABRIC = np.random.default_rng(4).normal(60, 15, 60)


@pytest.mark.parametrize(
    ("beta", "sides", "case", "matters"),
    [
        (FABRIC, {}, "turn the core", True),
        (FABRIC - 55, {}, "the line will do", True),
        (FABRIC, {"worst_imbalance": 0.03}, "halves alike anyway", False),
        (np.arange(0, 180, 3.0), {}, "no preferred plane", False),
        (FABRIC[:4], {}, "too few veins", False),
    ],
)
def test_verdict_names_the_case_and_gives_numbers(beta, sides, case, matters):
    got = cut_verdict(beta_deg=beta, weight=1, **SIDES | sides)
    assert (got.case, got.matters) == (case, matters)
    assert any(sign.isdigit() for sign in got.words)
    assert ("does not matter" in got.words) == (not matters)
    assert got.vein_count == len(beta)


@pytest.mark.parametrize(
    ("bad", "where"),
    [
        ({"beta_deg": []}, "no veins"),
        ({"weight": -1}, "weight"),
        ({"weight": [0, 0, 0]}, "weight"),
        ({"beta_deg": [1, float("nan"), 2]}, "beta_deg"),
        ({"weight": [1, 2]}, "do not go together"),
    ],
)
def test_impossible_veins_are_refused(bad, where):
    with pytest.raises(ImpossibleValue, match=where):
        best_cut_deg(**{"beta_deg": [10, 20, 30], "weight": 1} | bad)


def test_impossible_choices_are_refused():
    with pytest.raises(ImpossibleValue, match="squares, absolute"):
        cost_curve(beta_deg=[1], weight=1, cut_deg=0, measure="cubes")
    with pytest.raises(ImpossibleValue, match="group"):
        squares_cut(beta_deg=[1, 2], weight=1, group=[0.5, 1])
    with pytest.raises(ImpossibleValue, match="nothing to share"):
        squares_cut(beta_deg=[1, 2], weight=1, group=[0, 2])
    with pytest.raises(ImpossibleValue, match="worst_imbalance"):
        cut_verdict(beta_deg=[1], weight=1, **SIDES | {"worst_imbalance": 2})


def test_a_hundred_thousand_veins_take_less_than_a_second():
    beta, weight = some_veins(1, 100_000)
    start = perf_counter()
    best_cut_deg(beta_deg=beta, weight=weight)
    absolute_cut(beta_deg=beta, weight=weight)
    cost_curve(beta_deg=beta, weight=weight, cut_deg=np.arange(0, 180, 1.0), measure="absolute")
    assert perf_counter() - start < 1.0
