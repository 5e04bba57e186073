"""Domains of one cut plane: the search against all divisions, breaks where they were put, none in noise."""

from itertools import combinations, pairwise
from time import perf_counter

import numpy as np
import pytest

from trayside.core.cut_domains import cheapest_domains, cut_domains
from trayside.core.cut_plane import squares_cut
from trayside.errors import ImpossibleValue


def hole(seed, planes, count=300, spread=20.0, length=300.0):
    """Veins whose plane changes at even depths."""
    chance = np.random.default_rng(seed)
    depth = np.sort(chance.uniform(0, length, count))
    plane = np.array(planes)[np.minimum((depth / length * len(planes)).astype(int), len(planes) - 1)]
    return {
        "depth_m": depth,
        "beta_deg": plane + chance.normal(0, spread, count),
        "weight": chance.exponential(1, count),
    }


def cost_of(first, beta, weight):
    edges = [0, *first, beta.size]
    total = 0.0
    for a, b in pairwise(edges):
        if weight[a:b].any():
            total += squares_cut(beta_deg=beta[a:b], weight=weight[a:b]).least_cost
    return total


def all_divisions(beta, weight, may_start, penalty, fewest):
    places = [at for at in range(1, beta.size) if may_start[at]]
    best = np.inf
    for many in range(len(places) + 1):
        for first in combinations(places, many):
            edges = [0, *first, beta.size]
            if all(b - a >= fewest for a, b in pairwise(edges)):
                best = min(best, cost_of(first, beta, weight) + penalty * many)
    return best


@pytest.mark.parametrize("fewest", [1, 2, 3])
@pytest.mark.parametrize("penalty", [0.0, 0.3, 1.0, 5.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_search_agrees_with_all_divisions(seed, penalty, fewest):
    chance = np.random.default_rng(seed)
    beta, weight = chance.uniform(0, 360, 11), chance.exponential(1, 11)
    weight[4] = 0.0
    may_start = chance.random(11) < 0.8
    got = cheapest_domains(beta_deg=beta, weight=weight, may_start=may_start, penalty=penalty, fewest_veins=fewest)
    assert got.cost == pytest.approx(cost_of(got.first_vein, beta, weight), abs=1e-9)
    assert all(may_start[at] for at in got.first_vein)
    expected = all_divisions(beta, weight, may_start, penalty, fewest)
    assert got.cost + penalty * got.first_vein.size == pytest.approx(expected, abs=1e-9)


def written_out(beta, weight, penalty, fewest):
    """The same search without dropping any start; cost with penalties."""
    double = np.radians(2 * beta)
    columns = (weight, weight * np.cos(double), weight * np.sin(double))
    whole, cos, sin = (np.concatenate(([0], np.cumsum(column))) for column in columns)
    best = np.full(beta.size + 1, np.inf)
    best[0] = -penalty
    for end in range(fewest, beta.size + 1):
        start = np.arange(end - fewest + 1)
        cost = 0.5 * (whole[end] - whole[start] - np.hypot(cos[end] - cos[start], sin[end] - sin[start]))
        best[end] = (best[start] + cost).min() + penalty
    return best[-1]


@pytest.mark.parametrize(("fewest", "penalty"), [(1, 4.0), (1, 0.5), (4, 0.5), (8, 0.5), (8, 4.0)])
def test_dropping_starts_changes_nothing_in_long_rows(fewest, penalty):
    for seed in range(12):
        chance = np.random.default_rng(seed)
        beta = np.repeat([10.0, 80, 30, 140], 50) + chance.normal(0, 25, 200)
        got = cheapest_domains(
            beta_deg=beta, weight=1.0, may_start=np.ones(200, dtype=bool), penalty=penalty, fewest_veins=fewest
        )
        assert got.cost + penalty * got.first_vein.size == pytest.approx(
            written_out(beta, np.ones(200), penalty, fewest), abs=1e-8
        )


def test_fewest_veins_is_kept_exactly_where_few_heavy_veins_decide():
    # A start that looks too dear may still be the only one far enough above the next end.
    for seed in range(100):
        chance = np.random.default_rng(seed)
        count, fewest = int(chance.integers(10, 40)), int(chance.integers(3, 8))
        beta, weight = chance.choice([0.0, 45.0, 90.0], count), chance.choice([0.1, 1.0, 10.0], count)
        got = cheapest_domains(
            beta_deg=beta, weight=weight, may_start=np.ones(count, dtype=bool), penalty=0.1, fewest_veins=fewest
        )
        assert got.cost + 0.1 * got.first_vein.size == pytest.approx(written_out(beta, weight, 0.1, fewest), abs=1e-8)


def test_breaks_are_found_where_the_plane_changes():
    got = cut_domains(**hole(1, [30, 75, 30]), seed=1)
    assert got.break_m == pytest.approx([100, 200], abs=10)
    assert got.cut_deg == pytest.approx([30, 75, 30], abs=6)
    assert got.turn_deg == pytest.approx([45, 45], abs=8)
    assert (got.chance <= 0.05).all()
    assert got.cost < got.one_plane_cost
    assert got.first_vein[1:].tolist() == (got.last_vein[:-1] + 1).tolist()


def test_each_domain_has_its_own_best_plane():
    veins = hole(2, [20, 110])
    got = cut_domains(**veins, seed=1)
    total = veins["weight"].sum()
    costs = []
    for first, last, plane, alignment in zip(got.first_vein, got.last_vein, got.cut_deg, got.alignment, strict=True):
        one = squares_cut(beta_deg=veins["beta_deg"][first : last + 1], weight=veins["weight"][first : last + 1])
        assert (plane, alignment) == pytest.approx((one.cut_deg, one.alignment))
        costs.append(one.least_cost / total)
    assert got.cost == pytest.approx(sum(costs))
    assert got.one_plane_cost == pytest.approx(
        squares_cut(beta_deg=veins["beta_deg"], weight=veins["weight"]).least_cost / total
    )


@pytest.mark.parametrize("spread", [25.0, 200.0])
def test_noise_gives_no_breaks(spread):
    # 60 holes at a chance of 0.05 each: more than 8 with breaks has a chance below 0.005.
    broken = sum(cut_domains(**hole(seed, [60], spread=spread), seed=seed).break_m.size > 0 for seed in range(60))
    assert broken <= 8


def test_a_change_too_small_to_matter_is_no_break():
    veins = hole(3, [40, 46], count=3000, spread=8)
    assert cut_domains(**veins, seed=1).break_m.size == 0
    assert cut_domains(**veins, seed=1, smallest_turn_deg=2).break_m == pytest.approx([150], abs=10)


def test_opposite_apexes_are_one_plane():
    veins = hole(4, [50])
    veins["beta_deg"] = veins["beta_deg"] + 180.0 * (veins["depth_m"] > 150)
    assert cut_domains(**veins, seed=1).break_m.size == 0


def test_order_of_the_veins_and_the_seed_decide_nothing_else():
    veins = hole(5, [30, 90])
    one = cut_domains(**veins, seed=7)
    mixed = np.random.default_rng(0).permutation(veins["depth_m"].size)
    other = cut_domains(**{name: column[mixed] for name, column in veins.items()}, seed=7)
    assert other.break_m == pytest.approx(one.break_m)
    assert other.penalty == pytest.approx(one.penalty)


def test_domains_keep_their_shortest_length_and_fewest_veins():
    veins = hole(6, [20, 80, 20, 80, 20, 80], spread=10)
    got = cut_domains(**veins, seed=1, shortest_m=90, fewest_veins=40)
    assert (np.diff([veins["depth_m"][0], *veins["depth_m"][got.first_vein[1:]], veins["depth_m"][-1]]) >= 90).all()
    assert (got.last_vein - got.first_vein + 1 >= 40).all()
    assert cut_domains(**veins, seed=1, shortest_m=1000).break_m.size == 0


def test_veins_at_one_depth_are_never_parted():
    veins = hole(7, [20, 90])
    veins["depth_m"] = np.floor(veins["depth_m"] / 10) * 10
    got = cut_domains(**veins, seed=1, step_m=0.5)
    assert got.break_m == pytest.approx([145], abs=11)
    edges = veins["depth_m"][got.first_vein[1:]]
    assert (veins["depth_m"][got.last_vein[:-1]] < edges).all()


def test_one_vein_is_one_domain():
    got = cut_domains(depth_m=[5], beta_deg=[200], weight=[2], seed=0)
    assert got.cut_deg == pytest.approx([20])
    assert got.break_m.size == 0


def test_twenty_thousand_veins_are_quick():
    veins = hole(8, [30, 75], count=20_000, length=800.0)
    start = perf_counter()
    got = cut_domains(**veins, seed=1)
    assert perf_counter() - start < 3.0
    assert got.break_m == pytest.approx([400], abs=3)


@pytest.mark.parametrize(
    ("bad", "where"),
    [
        ({"depth_m": []}, "depth_m|beta_deg"),
        ({"beta_deg": [1, float("nan")]}, "beta_deg"),
        ({"weight": 0}, "weight"),
        ({"shuffles": 10}, "at least 19"),
        ({"shuffles": 99.5}, "whole number"),
        ({"significance": 1}, "significance"),
        ({"step_m": 0}, "step_m"),
        ({"fewest_veins": 0}, "fewest_veins"),
        ({"smallest_turn_deg": 91}, "smallest_turn_deg"),
    ],
)
def test_impossible_questions_are_refused(bad, where):
    with pytest.raises(ImpossibleValue, match=where):
        cut_domains(**{"depth_m": [1, 2], "beta_deg": [10, 20], "weight": 1, "seed": 0} | bad)


def test_impossible_rows_are_refused():
    with pytest.raises(ImpossibleValue, match="may_start"):
        cheapest_domains(beta_deg=[1, 2], weight=1, may_start=[True], penalty=1)
    with pytest.raises(ImpossibleValue, match="penalty"):
        cheapest_domains(beta_deg=[1, 2], weight=1, may_start=[True, True], penalty=-1)
